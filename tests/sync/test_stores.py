"""What every store promises. One suite, each store."""

import threading

import pytest

from sync import seal
from sync.entry import Refusal, canonical, in_order
from sync.errors import CursorError
from sync.store import Store
from tests.sync.conftest import MORNING, Clock, Maker, OpenStore

NO = Refusal("value", "is wrong", "Correct it.")


def test_what_was_added_is_there_and_stays_there_after_reopening(open_store: OpenStore, maker: Maker) -> None:
    entries = maker.readings(3)
    added = open_store().add(entries)
    assert added.stored == added.new == [entry["id"] for entry in entries]
    store = open_store()
    assert store.visit(maker.visit) == entries
    assert store.get(entries[1]["id"]) == entries[1]
    assert store.since().entries == entries


def test_a_visit_nobody_knows_has_no_entries(store: Store, maker: Maker) -> None:
    assert store.visit(maker.visit) == []
    assert store.touched(maker.visit) is None
    assert store.get(maker.visit) is None
    assert store.add([]).stored == []


def test_the_same_entry_again_is_stored_and_not_new(store: Store, maker: Maker) -> None:
    entries = maker.readings(2)
    store.add(entries[:1])
    again = store.add([*entries, entries[1]])
    assert again.stored == [entry["id"] for entry in entries]
    assert again.new == [entries[1]["id"]]
    assert store.head().position == 2


def test_another_entry_with_a_known_id_is_refused_and_the_first_stays(store: Store, maker: Maker) -> None:
    entry = maker.reading()
    other = {**entry, "value": "another"}
    in_batch = store.add([entry, other])
    assert in_batch.stored == [entry["id"]]
    later = store.add([other])
    assert later.stored == []
    for added in (in_batch, later):
        [(refused, refusal)] = added.refused
        assert refused == other
        assert refusal.field == "id"
        assert refusal.why == "another entry has this id"
    assert store.visit(maker.visit) == [entry]


def test_a_number_written_in_another_way_is_the_same_entry(store: Store, maker: Maker) -> None:
    entry = maker.reading(value=71)
    store.add([entry])
    assert store.add([{**entry, "value": 71.0}]).stored == [entry["id"]]


def test_changing_an_entry_after_it_was_added_changes_nothing_in_the_store(store: Store, maker: Maker) -> None:
    entry = maker.reading(value=[1])
    store.add([entry])
    entry["value"].append(2)
    assert store.visit(maker.visit)[0]["value"] == [1]


def test_entries_of_a_visit_come_in_the_order_they_count_and_the_feed_in_the_order_they_came(
    store: Store, maker: Maker
) -> None:
    entries = maker.readings(4)
    came = [entries[2], entries[0], entries[3], entries[1]]
    for entry in came:
        store.add([entry])
    assert store.visit(maker.visit) == in_order(entries) == entries
    assert store.since().entries == came


def test_the_feed_is_followed_page_by_page_and_goes_on_where_it_ended(store: Store, maker: Maker) -> None:
    entries = maker.readings(7)
    store.add(entries)
    seen, cursor, pages = [], None, 0
    while True:
        page = store.since(cursor, 3)
        seen += page.entries
        cursor, pages = page.cursor, pages + 1
        if not page.more:
            break
    assert (seen, pages) == (entries, 3)
    assert store.since(cursor).entries == []
    late = maker.reading()
    store.add([late])
    assert store.since(cursor).entries == [late]


def test_a_page_that_ends_with_the_feed_says_that_there_is_no_more(store: Store, maker: Maker) -> None:
    store.add(maker.readings(3))
    assert not store.since(None, 3).more
    assert store.since(None, 2).more


def test_the_feed_of_one_visit_holds_that_visit_only(store: Store, maker: Maker) -> None:
    other = maker.stamper.new_id()
    mine, theirs = maker.readings(3), maker.readings(3, visit=other)
    store.add([entry for pair in zip(mine, theirs, strict=True) for entry in pair])
    page = store.since(None, 2, visit=other)
    assert page.entries == theirs[:2]
    assert page.more
    assert store.since(page.cursor, 2, visit=other).entries == theirs[2:]


