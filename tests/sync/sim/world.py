"""Three tablets, a chair node and a clinic server on a wire that loses, delays, doubles and reorders: a seed, a story.

Time is a number that jumps to the next event. Nothing waits, nothing runs beside anything else, and all chance comes
from the seed, so the same seed tells the same story.
"""

import heapq
import itertools
import random
from collections.abc import Callable, Generator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from sync import seal
from sync.access import Device
from sync.entry import Entry, Refusal, canonical
from sync.errors import HopError, StoreBroken, SyncError
from sync.hop import Call
from sync.models import HeadModel
from tests.sync.sim.disk import Gone
from tests.sync.sim.mishaps import MINUTE, MISHAPS, SECOND, Weather, back_up
from tests.sync.sim.node import Node, SqlNode, TinyNode
from tests.sync.sim.tablet import PAUSE, Tablet

__all__ = ["Broken", "Refused", "World"]

MORNING = 1_795_600_000_000
DAY = 24 * 3_600_000
TIME_LIMIT = 30 * SECOND

Draft = tuple[str, str | None, Any]
Judge = Callable[[list[Entry]], Any]


class Broken(AssertionError):
    """A promise that was broken: the seed, what, and the end of the story."""


class Refused(HopError):
    """The other side answered with an error."""

    def __init__(self, error: SyncError) -> None:
        super().__init__(error.why)
        self.answered = error.status


@dataclass
class Actor:
    """Somebody who hands entries on: whose turn it is in the conversation, and to whom it speaks."""

    name: str
    device: Device
    speaker: Any
    node: Node
    talk: Generator[Any, Any, None] | None = None
    turn: int = 0


