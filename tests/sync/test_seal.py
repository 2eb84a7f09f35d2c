"""A chain shows every change to what it covers."""

import hashlib
from pathlib import Path

import pytest

from sync import seal
from sync.entry import canonical
from sync.store import Head, Link
from sync.tiny_store import TinyStore
from tests.sync.conftest import Maker


@pytest.fixture
def chain(tmp_path: Path, maker: Maker) -> tuple[list[Link], Head]:
    store = TinyStore(tmp_path)
    store.add(maker.readings(6))
    links, head = list(store.links()), store.head()
    store.close()
    return links, head


def _flaw(links: list[Link], head: Head) -> seal.Flaw | None:
    return seal.verify(head.epoch, links, head.position, head.hash)


def test_an_untouched_chain_holds(chain: tuple[list[Link], Head]) -> None:
    assert _flaw(*chain) is None


def test_one_bit_changed_anywhere_is_found_at_its_entry(chain: tuple[list[Link], Head]) -> None:
    links, head = chain
    for place, link in enumerate(links):
        for byte in range(0, len(link.data), 7):
            data = bytearray(link.data)
            data[byte] ^= 1 << byte % 8
            changed = [*links[:place], link._replace(data=bytes(data)), *links[place + 1 :]]
            assert _flaw(changed, head) == (
                place + 1,
                f"entry {place + 1} is not what was stored, or one before it was",
            )


def test_an_entry_taken_out_is_found_where_it_was(chain: tuple[list[Link], Head]) -> None:
    links, head = chain
    for place in range(len(links) - 1):
        flaw = _flaw(links[:place] + links[place + 1 :], head)
        assert flaw is not None
        assert flaw.position == place + 1
        renumbered = [
            link._replace(position=number) for number, link in enumerate(links[:place] + links[place + 1 :], 1)
        ]
        assert _flaw(renumbered, head) is not None


def test_two_entries_in_each_others_place_are_found(chain: tuple[list[Link], Head]) -> None:
    links, head = chain
    for one in range(len(links)):
        for other in range(one + 1, len(links)):
            swapped = links.copy()
            swapped[one] = links[one]._replace(data=links[other].data)
            swapped[other] = links[other]._replace(data=links[one].data)
            flaw = _flaw(swapped, head)
            assert flaw is not None
            assert flaw.position == one + 1


def test_a_cut_tail_is_found_by_a_head_kept_elsewhere(chain: tuple[list[Link], Head]) -> None:
    links, head = chain
    assert _flaw(links[:4], head) == (5, "the chain ends after entry 4, its head says 6")


def test_a_chain_rewritten_as_a_whole_is_found_by_a_head_kept_elsewhere(
    chain: tuple[list[Link], Head], tmp_path: Path
) -> None:
    _, head = chain
    forged = TinyStore(tmp_path / "forged")
    forged.add(Maker("tablet-2").readings(6))
    assert _flaw(list(forged.links()), head) is not None
    forged.close()


def test_the_chain_of_another_store_does_not_pass_for_this_one(chain: tuple[list[Link], Head]) -> None:
    links, head = chain
    assert seal.verify("0" * 32, links, head.position, head.hash) is not None


def test_the_digest_is_that_of_the_canonical_array_in_the_order_they_count(maker: Maker) -> None:
    entries = maker.readings(3)
    assert seal.digest(reversed(entries)) == hashlib.sha256(canonical(entries)).hexdigest()
    assert seal.digest([]) == hashlib.sha256(b"[]").hexdigest()
    assert seal.digest(entries) != seal.digest(entries[:2])


def test_a_link_can_not_be_taken_for_the_beginning_of_a_chain_or_for_an_entry_elsewhere() -> None:
    start = seal.first("a")
    assert seal.following(start, 1, b"x") != hashlib.sha256(bytes.fromhex(start) + b"x").hexdigest()
    assert seal.following(start, 1, b"x") != seal.following(start, 2, b"x")
    assert seal.first("ab") != seal.first("a")


def test_entries_added_while_a_store_is_verified_do_no_harm(tmp_path: Path, maker: Maker) -> None:
    store = TinyStore(tmp_path / "busy")
    store.add(maker.readings(2))
    links = store.links
    store.links = lambda: (store.add([maker.reading()]), links())[1]  # type: ignore[method-assign]
    assert seal.verify_store(store) is None
    assert store.head().position == 3
    store.close()