def test_what_came_from_the_other_side_can_be_left_out_of_the_feed(store: Store, maker: Maker) -> None:
    own, pulled = maker.readings(2), maker.readings(3)
    store.add([own[0]])
    store.add(pulled, source="upstream")
    store.add([own[1]])
    page = store.since(None, 1, not_from="upstream")
    assert page.entries == own[:1]
    page = store.since(page.cursor, 1, not_from="upstream")
    assert (page.entries, page.more) == (own[1:], False)
    store.add([maker.reading()], source="upstream")
    page = store.since(page.cursor, not_from="upstream")
    assert page.entries == []
    assert page.cursor == store.since().cursor


def test_a_cursor_of_another_store_or_past_the_head_starts_from_the_first(store: Store, maker: Maker) -> None:
    entries = maker.readings(2)
    store.add(entries)
    assert store.since("0123456789abcdef-1").entries == entries
    assert store.since(f"{store.epoch}-3").entries == entries
    assert store.since(f"{store.epoch}-1").entries == entries[1:]


@pytest.mark.parametrize("nonsense", ["", "x", "-", "abc-", "-5", "abc-x", "abc-1.5", "abc-" + "9" * 40, "abc-٣"])
def test_what_was_never_a_cursor_is_refused(store: Store, nonsense: str) -> None:
    with pytest.raises(CursorError):
        store.since(nonsense)
    with pytest.raises(CursorError):
        store.visits(nonsense)


def test_the_list_of_visits_tells_which_were_touched_since_and_how_many_entries_they_hold(
    store: Store, maker: Maker
) -> None:
    first, second, third = (maker.stamper.new_id() for _ in range(3))
    for visit in (first, second, third, first):
        store.add(maker.readings(2, visit=visit))
    page = store.visits(None, 2)
    assert [(card.visit, card.entries, card.position) for card in page.visits] == [(second, 2, 4), (third, 2, 6)]
    assert page.more
    rest = store.visits(page.cursor, 2)
    assert [(card.visit, card.entries) for card in rest.visits] == [(first, 4)]
    assert not rest.more
    assert store.touched(first) == rest.visits[0]
    assert store.visits(rest.cursor).visits == []
    store.add(maker.readings(1, visit=third))
    assert [card.visit for card in store.visits(rest.cursor).visits] == [third]


def test_the_epoch_is_the_stores_for_life_and_no_other_has_it(open_store: OpenStore, maker: Maker) -> None:
    epoch = open_store().epoch
    assert len(epoch) >= 32
    store = open_store()
    store.add([maker.reading()])
    assert store.epoch == store.head().epoch == epoch


def test_the_chain_holds_over_reopening_and_its_head_is_the_last_link(
    open_store: OpenStore, maker: Maker, clock: Clock
) -> None:
    store = open_store()
    assert store.head().position == 0
    assert seal.verify(store.epoch, store.links(), 0, store.head().hash) is None
    entries = maker.readings(5)
    store.add(entries[:2])
    clock.now += 1000
    store.add(entries[2:3])
    store = open_store()
    store.add(entries[3:])
    links, head = list(store.links()), store.head()
    assert [link.data for link in links] == [canonical(entry) for entry in entries]
    assert [link.received - MORNING for link in links] == [0, 0, 1000, 1000, 1000]
    assert (links[-1].position, links[-1].hash) == (head.position, head.hash)
    assert seal.verify(store.epoch, links, head.position, head.hash) is None


def test_the_links_of_one_visit_are_those_of_the_chain_and_no_others(store: Store, maker: Maker) -> None:
    other = Maker("tablet-2").visit
    store.add([maker.reading(), maker.reading(visit=other), maker.reading()])
    assert [link.position for link in store.links(maker.visit)] == [1, 3]
    assert list(store.links(maker.visit)) == [link for link in store.links() if link.position != 2]
    assert list(store.links(Maker("tablet-3").visit)) == []


