"""Every word that a page, a command or the judge can ask for is in the English catalogue, and nothing else is."""

import re

import pytest

from chairapp.judge.codes import CODES
from chairapp.judge.rim import STATIONS
from chairapp.sequence import document, jaw_relation
from chairapp.sequence.words import PLACEHOLDER, is_key, placeholders

DOC = document(jaw_relation())
EN = DOC["texts"]["en"]
ITEMS = [item for step in DOC["steps"] for item in step["items"]]
VERDICTS = ["open", "stale", "unsure", "off", "fits", "accepted"]

PREFIXES_OF_OWN_WORDS = (
    "after.",
    "places.",
    "place.",
    "list.",
    "number.",
    "band.",
    "plan.",
    "sign.",
    "check.",
    "void.",
    "caution.",
)


def test_every_step_has_a_title_of_two_to_four_words_and_a_sentence():
    for step in DOC["steps"]:
        assert 1 <= len(EN[f"step.{step['id']}.title"].split()) <= 4
        assert EN[f"step.{step['id']}.about"].endswith(".")


@pytest.mark.parametrize("item", [item["id"] for item in ITEMS])
def test_every_item_has_its_question_and_its_label(item):
    assert EN[f"item.{item}.question"]
    assert EN[f"item.{item}.label"]


@pytest.mark.parametrize("item", ITEMS, ids=lambda item: item["id"])
def test_every_choice_has_a_label_for_its_button(item):
    for value in item["choices"]:
        assert f"choice.{item['id']}.{value}" in EN or f"choice.{value}" in EN


def test_every_item_that_is_measured_says_how():
    wanted = [item["id"] for item in ITEMS if item["kind"] in ("reading", "stations")]
    assert not [item for item in wanted if f"item.{item}.hint" not in EN]


def test_prompts_cautions_stations_verdicts_and_units_are_all_worded():
    wanted = {f"prompt.{item['prompt']}" for item in ITEMS if item["prompt"]}
    wanted |= {f"caution.{key}" for part in [*ITEMS, *DOC["steps"]] for key in part["cautions"]}
    wanted |= {f"station.{station}" for station in STATIONS} | {f"place.{station}" for station in STATIONS}
    wanted |= {f"verdict.{verdict}" for verdict in VERDICTS}
    wanted |= {f"unit.{item['unit']}" for item in ITEMS if item["unit"]}
    wanted |= {"rim.upper", "rim.lower", "surface.height", "surface.labial", "surface.base"}
    wanted |= {"side.right", "side.left", "side.front", "side.back"}
    assert not wanted - set(EN)


@pytest.mark.parametrize("code", CODES)
def test_every_code_of_the_judge_says_what_it_means_and_what_to_do(code):
    assert EN[f"finding.{code}"].endswith(".")
    assert EN[f"advice.{code}"].endswith(".")


def test_every_finding_of_a_measure_names_its_source():
    without = [code for code in CODES if f"source.{code}" not in EN]
    assert without == [
        "capped",
        "stale_wax",
        "stale_answer",
        "stale_unaware",
        "lapsed",
        "by_eye",
        "plan_measure_first",
        "plan_upper_only",
        "plan_two_rounds",
        "plan_overjet",
        "plan_conflict",
    ]


@pytest.mark.parametrize("key", EN)
def test_every_placeholder_is_one_that_gets_filled(key):
    if key.startswith(("finding.", "advice.", "source.", "check.")):
        assert set(PLACEHOLDER.findall(EN[key])) <= set(placeholders(DOC, key))
    assert EN[key].strip() == EN[key] or key.startswith(("list.", "after.", "plan.then"))


def test_no_text_is_there_that_nothing_asks_for():
    used = {f"step.{step['id']}.{part}" for step in DOC["steps"] for part in ("title", "about")}
    used |= {f"item.{item['id']}.{part}" for item in ITEMS for part in ("question", "label", "hint")}
    values = {(item["id"], value) for item in ITEMS for value in item["choices"]}
    used |= {f"choice.{item}.{value}" for item, value in values} | {f"choice.{value}" for _, value in values}
    used |= {f"{kind}.{code}" for code in CODES for kind in ("finding", "advice", "source")}
    used |= {f"station.{station}" for station in STATIONS} | {f"verdict.{verdict}" for verdict in VERDICTS}
    used |= {f"prompt.{item['prompt']}" for item in ITEMS} | {
        "unit.mm",
        "unit.deg",
        "unit.min",
        "choice.looks_parallel",
    }
    used |= {"rim.upper", "rim.lower", "surface.height", "surface.labial", "surface.base"}
    used |= {"side.right", "side.left", "side.front", "side.back"}
    own = {key for key in EN if key.startswith(PREFIXES_OF_OWN_WORDS)}
    wordings = {key for key in EN if key.startswith(("finding.", "advice.")) and key.count(".") == 2}
    assert set(EN) - used - own - wordings == set()


def test_a_wording_of_its_own_belongs_to_a_value_or_level_that_its_finding_can_have():
    words = {"past", "long", "both", "none", "note", "unsure"}
    for key in EN:
        kind, *rest = key.split(".")
        if kind in ("finding", "advice", "source") and len(rest) == 2:
            assert rest[0] in CODES
            assert rest[1] in words


def test_every_sentence_is_short_enough_for_a_card():
    assert not [key for key in EN if len(EN[key]) > 200]


def test_texts_guide_and_never_diagnose():
    assert not [key for key in EN if re.search(r"diagnos|patholog|disease", EN[key], re.IGNORECASE)]


def test_a_choice_or_a_hint_may_get_words_of_its_own_but_an_unknown_item_none():
    assert is_key(DOC, "choice.lower.pad_right.half")
    assert is_key(DOC, "item.packing.minutes.hint")
    assert not is_key(DOC, "choice.lower.pad_right.quarter")
    assert not is_key(DOC, "item.nothing.hint")
    assert not is_key(DOC, "finding.nothing")