class World:
    """`drafts` are what people enter; with a `folder` the clinic is an SQLite file in it, else a TinyDB store."""

    def __init__(self, seed: int, drafts: list[Draft], folder: Path | None = None) -> None:
        self.seed = seed
        self.now = MORNING
        self.story: list[tuple[Any, ...]] = []
        self.written: dict[str, bytes] = {}
        self.draw = random.Random(seed)
        self.drafts = drafts
        self.strict = False
        self.replaced: set[str] = set()
        self.expected: dict[str, tuple[Node, HeadModel]] = {}
        self.weather = Weather(closing=0.01)
        self.cuts: set[tuple[str, str]] = set()
        self.skew = dict.fromkeys(("t1", "t2", "t3", "chair", "clinic"), 0)
        self.images: dict[str, list[Any]] = {"chair": [], "clinic": []}
        self._events: list[tuple[int, int, Callable[[], None]]] = []
        self._numbers = itertools.count()
        self.clinic = self._clinic(folder)
        self.chair: Node = TinyNode("chair", self.clock_of("chair"), self.draw, self._check)
        self.tablets = [Tablet(name, self.clock_of(name), self.draw) for name in ("t1", "t2", "t3")]
        self.actors = {tablet.name: self._tablet_actor(tablet) for tablet in self.tablets}
        node = Device("chair", "node", "C", "Chair")
        self.actors["chair"] = Actor("chair", node, self.chair, self.clinic)

    # The story.

    def live(self) -> None:
        """A morning with all that may happen, then all is well again and everything is checked. Raises Broken."""
        for name in self.actors:
            self.after(self.draw.randint(1, MINUTE), lambda name=name: self.speak(name))
        for _ in range(self.draw.randint(10, 22)):
            self.after(self.draw.randint(1, 60 * MINUTE), self.enter)
        for _ in range(self.draw.randint(2, 8)):
            self.after(self.draw.randint(1, 60 * MINUTE), partial(self.draw.choice(MISHAPS), self))
        for _ in range(3):
            self.after(self.draw.randint(1, 50 * MINUTE), partial(back_up, self))
        self.run(60 * MINUTE)
        self.heal()
        self.check()

    def enter(self) -> None:
        """Somebody enters something on a tablet."""
        tablet = self.draw.choice(self.tablets)
        visits = list(tablet.visits)
        if visits and self.draw.random() < 0.8:
            visit = self.draw.choice(visits)
        else:
            visit = tablet.new_id()
            self._note(tablet.make(visit, "opened", None, {"chair": "1"}))
        for _ in range(self.draw.randint(1, 3)):
            self._note(tablet.make(visit, *self.draw.choice(self.drafts)))
        if self.draw.random() < 0.2:
            undone = self.draw.choice(tablet.of_visit(visit))
            self._note(tablet.make(visit, "withdrawal", undone["item"], None, undone["id"]))
        self.after(SECOND, lambda: self.speak(tablet.name))

    # Conversations.

    def speak(self, name: str) -> None:
        """Begin a round, unless one is under way."""
        actor = self.actors[name]
        if actor.talk is None and getattr(actor.speaker, "up", True):
            hop = actor.speaker.hop if isinstance(actor.speaker, Node) else actor.speaker
            actor.talk = hop.round()
            self.go_on(actor, None)

    def go_on(self, actor: Actor, given: Any) -> None:
        """Let a conversation take an answer, or an error, up to its next call or its end."""
        actor.turn += 1
        talk = actor.talk
        assert talk is not None
        try:
            call = talk.throw(given) if isinstance(given, HopError) else talk.send(given)
            while call is PAUSE:
                if self.draw.random() < self.weather.closing:
                    self.tell("closed", actor.name)
                    self.rest(actor)
                    return
                call = next(talk)
            self.ask(actor, call)
        except StopIteration:
            self.rest(actor)
        except Gone:
            self.fall(actor.speaker)
        except StoreBroken:
            self.fall(actor.speaker)
        except (SyncError, OSError) as error:
            self.tell("failed", actor.name, str(error))
            self.rest(actor)

    def rest(self, actor: Actor) -> None:
        self.hang_up(actor.name)
        self.after(self.draw.randint(30 * SECOND, 8 * MINUTE), lambda: self.speak(actor.name))

    def hang_up(self, name: str) -> None:
        self.actors[name].talk = None
        self.actors[name].turn += 1

    def ask(self, actor: Actor, call: Call) -> None:
        turn = actor.turn
        for _ in range(2 if self.draw.random() < self.weather.doubled else 1):
            if self.draw.random() >= self.weather.lost:
                self.after(self._delay(), lambda: self.arrive(actor, actor.node, call, turn))

        def too_late() -> None:
            if actor.turn == turn:
                self.go_on(actor, HopError("The clinic server cannot be reached."))

        self.after(TIME_LIMIT, too_late)

    def arrive(self, actor: Actor, node: Node, call: Call, turn: int) -> None:
        if not node.up or (actor.name, node.name) in self.cuts:
            return
        try:
            answer: Any = node.answer(call, actor.device)
        except Gone:
            self.fall(node)
            return
        except StoreBroken as error:
            self.fall(node)
            answer = Refused(error)
        except SyncError as error:
            answer = Refused(error)
        if self.draw.random() >= self.weather.lost:
            self.after(self._delay(), lambda: self.answered(actor, call, turn, answer))

    def answered(self, actor: Actor, call: Call, turn: int, answer: Any) -> None:
        if actor.turn == turn:
            given = answer if isinstance(answer, HopError) else call.model.model_validate_json(answer)
            self.go_on(actor, given)

    def fall(self, node: Node) -> None:
        """A node has died, or its store broke: it is started again after a while."""
        if node.up:
            self.tell("fell", node.name)
            node.up = False
            if node.name in self.actors:
                self.hang_up(node.name)
            self.after(self.draw.randint(SECOND, 5 * MINUTE), lambda: self.rise(node))

    def rise(self, node: Node) -> None:
        if node.up:
            return
        power = self.draw.random() < 0.5
        try:
            node.start(power=power)
        except SyncError as error:
            self.tell("does not start", node.name, str(error))
            self.after(MINUTE, lambda: self.rise(node))
            return
        self.tell("up", node.name, "after a power cut" if power else "after a kill")
        self.check_node(node)
        if node.name in self.actors:
            self.after(SECOND, lambda: self.speak(node.name))

    # The end.

    def heal(self) -> None:
        """Everything is in order again, and days go by, until all is quiet."""
        self.tell("all is well")
        self.weather, self.strict, self.cuts = Weather(), False, set()
        self.skew = dict.fromkeys(self.skew, 0)
        for node in (self.chair, self.clinic):
            node.unpaired = False
            if isinstance(node, TinyNode):
                node.disk.fault, node.disk.die_at = lambda step: None, None
            else:
                node._doomed = 0
        self.run(10 * MINUTE)
        for _ in range(14):
            self.now += DAY + MINUTE
            for name in self.actors:
                self.speak(name)
            self.run(MINUTE // 2)
            if self.is_quiet():
                return

    def is_quiet(self) -> bool:
        waits = any(tablet.outbox or tablet.refused for tablet in self.tablets)
        lacks = any(not line.complete for tablet in self.tablets for line in tablet.visits.values())
        status = self.chair.hop.status()
        waits = waits or status["pending"] or status["refused"]
        return not waits and not lacks and all(ids == self.written.keys() for ids in self._all_ids().values())

    def check(self) -> None:
        """What was promised."""
        for node in (self.chair, self.clinic):
            self.check_node(node)
        for name, ids in self._all_ids().items():
            self.hold(ids == self.written.keys(), f"{name} lacks {len(self.written.keys() - ids)} entries")
        for tablet in self.tablets:
            self.hold(not tablet.outbox, f"{tablet.name} still has entries to send")
            self.hold(not tablet.refused, f"{tablet.name} still has entries that were refused")
            self.hold(all(line.complete for line in tablet.visits.values()), f"{tablet.name} thinks it lacks some")
            for entry in tablet.entries.values():
                self.hold(canonical(entry) == self.written[entry["id"]], f"{tablet.name} holds other bytes")
        status = self.chair.hop.status()
        self.hold(status["pending"] == 0 and status["refused"] == 0, "the chair node still has entries to send")
        self.check_alarms()

    def check_node(self, node: Node) -> None:
        """Acknowledged is contained in stored, stored in written, and its chain is what it said it was."""
        entries = node.store.since(None, 1_000_000).entries
        ids = {entry["id"] for entry in entries}
        self.hold(len(ids) == len(entries), f"{node.name} holds an entry twice")
        lost = len(node.acknowledged - ids)
        self.hold(not lost, f"{node.name} lost {lost} entries it had acknowledged")
        for entry in entries:
            self.hold(canonical(entry) == self.written.get(entry["id"]), f"{node.name} holds what nobody wrote")
        flaw = seal.verify_store(node.store)
        self.hold(flaw is None, f"the chain of {node.name}: {flaw}")
        for head in node.given[-5:]:
            self.hold(node.store.hash_at(head.position) == head.hash, f"{node.name} went back behind a head it gave")

    def check_verdicts(self, judge: Judge) -> None:
        """The longest visit, as every replica holds it and in the order in which it came there, is judged alike."""
        visits = [entry["visit"] for entry in self.tablets[0].entries.values()]
        visit = max(visits, key=visits.count)
        nodes = (self.chair, self.clinic)
        orders = [[entry for entry in tablet.entries.values() if entry["visit"] == visit] for tablet in self.tablets]
        orders += [node.store.since(None, 1_000_000, visit=visit).entries for node in nodes]
        first, *others = [judge(order) for order in orders]
        self.hold(all(other == first for other in others), f"the visit {visit} is not judged alike everywhere")

    def check_alarms(self) -> None:
        alarms = {tablet.name: tablet.alarm for tablet in self.tablets}
        alarms["chair"] = self.chair.hop.status()["alarm"] or ""
        if not self.replaced:
            self.hold(not any(alarms.values()), f"a false alarm: {alarms}")
        for who, (node, head) in self.expected.items():
            # The same entries may have come again in the same order: then nothing is missing from what was known.
            same = node.store.hash_at(head.position) == head.hash
            self.hold(same or bool(alarms[who]), f"{who} did not notice that {node.name} was put back")

    def hold(self, true: bool, what: str) -> None:
        if not true:
            raise Broken(f"seed {self.seed}: {what}\n" + "\n".join(map(_line, self.story[-30:])))

    def close(self) -> None:
        """Let go of what is real: a database file."""
        self.clinic.close()

    # Small things.

    def tell(self, *what: Any) -> None:
        self.story.append((self.now - MORNING, *what))

    def after(self, ms: int, what: Callable[[], None]) -> None:
        heapq.heappush(self._events, (self.now + ms, next(self._numbers), what))

    def run(self, ms: int) -> None:
        """Let the events of the next so many ms happen."""
        end = self.now + ms
        while self._events and self._events[0][0] <= end:
            at, _, what = heapq.heappop(self._events)
            self.now = max(self.now, at)
            what()
        self.now = max(self.now, end)

    def clock_of(self, name: str) -> Callable[[], int]:
        return lambda: self.now + self.skew[name]

    def _clinic(self, folder: Path | None) -> Node:
        if folder is None:
            return TinyNode("clinic", self.clock_of("clinic"), self.draw, self._check)
        node = type("SqlClinic", (SqlNode,), {"file": folder / f"{self.seed}.sqlite"})
        return node("clinic", self.clock_of("clinic"), self.draw, self._check)  # type: ignore[no-any-return]

    def _tablet_actor(self, tablet: Tablet) -> Actor:
        return Actor(tablet.name, Device(tablet.name, "tablet", "K", tablet.name), tablet, self.chair)

    def _check(self, entry: Entry) -> Refusal | None:
        strange = self.strict and entry["clock"][0] % 4 == 0
        return Refusal("item", "there is no such item") if strange else None

    def _note(self, entry: Entry) -> None:
        self.written[entry["id"]] = canonical(entry)

    def _delay(self) -> int:
        late = self.draw.random() < self.weather.late
        return self.draw.randint(1, 3 * MINUTE) if late else self.draw.randint(1, 200)

    def _all_ids(self) -> dict[str, set[str]]:
        held = {tablet.name: set(tablet.entries) for tablet in self.tablets}
        return {**held, "chair": self.chair.ids(), "clinic": self.clinic.ids()}


def _line(told: tuple[Any, ...]) -> str:
    seconds, *what = told
    return f"  {seconds / 1000:10.1f} s  " + " ".join(map(str, what))
