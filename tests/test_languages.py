"""Every language says all that English says: page, sequence, label and prescription; and nothing is said past them."""

import json
import re
import tomllib
from functools import cache
from pathlib import Path

import pytest

import chairapp
from chairapp.case import case_of, entries_of
from chairapp.sequence import document, jaw_relation
from chairapp.sequence.load import flat
from chairapp.sequence.say import number
from chairapp.sequence.view import view
from tests.pseudo import LANGUAGE, in_pseudo, plain_words, pseudo

ROOT = Path(chairapp.__file__).parent
FOLDERS = {
    "page": ROOT / "elements" / "words",
    "sequence": ROOT / "sequence" / "texts",
    "paper": ROOT / "box" / "words",
}
LANGUAGES = sorted(path.stem for path in FOLDERS["page"].glob("*.toml"))
OTHERS = [(name, language) for name in FOLDERS for language in LANGUAGES if language != "en"]
CASES = sorted((ROOT.parent / "demo_cases").glob("*.json"))
SEQUENCE = document(jaw_relation())
PLACEHOLDER = re.compile(r"\{\w+\}")
ALIKE = ("unit.", "after.", "source.", "surface.base", "check.sequence.do", "app.name", "pin.label", "role.supervisor")
"""Units, authors, names and words that are the same in Spanish."""
FAMILIAR = re.compile(r"\b(tú|tu|tus|te|ti|vos|vosotr[oa]s|vuestr[oa]s?|elige|escribe|pulsa)\b", re.IGNORECASE)


@cache
def catalogue(name, language):
    return flat(tomllib.loads((FOLDERS[name] / f"{language}.toml").read_text("utf-8")))


def test_every_catalogue_is_there_in_every_language():
    assert "es" in LANGUAGES
    for folder in FOLDERS.values():
        assert sorted(path.stem for path in folder.glob("*.toml")) == LANGUAGES


@pytest.mark.parametrize(("name", "language"), OTHERS)
def test_a_language_has_the_keys_and_the_placeholders_of_english_in_its_order(name, language):
    english, own = catalogue(name, "en"), catalogue(name, language)
    assert list(own) == list(english)
    differ = [key for key in own if sorted(PLACEHOLDER.findall(own[key])) != sorted(PLACEHOLDER.findall(english[key]))]
    assert differ == []
    assert [key for key in own if own[key].strip() == "" and english[key].strip()] == []


@pytest.mark.parametrize(("name", "language"), OTHERS)
def test_no_text_was_left_in_english(name, language):
    english, own = catalogue(name, "en"), catalogue(name, language)
    worded = [key for key in own if re.search(r"[a-z]{3}", PLACEHOLDER.sub("", own[key]))]
    assert [key for key in worded if own[key] == english[key] and not key.startswith(ALIKE)] == []


@pytest.mark.parametrize("name", FOLDERS)
def test_spanish_says_usted(name):
    assert [text for text in catalogue(name, "es").values() if FAMILIAR.search(text)] == []


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_sentence_of_the_sequence_is_short_enough_for_a_card_and_ends_as_a_sentence(language):
    texts = catalogue("sequence", language)
    assert [key for key in texts if len(texts[key]) > 200] == []
    findings = [key for key in texts if key.startswith(("finding.", "advice.", "caution."))]
    assert [key for key in findings if not texts[key].endswith(".")] == []


def test_numbers_are_shown_as_the_language_writes_them_and_a_document_without_a_mark_means_a_point():
    assert [number(SEQUENCE, language, -2.75) for language in ("en", "es")] == ["-2.75", "-2,75"]
    old = {"texts": {"en": {}}}
    assert number(old, "es", 2.5) == "2.5"


def test_a_visit_in_spanish_is_judged_alike_and_only_said_otherwise():
    case = json.loads(next(path for path in CASES if "tilted" in path.name).read_text("utf-8"))
    entries = entries_of(case_of(case), SEQUENCE)
    english, spanish = (view(SEQUENCE, entries, language) for language in ("en", "es"))
    assert unsaid(english) == unsaid(spanish)
    said = [finding["text"] for finding in spanish["verdict"]["steps"]["plane"]["findings"]]
    assert any("línea" in text and re.search(r"\d,\d+ mm", text) for text in said), said


def unsaid(part):
    """The same without its words."""
    if isinstance(part, dict):
        return {key: unsaid(value) for key, value in part.items() if key not in ("text", "advice", "source", "words")}
    return [unsaid(one) for one in part] if isinstance(part, list) else part


def test_the_pseudo_language_keeps_placeholders_and_is_longer():
    assert pseudo("{label} is {value}{unit}.").startswith("[{label} îš {value}{unit}.")
    for texts in (catalogue(name, "en") for name in FOLDERS):
        for english, said in ((text, pseudo(text)) for text in texts.values()):
            assert PLACEHOLDER.findall(said) == PLACEHOLDER.findall(english)
            assert plain_words(PLACEHOLDER.sub("", said), set()) == []
            letters = sum(map(str.isalpha, PLACEHOLDER.sub("", english)))
            assert len(said) >= len(english) + 0.4 * letters - 1


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_all_that_is_said_of_a_visit_comes_from_the_catalogue(path):
    sequence = {**SEQUENCE, "texts": {**SEQUENCE["texts"], LANGUAGE: in_pseudo(SEQUENCE["texts"]["en"])}}
    entries = entries_of(case_of(json.loads(path.read_text("utf-8"))), sequence)
    verdict = view(sequence, entries, LANGUAGE)["verdict"]
    said = list(verdict["plan"]["words"])
    for step in verdict["steps"].values():
        said += [finding[part] for finding in step["findings"] for part in ("text", "advice", "source")]
    typed = {str(step["acceptance"]["reason"]) for step in verdict["steps"].values() if step["acceptance"]}
    names = typed | {str(entry["author"]) for entry in entries}
    assert {word for text in said for word in plain_words(text, names)} <= {"UTC"}
