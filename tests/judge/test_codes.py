"""The list of finding codes is the list of what is emitted, and every code has its words."""

import random

import pytest

from chairapp.judge.codes import CODES
from chairapp.judge.rim import STATIONS
from tests.judge.random_visits import random_visit
from tests.judge.visits import SEQUENCE, fitting


def findings(verdict):
    for step in verdict["steps"].values():
        yield from step["findings"]
    for part in ("why", "notes", "conflicts"):
        yield from verdict["plan"][part]


def rare():
    """Visits that show what random ones hardly ever do."""
    yield fitting().give({"existing.occlusal": [60]})
    yield fitting(lip__nasolabial=[75])
    yield fitting(vertical__rest=[70] * 3, vertical__occlusal=[69.5] * 3, vertical__rest_bases="both")
    yield fitting(marks__misfit=dict.fromkeys(STATIONS, 0))
    yield fitting(display__rest=[3], lower__commissure="above")
    yield fitting(seating__upright="reclined", seating__stable="sore", display__rest=[1, 3])


def emitted():
    rng = random.Random(5)
    for visit in [*rare(), *[random_visit(rng) for _ in range(400)]]:
        yield from findings(visit.judged())


def test_every_finding_is_listed_with_its_params_and_nothing_listed_is_never_emitted():
    seen = {}
    for found in emitted():
        assert set(found) == {"code", "item", "level", "value", "unit", "band", "params"}
        assert found["level"] in ("note", "unsure", "off")
        assert found["unit"] in (None, "mm", "deg")
        seen.setdefault(found["code"], set()).add(tuple(sorted(found["params"])))
    for code in seen:
        assert seen[code] == {tuple(sorted(CODES[code]))}, code
    # the first needs another arch (test_marks.py), the second a clinic that wants more readings (test_override.py)
    assert set(CODES) - set(seen) <= {"marks_not_pinned", "few_readings"}


@pytest.mark.parametrize("code", CODES)
def test_every_code_has_its_words(code):
    texts = SEQUENCE["texts"]["en"]
    assert "finding." + code in texts
