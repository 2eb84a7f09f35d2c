"""The demo's past months: what they are for, looked at as a manager does."""

import pytest

from chairapp.audit.asked import Asked
from chairapp.audit.figures import ENOUGH, Figures
from chairapp.node.demo import CASES
from chairapp.node.demo_earlier import VISITS, earlier_visits
from chairapp.people.demo import demo_clinic
from sync.sql_store import SqlStore
from tests.audit.conftest import DIGEST, MORNING, SEQUENCE, start


@pytest.fixture(scope="module")
def visits():
    return list(earlier_visits(CASES, SEQUENCE, "7", "tablet-1", MORNING))


def test_the_same_day_gives_the_same_visits(visits):
    assert list(earlier_visits(CASES, SEQUENCE, "7", "tablet-1", MORNING)) == visits


def test_the_past_months_are_enough_for_every_figure(visits, tmp_path):
    store = SqlStore(f"sqlite:///{tmp_path}/clinic.sqlite")
    for entries in visits:
        assert len(store.add(entries).stored) == len(entries)
    summaries = start(store)
    summaries.catch_up()
    figures, asked = Figures(summaries, lambda: demo_clinic(DIGEST, "rims.example")), Asked()
    assert sum(month.finished for month in figures.months(asked)) == VISITS
    assert sum(month.accepted is not None for month in figures.months(asked)) >= 3
    assert figures.outcomes(asked).shares is not None
    assert {row.author for row in figures.steady(asked) if row.within} == {"clin-1", "clin-2", "sup-1"}
    numbers, choices = figures.agreement(asked)
    assert min(len(one.pairs) for one in numbers) >= ENOUGH <= min(one.of for one in choices)
    assert any(reason.times > 1 for reason in figures.reasons(asked))
    store.close()
