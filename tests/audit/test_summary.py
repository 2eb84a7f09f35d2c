"""Summaries follow the store: equal to the judge's own view whatever order entries come in, from several processes."""

import json
import random
from collections import Counter
from concurrent.futures import ThreadPoolExecutor

import pytest
from sqlalchemy import select, update

from chairapp.audit import summary_tables as tables
from chairapp.audit.lines import SummaryIndex
from chairapp.audit.summed import VERDICTS
from chairapp.box.code import new_code
from chairapp.clinic import CLINIC_VISIT
from chairapp.register import line_of
from chairapp.visit import is_signed, visit_state
from sync.entry import Stamper
from sync.sql_store import SqlStore
from tests.audit.conftest import DIGEST, SEQUENCE, start, visit
from tests.visits import random_visit

SIGNED = {"kind": "signature", "item": "review", "value": {"role": "clinician"}}


def rows(store, table=tables.visit):
    with store.database.reading() as connection:
        return connection.execute(select(table).order_by(*table.primary_key)).all()


def invented(seed):
    """A random visit as a store may get it: opened with a box and the sequence that is known here."""
    found = random_visit(seed, SEQUENCE)
    for entry in found:
        if entry["kind"] == "opened":
            entry["value"] |= {"digest": DIGEST, "box": new_code("7", random.Random(seed).choice)}
    return found


@pytest.mark.parametrize("seed", range(3))
def test_a_summary_is_the_judges_own_view_after_any_order_of_arrival(store, seed):
    summaries, chance = start(store), random.Random(seed)
    pile = [entry for number in range(12) for entry in invented(1000 * seed + number)]
    chance.shuffle(pile)
    while pile:
        size = chance.randint(1, 120)
        store.add(pile[:size])
        pile = pile[size:]
        if chance.random() < 0.5:
            summaries.follow(chance.randint(1, 20))
    summaries.catch_up()
    found = rows(store)
    assert len(found) == 12
    for row in found:
        entries = store.visit(row.visit)
        view = visit_state(SEQUENCE, entries)
        steps = {id: step for id, step in view["verdict"]["steps"].items() if step["required"]}
        assert {name: getattr(row, name) for name in VERDICTS} == {
            name: Counter(step["verdict"] for step in steps.values())[name] for name in VERDICTS
        }
        assert json.loads(row.missing) == [id for id, step in steps.items() if step["verdict"] in ("open", "stale")]
        assert row.signed == is_signed(view["state"])
        assert row.changed == (not row.signed and any(not one["valid"] for one in view["state"]["signatures"]))
        assert row.distance == (view["verdict"]["derived"]["interocclusal_distance"] or {"value": None})["value"]
        assert row.entries == len(entries)
    assert [(row.visit, row.step, row.verdict) for row in rows(store, tables.step)] == sorted(
        (row.visit, id, step["verdict"])
        for row in found
        for id, step in visit_state(SEQUENCE, store.visit(row.visit))["verdict"]["steps"].items()
        if step["required"]
    )


def test_the_register_finds_through_summaries_what_it_would_find_by_reading_all(store):
    summaries = start(store)
    made = [visit(SIGNED, days=day, name=str(day)) for day in range(4)]
    for entries in made[:3]:
        store.add(entries)
    summaries.catch_up()
    index = SummaryIndex(store, summaries)
    store.add(made[3])  # not summed up yet
    every = [line_of(entries[0]["visit"], store.visit(entries[0]["visit"])) for entries in made]
    assert sorted(index.lines(), key=lambda line: line.opened) == every
    assert len(index) == 4
    assert set(index.codes()) == {line.code for line in every}
    for line in every:
        assert index.with_code(line.code) == [line.visit]
        assert line.code in index.codes()
    assert new_code("8") not in index.codes()


def test_a_state_says_where_a_visit_stands(store):
    summaries = start(store)
    to = [{"kind": "movement", "item": "box", "value": {"to": place}} for place in ("laboratory", "finished")]
    late = {"kind": "answer", "item": "display.fv", "value": "short"}
    half = {"kind": "signature", "item": "review", "value": {"role": "supervised"}}
    made = {
        "open": visit(name="a"),
        "signed": visit(SIGNED, to[0], name="b"),
        "changed": visit(SIGNED, late, name="c"),
        "half": visit(half, name="d"),
        "finished": visit(SIGNED, *to, name="e"),
    }
    for entries in made.values():
        store.add(entries)
    summaries.catch_up()
    states = {row.visit: row.state for row in rows(store)}
    assert {name: states[entries[0]["visit"]] for name, entries in made.items()} == {name: name for name in made}


def test_a_visit_that_cannot_be_judged_is_there_and_comes_right_when_it_can(store, database):
    entries = visit(name="opening comes late")
    store.add(entries[1:])
    start(store).catch_up()
    (row,) = rows(store)
    assert (row.state, row.trouble) == ("unjudged", "its opening has not arrived")
    store.add(entries[:1])
    start(store).catch_up()
    (row,) = rows(store)
    assert (row.state, row.trouble, row.code) == ("open", "", entries[0]["value"]["box"])


def test_the_clinics_own_entries_are_no_visit(store):
    store.add([Stamper("node").entry(CLINIC_VISIT, "key", author="mgr-1", item="key", value={})])
    summaries = start(store)
    summaries.catch_up()
    assert rows(store) == []
    assert store.dirty() == []


def test_another_version_of_the_summaries_is_made_anew(store):
    store.add(visit())
    start(store).catch_up()
    with store.database.writing() as connection:
        connection.execute(update(tables.head).values(version="older"))
    again = start(store)
    assert rows(store) == []
    again.catch_up()
    assert len(rows(store)) == 1


def test_lists_say_how_far_they_have_come(store):
    summaries = start(store)
    assert summaries.as_of().behind == 0
    store.add(visit())
    assert summaries.as_of().behind == 1
    before = summaries.as_of().changes
    summaries.catch_up()
    assert (summaries.as_of().behind, summaries.as_of().changes) == (0, before + 1)


def test_several_servers_sum_up_together_and_none_undoes_anothers_work(store, database):
    """Two processes in small: each its own connections. Every entry is in the summaries at the end, once."""
    other = SqlStore(database)
    made = [visit(SIGNED, days=day / 10, name=str(day)) for day in range(30)]
    followers = [start(store), start(other)]

    def work(number):
        for entries in made[number::2]:
            (store, other)[number].add(entries[:20])
            followers[number].follow(3)
            (store, other)[number].add(entries[20:])
            followers[number].follow(3)

    with ThreadPoolExecutor() as pool:
        list(pool.map(work, (0, 1)))
    for follower in followers:
        follower.catch_up()
    found = rows(store)
    other.close()
    assert {row.visit: row.entries for row in found} == {entries[0]["visit"]: len(entries) for entries in made}
    assert all(row.signed for row in found)
