"""What may happen in a morning: bad lines, deaths, full and failing disks, wrong clocks, old disks put back."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sync.hop import UPSTREAM, Upstream
from sync.models import HeadModel
from sync.store import Head
from tests.sync.sim.disk import eio, enospc
from tests.sync.sim.node import Node, TinyNode

if TYPE_CHECKING:
    from tests.sync.sim.world import World

__all__ = ["MINUTE", "MISHAPS", "SECOND", "Weather", "back_up"]

SECOND, MINUTE = 1_000, 60_000
SKEW = 7 * 24 * 3_600_000


@dataclass
class Weather:
    """How bad things are: what may become of a message, and whether a page is closed between two of its writes."""

    closing: float = 0.0
    lost: float = 0.0
    doubled: float = 0.0
    late: float = 0.0


def bad_weather(world: "World") -> None:
    world.tell("weather")
    lost, doubled, late = (world.draw.choice((0.0, 0.1, 0.4)) for _ in range(3))
    world.weather = Weather(0.01, lost, doubled, late)


def cut(world: "World") -> None:
    cut = world.draw.choice([("t1", "chair"), ("t2", "chair"), ("t3", "chair"), ("chair", "clinic")])
    world.cuts ^= {cut}
    world.tell("cut", sorted(world.cuts))


def crash(world: "World") -> None:
    node = world.draw.choice((world.chair, world.clinic))
    world.tell("doom", node.name)
    if node.up:
        node.doom()


def close_tablet(world: "World") -> None:
    tablet = world.draw.choice(world.tablets)
    world.tell("closed", tablet.name)
    world.hang_up(tablet.name)


def full_disk(world: "World") -> None:
    node = world.draw.choice((world.chair, world.clinic))
    if isinstance(node, TinyNode):
        world.tell("disk full", node.name)
        node.disk.fault = lambda step: enospc() if step in ("write", "open") else None
        world.after(world.draw.randint(1, 10 * MINUTE), lambda: setattr(node.disk, "fault", lambda step: None))


def failing_disk(world: "World") -> None:
    node = world.draw.choice((world.chair, world.clinic))
    if isinstance(node, TinyNode):
        world.tell("fsync fails", node.name)
        left = [1]

        def once(step: str) -> OSError | None:
            return eio() if step == "sync" and left and left.pop() else None

        node.disk.fault = once


def wrong_clock(world: "World") -> None:
    name = world.draw.choice(list(world.skew))
    world.skew[name] = world.draw.choice((0, world.draw.randint(-SKEW, SKEW)))
    world.tell("clock", name, world.skew[name])


def refuse_some(world: "World") -> None:
    world.strict = not world.strict
    world.tell("strict", world.strict)


def unpair(world: "World") -> None:
    node = world.draw.choice((world.chair, world.clinic))
    node.unpaired = not node.unpaired
    world.tell("unpaired", node.name, node.unpaired)


def back_up(world: "World") -> None:
    node = world.draw.choice((world.chair, world.clinic))
    if node.up:
        world.tell("backup", node.name)
        world.images[node.name].append((node.store.head(), node.image(), list(node.store.links())))


def restore(world: "World") -> None:
    node = world.draw.choice((world.chair, world.clinic))
    if node.up and world.images[node.name]:
        _, _, links = world.draw.choice(world.images[node.name])
        world.tell("restored", node.name)
        _replace(world, node, lambda: node.restore(links))
        world.expected = {who: known for who, known in world.expected.items() if known[0] is not node}


def put_back(world: "World") -> None:
    node = world.draw.choice((world.chair, world.clinic))
    if node.up and world.images[node.name]:
        head, image, _ = world.draw.choice(world.images[node.name])
        if head.epoch == node.store.epoch:
            world.tell("image put back", node.name, head.position)
            world.expected |= _who_knew_more(world, node, head)
            _replace(world, node, lambda: node.put_back(image))


def go_to_the_clinic(world: "World") -> None:
    """A tablet delivers at the clinic's own address, or at the chair again."""
    actor = world.actors[world.draw.choice(world.tablets).name]
    world.hang_up(actor.name)
    actor.node = world.chair if actor.node is world.clinic else world.clinic
    world.expected.pop(actor.name, None)
    world.tell("goes to", actor.name, actor.node.name)


def _replace(world: "World", node: Node, how: Callable[[], None]) -> None:
    world.replaced.add(node.name)
    world.expected.pop(node.name, None)
    if node.name in world.actors:
        world.hang_up(node.name)
    if isinstance(node, TinyNode):
        node.disk.fault = lambda step: None
    how()
    if node.name in world.actors:
        world.after(SECOND, lambda: world.speak(node.name))


def _who_knew_more(world: "World", node: Node, image: Head) -> dict[str, tuple[Node, HeadModel]]:
    """Those who remember a head of this store that the image lacks, and must notice it."""
    heads = {tablet.name: tablet.head for tablet in world.tablets if world.actors[tablet.name].node is node}
    if node is world.clinic:
        heads["chair"] = Upstream.model_validate(world.chair.store.kept(UPSTREAM) or {}).head
    known = {who: (node, head) for who, head in heads.items() if head and head.epoch == image.epoch}
    return {who: (node, head) for who, (node, head) in known.items() if head.position > image.position}


MISHAPS = [
    bad_weather,
    bad_weather,
    cut,
    cut,
    crash,
    crash,
    crash,
    close_tablet,
    full_disk,
    failing_disk,
    wrong_clock,
    wrong_clock,
    refuse_some,
    refuse_some,
    unpair,
    restore,
    put_back,
    put_back,
    go_to_the_clinic,
]
