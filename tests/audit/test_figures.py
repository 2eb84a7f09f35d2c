"""Figures asked of the summaries, against the same worked out by hand from the visits."""

import random
import statistics
from datetime import UTC, date, datetime

import pytest

from chairapp.audit.asked import Asked
from chairapp.audit.figures import ENOUGH, Figures
from chairapp.audit.statistics import wilson
from chairapp.people.demo import demo_clinic
from tests.audit.conftest import DAY_MS, DIGEST, MORNING, start, visit

CLINIC = demo_clinic(DIGEST, "rims.example")
SIGNED = {"kind": "signature", "item": "review", "value": {"role": "clinician"}}
RIGHT = dict.fromkeys(("vertical", "centric", "plane", "midline", "display"), "right") | {"repeat": False, "why": ""}


def accepted(reason):
    return {"kind": "acceptance", "item": "display", "value": reason}


def outcome(**found):
    return {"kind": "outcome", "item": "try_in", "value": RIGHT | found}


@pytest.fixture
def figures(store):
    """Figures over the visits given."""
    summaries = start(store)

    def over(visits, zone="Europe/Lisbon"):
        for entries in visits:
            store.add(entries)
        summaries.catch_up()
        return Figures(summaries, lambda: CLINIC.model_copy(update={"time_zone": zone}))

    return over


def test_steps_are_counted_over_signed_visits_only(figures):
    made = [visit(SIGNED, name=str(n)) for n in range(6)]
    made += [
        visit(accepted("Long  lip" if n else "long lip "), SIGNED, name=f"a{n}", display__rest=[3]) for n in (0, 1)
    ]
    made += [visit(SIGNED, name=f"m{n}", display__rest=None) for n in range(3)]
    made += [visit(SIGNED, name="off", display__rest=[3]), visit(name="not signed", display__rest=[3])]
    found = figures(made)
    step = next(step for step in found.steps(Asked()) if step.step == "display")
    assert step.counts == {"fits": 6, "accepted": 2, "unsettled": 1, "skipped": 3}
    assert step.shares["accepted"] == wilson(2, 12)
    (reason,) = found.reasons(Asked())
    assert (reason.step, reason.reason.casefold(), reason.times, reason.by) == ("display", "long lip", 2, ["clin-1"])
    assert found.steps(Asked(clinician="clin-2")) == []


def test_fewer_than_enough_give_counts_and_no_share(figures):
    found = figures([visit(SIGNED, accepted("so"), outcome(), name=str(n)) for n in range(ENOUGH - 1)])
    assert all(step.shares is None for step in found.steps(Asked()))
    assert [month.accepted for month in found.months(Asked())] == [None]
    assert all(row.within is None for row in found.steady(Asked()))
    assert found.distances(Asked())[1] is None
    assert found.outcomes(Asked()).shares is None


def test_months_are_the_clinics_own(figures):
    """Opened half an hour before December in Tokyo and half an hour into it, all of it in November in UTC."""
    december = datetime(2026, 11, 30, 15, tzinfo=UTC).timestamp() * 1000
    days = [(december + minutes * 60_000 - MORNING) / DAY_MS for minutes in (-30, 30)]
    found = figures([visit(SIGNED, days=days[0], name="before"), visit(days=days[1], name="after")], "Asia/Tokyo")
    assert [(month.month, month.opened, month.signed) for month in found.months(Asked())] == [
        ("2026-11", 1, 1),
        ("2026-12", 1, 0),
    ]
    assert [month.opened for month in found.months(Asked(since=date(2026, 12, 1)))] == [1]


def test_steadiness_is_pooled_over_the_series_of_each_clinician(figures):
    chance = random.Random(2)
    series = [[70 + chance.choice((0, 0.5, 1)) for _ in range(chance.randint(3, 5))] for _ in range(12)]
    found = figures([visit(name=str(n), vertical__rest=one) for n, one in enumerate(series)])
    rest = next(row for row in found.steady(Asked()) if row.item == "vertical.rest")
    freedom = sum(len(one) - 1 for one in series)
    squares = sum(statistics.variance(one) * (len(one) - 1) for one in series)
    assert (rest.author, rest.series, rest.readings) == ("clin-1", 12, sum(map(len, series)))
    assert rest.within.sd == pytest.approx((squares / freedom) ** 0.5)
    assert rest.dahlberg == pytest.approx((sum((one[1] - one[0]) ** 2 for one in series) / 24) ** 0.5)
    assert found.steady(Asked(clinician="clin-2")) == []


def test_distances_are_charted_in_the_order_they_were_taken(figures):
    heights = [67, 67.5, 68, 66.5, 67, 67, 67.5, 68, 67, 67]
    made = [visit(SIGNED, days=n, name=str(n), vertical__rest=[70] * 3, vertical__occlusal=[mm] * 3)
            for n, mm in enumerate(heights)]  # fmt: skip
    distances, chart = figures(made[::-1]).distances(Asked())
    assert [one.mm for one in distances] == [70 - mm for mm in heights]
    assert chart.centre == pytest.approx(statistics.fmean(70 - mm for mm in heights))


def test_outcomes_are_compared_between_visits_with_and_without_acceptances(figures):
    made = [
        visit(SIGNED, outcome(repeat=n < 2, why="x", plane="correct" if n == 3 else "right"), name=str(n))
        for n in range(10)
    ]
    made += [
        visit(accepted("so"), SIGNED, outcome(repeat=n < 5, why="x"), name=f"a{n}", display__rest=[3])
        for n in range(10)
    ]
    made += [visit(SIGNED, name="not tried in")]
    found = figures(made).outcomes(Asked())
    assert (found.accepted, found.plain) == ((5, 10), (2, 10))
    assert found.shares[2].value == pytest.approx(0.3)
    assert found.fixes["plane"] == (1, wilson(1, 20))


def test_a_second_reading_is_set_beside_what_stood_then(figures):
    def checked(n):
        return [
            {"kind": "check", "item": "display.rest", "value": 1.5 + n / 10, "author": "clin-2"},
            {"kind": "check", "item": "lower.pad_right", "value": "half" if n % 2 else "above", "author": "clin-2"},
            # read again afterwards: not what was checked
            {"kind": "reading", "item": "display.rest", "value": 2},
        ]

    numbers, choices = figures([visit(*checked(n), days=n, name=str(n)) for n in range(10)]).agreement(Asked())
    assert numbers[0].item == "display.rest"
    assert numbers[0].pairs == [(1.5, 1.5 + n / 10) for n in range(10)]
    assert numbers[0].limits.bias == pytest.approx(0.45)
    assert (choices[0].choices, choices[0].table) == (["above", "half"], [[0, 0], [5, 5]])
    assert (choices[0].same, choices[0].of, choices[0].kappa) == (5, 10, pytest.approx(0))


def test_a_second_reading_by_the_same_person_is_no_agreement(figures):
    own = {"kind": "check", "item": "display.rest", "value": 1.5}
    assert figures([visit(own)]).agreement(Asked()) == ([], [])
