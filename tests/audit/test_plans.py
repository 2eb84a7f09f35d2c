"""How SQLite goes about a page of the list: along an index in the order of the list, however many visits there are."""

from datetime import date

import pytest
from sqlalchemy import event, text

from chairapp.audit.asked import ONLY, Asked
from chairapp.audit.listing import Listing
from chairapp.audit.summed import STATES, VERDICTS
from chairapp.people.demo import demo_clinic
from sync.sql_store import SqlStore
from tests.audit.conftest import DIGEST, start, visit

CLINIC = demo_clinic(DIGEST, "rims.example")
FILTERS = [
    *({"only": only} for only in ONLY),
    *({"state": state} for state in STATES),
    *({"verdict": verdict} for verdict in VERDICTS),
    {"clinician": "clin-1"},
    {"chair": "1"},
    {"since": date(2026, 11, 1), "until": date(2026, 12, 1)},
    {"since": date(2026, 11, 1), "only": "overdue"},
    {"state": "signed", "verdict": "accepted", "only": "unlabelled"},
]


@pytest.fixture
def listing(tmp_path):
    store = SqlStore(f"sqlite:///{tmp_path}/clinic.sqlite")
    summaries = start(store)
    for day in range(3):
        store.add(visit(days=day, name=str(day)))
    summaries.catch_up()
    yield Listing(summaries, lambda: CLINIC), store.engine
    store.close()


def plan(engine, ask):
    """The steps SQLite takes for every statement that `ask` sends."""
    sent = []

    def note(_connection, _cursor, statement, parameters, _context, _many):
        sent.append((statement, parameters))

    event.listen(engine, "before_cursor_execute", note)
    try:
        ask()
    finally:
        event.remove(engine, "before_cursor_execute", note)
    asked = [one for one in sent if "summary_visit" in one[0]]
    assert asked
    with engine.connect() as connection:
        return [
            row.detail
            for statement, parameters in asked
            for row in connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", parameters)
        ]


def reads_everything(step):
    return step.startswith("SCAN") or "TEMP B-TREE" in step


def test_no_page_that_is_asked_for_by_a_filter_reads_every_visit_or_sorts_them(listing):
    listing, engine = listing
    after = listing.page(Asked(), size=1).older
    slow = {}
    for asked in FILTERS:
        for cursor in (None, after):
            steps = plan(engine, lambda asked=asked, cursor=cursor: listing.page(Asked(**asked), cursor))
            if any(reads_everything(step) for step in steps):
                slow[str(asked), cursor] = steps
    assert slow == {}


def test_all_visits_are_read_along_their_index_and_no_further_than_the_page(listing):
    listing, engine = listing
    steps = plan(engine, lambda: listing.page(Asked()))
    assert steps == ["SCAN summary_visit USING INDEX summary_opened"]


def test_a_period_long_ago_does_not_read_what_came_after_it(listing):
    listing, engine = listing
    asked = Asked(since=date(2026, 11, 1), until=date(2026, 12, 1), only="complete")
    first = plan(engine, lambda: listing.page(asked))[0]
    assert "flag=? AND opened_ms>? AND opened_ms<?" in first


def test_a_query_that_sorts_every_visit_is_seen(listing):
    _, engine = listing

    def sort():
        with engine.connect() as connection:
            connection.execute(text("SELECT visit FROM summary_visit ORDER BY last"))

    assert any(reads_everything(step) for step in plan(engine, sort))
