"""Lists asked of the summaries: filters, pages, counts, what was accepted and why."""

from datetime import UTC, date, datetime, timedelta

import pytest

from chairapp.audit.asked import Asked, asked_of, cursor_of
from chairapp.audit.errors import AskedError
from chairapp.audit.listing import COUNTED, Listing
from chairapp.people.demo import demo_clinic
from tests.audit.conftest import DIGEST, MORNING, start, visit

CLINIC = demo_clinic(DIGEST, "rims.example")
SIGNED = {"kind": "signature", "item": "review", "value": {"role": "clinician"}}
SENT = {"kind": "movement", "item": "box", "value": {"to": "laboratory"}}
BACK = {"kind": "movement", "item": "box", "value": {"to": "clinic"}}
LATE = {"kind": "answer", "item": "display.fv", "value": "short"}
WANTED = {"kind": "movement", "item": "box", "value": {"wanted": "2026-11-26"}}
ACCEPTED = {"kind": "acceptance", "item": "display", "value": "long lip"}
AGAIN = dict.fromkeys(("vertical", "centric", "plane", "midline", "display"), "right") | {"repeat": True, "why": "low"}
NOW = datetime.fromtimestamp(MORNING / 1000, UTC) + timedelta(days=30)

MADE = {
    "open": {"days": 29},
    "signed": {"more": (SIGNED,), "days": 28, "author": "clin-2"},
    "accepted": {"more": (ACCEPTED, SIGNED), "days": 27, "display__rest": [3]},
    "missing": {"more": (SIGNED,), "days": 26, "lip__support": None, "chair": "2"},
    "changed": {"more": (SIGNED, LATE), "days": 25},
    "sent": {"more": (SIGNED, SENT), "days": 29.5},
    "late": {"more": (SIGNED, SENT), "days": 3},
    "wanted": {"more": (SIGNED, SENT, WANTED), "days": 29.2},
    "back": {"more": (SIGNED, SENT, BACK), "days": 2},
    "repeated": {
        "more": (SIGNED, SENT, BACK, {"kind": "outcome", "item": "try_in", "value": AGAIN}),
        "days": 1,
    },
}


@pytest.fixture
def listing(store):
    summaries = start(store)
    for name, how in MADE.items():
        more = how.get("more", ())
        store.add(visit(*more, name=name, **{key: value for key, value in how.items() if key != "more"}))
    summaries.catch_up()
    return Listing(summaries, lambda: CLINIC, overdue_days=14, now=lambda: NOW)


@pytest.fixture
def named(listing):
    """The names of the visits that are asked for, in the order of the list."""
    days = {int(MORNING + how["days"] * 24 * 3600 * 1000): name for name, how in MADE.items()}

    def named(**asked):
        return [days[listed.row.opened_ms] for listed in listing.page(Asked(**asked)).visits]

    return named


def test_visits_are_listed_the_one_opened_last_first(named):
    assert named() == sorted(MADE, key=lambda name: -MADE[name]["days"])


ASKED = [
    ({"only": "unsigned"}, ["open", "changed"]),
    ({"only": "changed"}, ["changed"]),
    ({"only": "accepted"}, ["accepted"]),
    ({"only": "missing"}, ["missing"]),
    ({"only": "overdue"}, ["wanted", "late"]),
    ({"only": "repeated"}, ["repeated"]),
    ({"only": "unlabelled"}, ["signed", "accepted", "missing"]),
    ({"only": "complete"}, ["sent", "wanted", "signed", "accepted", "late", "back", "repeated"]),
    ({"state": "open"}, ["open"]),
    ({"state": "signed", "only": "accepted"}, ["accepted"]),
    ({"verdict": "open", "only": "missing"}, ["missing"]),
    ({"clinician": "clin-2"}, ["signed"]),
    ({"clinician": "clin-2", "only": "accepted"}, []),
    ({"chair": "2"}, ["missing"]),
    ({"since": date(2026, 12, 22), "until": date(2026, 12, 22)}, ["accepted"]),
]


def test_a_filter_lists_what_it_names(named):
    assert [(asked, named(**asked)) for asked, _ in ASKED] == ASKED


def test_every_filter_is_counted_as_it_is_listed(listing, named):
    assert listing.counts(Asked()) == {only: len(named(only=only)) for only in listing.counts(Asked())}
    assert listing.count(Asked(chair="2")) == 1
    assert listing.counts(Asked(clinician="clin-2"))["unlabelled"] == 1


def test_what_was_accepted_stands_with_its_reason_and_by_whom(listing):
    (one,) = listing.page(Asked(only="accepted")).visits
    assert one.accepted == [("display", "long lip", "clin-1")]


def test_pages_follow_each_other_forwards_and_back_without_a_gap(listing):
    for asked in ({}, {"only": "complete"}, {"state": "signed", "verdict": "fits"}):
        assert_pages_follow(listing, asked)


def assert_pages_follow(listing, asked):
    every = listing.page(Asked(**asked), size=100).visits
    seen, cursor = [], None
    while True:
        page = listing.page(Asked(**asked), cursor, size=3)
        seen.append(page)
        if page.older is None:
            break
        cursor = cursor_of(page.older.text)
    assert [one for page in seen for one in page.visits] == every
    back = listing.page(Asked(**asked), cursor_of(seen[-1].newer.text), size=3)
    assert back.visits == seen[-2].visits
    assert seen[0].newer is None


def test_an_address_says_what_was_asked():
    asked = Asked(date(2026, 11, 1), date(2026, 11, 30), "clin-1", "Care home bag", "signed", "off", "accepted")
    query = dict(pair.split("=") for pair in asked.query.replace("+", " ").split("&"))
    assert asked_of(query) == asked
    assert Asked().query == ""


@pytest.mark.parametrize(
    ("query", "says"),
    [
        ({"since": "1.2.2026"}, "Since: '1.2.2026' is no day, write it as 2026-12-31"),
        ({"since": "2026-12-02", "until": "2026-12-01"}, "Until: 2026-12-01 is before 2026-12-02"),
        ({"state": "lost"}, "State: 'lost' is none of open, half"),
        ({"only": "best"}, "Only: 'best' is none of complete"),
    ],
)
def test_what_cannot_be_asked_is_refused_by_name(query, says):
    with pytest.raises(AskedError, match="^" + says):
        asked_of(query)


def test_a_place_in_the_list_that_is_none_is_refused():
    with pytest.raises(AskedError, match="Page"):
        cursor_of("x.y")


def test_counting_stops_where_more_would_tell_nothing(listing):
    assert COUNTED == 1000
    assert listing.people() == (["clin-1", "clin-2"], ["1", "2"])