def test_when_an_entry_came_is_kept_beside_it(store: Store, maker: Maker, clock: Clock) -> None:
    one, two = maker.readings(2)
    store.add([one])
    clock.now += 5
    store.add([two])
    assert store.received(maker.visit) == {one["id"]: MORNING, two["id"]: MORNING + 5}


def test_the_latest_entry_of_a_device_is_found_though_it_came_before_others(store: Store, maker: Maker) -> None:
    early, late = maker.readings(2)
    store.add([late])
    store.add([early, Maker("tablet-2").reading()])
    assert store.latest("tablet-1") == late
    assert store.latest("tablet-3") is None


def test_what_is_refused_together_is_kept_each_once_and_told_apart(store: Store, maker: Maker) -> None:
    bad = {**maker.reading(), "kind": "Wrong Kind"}
    known = store.refuse(bad, NO, "tablet-1")
    store.settle(known.key)
    filed = store.refuse_all([(5, NO), (bad, NO), (5, NO), ("text", NO)], "tablet-2")
    assert [one.settled for one in filed] == [False, True, False, False]
    assert filed[0] == filed[2]
    assert [(record.key, record.device) for record in store.refused()] == [
        (known.key, "tablet-1"),
        (filed[0].key, "tablet-2"),
        (filed[3].key, "tablet-2"),
    ]
    assert store.refuse_all([]) == []


def test_a_refused_entry_is_kept_as_it_came_once_until_it_is_settled(
    open_store: OpenStore, maker: Maker, clock: Clock
) -> None:
    store = open_store()
    bad = {**maker.reading(), "value": float("inf"), "extra": "\ud800"}
    key = store.refuse(bad, NO, "tablet-1").key
    clock.now += 60_000
    assert store.refuse(bad, NO, "tablet-1") == (key, False)
    store.refuse("not even an object", NO)
    store = open_store()
    assert store.refused_count() == 2
    record, other = store.refused()
    assert (record.entry, record.refusal, record.device) == (bad, NO, "tablet-1")
    assert (record.at, record.settled) == (MORNING, False)
    assert other.entry == "not even an object"
    assert store.settle(key)
    assert store.settle(key)
    store = open_store()
    assert [record.settled for record in store.refused()] == [True, False]
    assert store.refuse(bad, NO) == (key, True)
    assert store.refused_count() == 1
    assert not store.settle("unknown")


def test_small_values_are_kept_beside_the_entries(open_store: OpenStore) -> None:
    store = open_store()
    assert store.kept("sent") is None
    store.keep("sent", {"cursor": "a-1"})
    store.keep("sent", {"cursor": "a-2"})
    store.keep("head", [1])
    store = open_store()
    assert store.kept("sent") == {"cursor": "a-2"}
    assert store.kept("head") == [1]


def test_a_listener_hears_of_new_entries_and_of_nothing_else(store: Store, maker: Maker) -> None:
    heard: list[int] = []
    stop = store.listen(lambda: heard.append(store.head().position))
    entries = maker.readings(2)
    store.add(entries)
    store.add(entries)
    assert heard == [2]
    stop()
    stop()
    store.add([maker.reading()])
    assert heard == [2]


def test_many_threads_adding_at_once_leave_each_entry_once_and_a_chain_that_holds(store: Store) -> None:
    makers = [Maker(f"tablet-{number}") for number in range(6)]
    made = [maker.readings(10) for maker in makers]

    def add(entries: list[dict[str, object]]) -> None:
        for start in range(0, 10, 2):
            store.add(entries[start : start + 3])

    threads = [threading.Thread(target=add, args=(entries,)) for entries in made]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    ids = [entry["id"] for entry in store.since().entries]
    assert sorted(ids) == sorted(entry["id"] for entries in made for entry in entries)
    head = store.head()
    assert head.position == 60
    assert seal.verify(store.epoch, store.links(), head.position, head.hash) is None
