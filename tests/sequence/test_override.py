"""A school's own numbers: what may be changed, what is refused and how it is said."""

import pytest

from chairapp.sequence import digest, document, jaw_relation, load_override, override_of
from chairapp.sequence.errors import InputError

PLAIN = document(jaw_relation())


def items_of(doc):
    return {item["id"]: item for step in doc["steps"] for item in step["items"]}


def test_bands_spread_and_required_flags_are_changed_and_nothing_else():
    doc = override_of(
        """
        [items."display.rest"]
        band = [0, 3]
        spread = 1.5
        needed = 3
        [items.lower.commissure_mm]
        required = true
        """
    )
    changed, plain = items_of(doc), items_of(PLAIN)
    assert changed["display.rest"] == plain["display.rest"] | {"band": [0, 3], "spread": 1.5, "needed": 3}
    assert changed["lower.commissure_mm"] == plain["lower.commissure_mm"] | {"required": True}
    assert [item for item in changed if changed[item] != plain[item]] == ["display.rest", "lower.commissure_mm"]
    assert {key: doc[key] for key in doc if key != "steps"} == {key: PLAIN[key] for key in PLAIN if key != "steps"}


def test_a_changed_document_has_a_digest_of_its_own_and_an_empty_override_that_of_the_program():
    assert digest(override_of("")) == digest(PLAIN)
    assert digest(override_of("[bands]\ninterocclusal_distance = [2, 5]")) != digest(PLAIN)
    assert digest(override_of("[bands]\ninterocclusal_distance = [2.0, 4]")) == digest(PLAIN)


def test_the_program_s_own_document_is_left_as_it_was():
    before = digest(PLAIN)
    override_of('[settings]\n"plan.display" = 2')
    assert digest(document(jaw_relation())) == before


def test_a_side_of_a_band_may_be_left_open():
    doc = override_of("[items.overjet.gap]\nband = [1, inf]\ntolerated = [-inf, inf]")
    assert (items_of(doc)["overjet.gap"]["band"], items_of(doc)["overjet.gap"]["tolerated"]) == (
        [1, None],
        [None, None],
    )


def test_what_was_guidance_may_be_made_required_and_the_reverse():
    doc = override_of("[items.lip.nasolabial]\nrequired = true\n[items.bench.heel]\nrequired = false")
    assert (items_of(doc)["lip.nasolabial"]["required"], items_of(doc)["lip.nasolabial"]["guidance"]) == (True, False)
    assert items_of(doc)["bench.heel"]["required"] is False


def test_settings_are_named_with_or_without_quotes():
    for text in ('"plan.display" = 2', "plan.display = 2"):
        assert override_of(f"[settings]\n{text}")["settings"]["plan.display"] == 2


def test_texts_are_changed_and_a_language_is_added():
    doc = override_of(
        """
        [texts.en]
        "item.display.rest.hint" = "Use the short rule."
        [texts.pt]
        step.seating.title = "Posição"
        "finding.display_long" = "Mostra {value}{unit}, mais de {band}."
        """
    )
    assert doc["texts"]["en"]["item.display.rest.hint"] == "Use the short rule."
    assert doc["texts"]["pt"] == {
        "step.seating.title": "Posição",
        "finding.display_long": "Mostra {value}{unit}, mais de {band}.",
    }


# the override, the key named, words of the reason
WRONG = [
    ("items = 3", "items", "no such table"),
    ("[things]", "things", "no such table"),
    ("[items.display.nothing]\nband = [1, 2]", "items.display.nothing.band", "no item of this sequence"),
    ("[items.nothing]\nband = [1, 2]", "items.nothing.band", "no item of this sequence"),
    ("[items.display.rest]\nkind = 'choice'", "items.display.rest.kind", "cannot change 'kind'"),
    ("[items.display.fv]\nchoices = ['a']", "items.display.fv.choices", "cannot change 'choices'"),
    ("[items.display.rest]\npossible = [0, 1]", "items.display.rest.possible", "cannot change 'possible'"),
    ("[items.display.rest]\nunit = 'cm'", "items.display.rest.unit", "cannot change 'unit'"),
    ("[items.display.rest]\nband = [2, 1]", "items.display.rest.band", "2 to 1 is the wrong way round"),
    ("[items.display.rest]\nband = [1]", "items.display.rest.band", "it is not [lowest, highest]"),
    ("[items.display.rest]\nband = 1", "items.display.rest.band", "it is not [lowest, highest]"),
    ("[items.display.rest]\nband = ['1', '2']", "items.display.rest.band", "'1' is not a number"),
    ("[items.display.rest]\nband = [true, 2]", "items.display.rest.band", "True is not a number"),
    ("[items.display.rest]\nband = [nan, 2]", "items.display.rest.band", "nan is not a number"),
    ("[items.display.rest]\nband = [1, 400]", "items.display.rest.band", "400 is not possible, outside -20 to 30"),
    ("[items.display.fv]\nband = [1, 2]", "items.display.fv.band", "display.fv has no band to change"),
    ("[items.vertical.rest]\nband = [60, 70]", "items.vertical.rest.band", "vertical.rest has no band to change"),
    ("[items.contact.gap]\nband = [0, 1]", "items.contact.gap.band", "contact is even at 0 only"),
    ("[items.plane.front]\nband = [-5, 5]", "items.plane.front.tolerated", "lies inside what fits"),
    ("[items.plane.front]\ntolerated = [-1, 1]", "items.plane.front.tolerated", "lies inside what fits"),
    ("[items.display.rest]\nspread = 0", "items.display.rest.spread", "a spread is more than 0"),
    ("[items.display.rest]\nspread = inf", "items.display.rest.spread", "it has to end somewhere"),
    ("[items.lip.nasolabial]\nspread = 3", "items.lip.nasolabial.spread", "has no spread to change"),
    ("[items.display.rest]\nneeded = 0", "items.display.rest.needed", "0 is not a number of readings; give 1 to 10"),
    ("[items.vertical.rest]\nneeded = 2", "items.vertical.rest.needed", "2 is not a number of readings; give 3 to 10"),
    ("[items.display.rest]\nneeded = true", "items.display.rest.needed", "True is not a number of readings"),
    ("[items.display.rest]\nneeded = 2.5", "items.display.rest.needed", "2.5 is not a number of readings"),
    ("[items.display.fv]\nneeded = 2", "items.display.fv.needed", "display.fv is not read several times"),
    ("[items.bench.front_width]\nstart = 70", "items.bench.front_width.start", "70 is not possible"),
    ("[items.display.rest]\nrequired = 'yes'", "items.display.rest.required", "neither true nor false"),
    ("[items.display.rest]\nrequired = 1", "items.display.rest.required", "neither true nor false"),
    ("[bands]\nnothing = [1, 2]", "bands.nothing", "no such derived value"),
    ("[bands]\ninterocclusal_distance = [5, 2]", "bands.interocclusal_distance", "the wrong way round"),
    ("[settings]\nnothing = 1", "settings.nothing", "no such setting"),
    ("[settings]\n'marks.spread' = 4", "settings.marks.spread", "4 is outside 0 to 1"),
    ("[settings]\n'marks.turn' = -3", "settings.marks.turn", "-3 is outside"),
    ("[settings]\n'marks.turn' = '3'", "settings.marks.turn", "'3' is not a number"),
    ("[settings]\n'plan.shown_step' = 0", "settings.plan.shown_step", "0 is outside"),
    ("[settings]\n'hinge.skin_to_rim.tip_and_chin' = 7", "settings.hinge.skin_to_rim.tip_and_chin", "7 is outside"),
    ("[settings]\n'plan.display' = 3", "settings.plan.display", "would aim at 3, outside the band 1 to 2"),
    ("[items.display.rest]\nband = [2, 3]", "settings.plan.display", "would aim at 1.5, outside the band 2 to 3"),
    ("[bands]\ninterocclusal_distance = [4, 6]", "settings.plan.distance", "would aim at 3"),
    ("[texts]\nen = 'x'", "texts.en", "no language tag"),
    ("[texts.English]\n'step.lip.title' = 'x'", "texts.English", "no language tag"),
    ("[texts.en]\n'step.nothing.title' = 'x'", "texts.en.step.nothing.title", "no text of this name"),
    ("[texts.en]\n'step.lip.title' = ' '", "texts.en.step.lip.title", "not a text"),
    ("[texts.en]\n'step.lip.title' = 3", "texts.en.step.lip.title", "not a text"),
    ("[texts.en]\n'finding.display_long' = '{mm}'", "texts.en.finding.display_long", "nothing fills {mm} here"),
    (
        "[texts.en]\n'step.lip.title' = '{value}'",
        "texts.en.step.lip.title",
        "nothing fills {value} here; use only none",
    ),
    ("[texts.en]\n'finding.display_long' = 'x {value'", "texts.en.finding.display_long", "has no partner"),
    ("[items\n", "file", "this is not TOML"),
    ("[bands]\na = 1\na = 2", "file", "this is not TOML"),
]


@pytest.mark.parametrize(("text", "field", "why"), WRONG, ids=[f"{one[1]} {one[2]}" for one in WRONG])
def test_what_an_override_cannot_do_is_refused_by_name(text, field, why):
    with pytest.raises(InputError) as caught:
        override_of(text)
    assert caught.value.field == field
    assert why in str(caught.value)
    assert "\n" not in str(caught.value)


def test_the_error_names_the_file(tmp_path):
    file = tmp_path / "school.toml"
    file.write_text("[bands]\nnothing = [1, 2]")
    with pytest.raises(InputError, match=r"school\.toml: bands\.nothing: "):
        load_override(file)


def test_a_file_that_is_not_there_or_not_utf_8_is_said_to_be(tmp_path):
    with pytest.raises(InputError, match=r"none\.toml: file: it cannot be read"):
        load_override(tmp_path / "none.toml")
    (tmp_path / "latin.toml").write_bytes(b"# \xe9")
    with pytest.raises(InputError, match="it is not UTF-8"):
        load_override(tmp_path / "latin.toml")


def test_every_number_that_comes_with_the_program_passes_its_own_checks():
    lines = ["[settings]"] + [f'"{name}" = {value}' for name, value in PLAIN["settings"].items()]
    for item in items_of(PLAIN).values():
        band = item["band"] and ["inf" if limit is None else limit for limit in item["band"]]
        if band and item["id"] != "contact.gap":
            lines += [
                f'[items."{item["id"]}"]',
                f"band = [{band[0]}, {band[1]}]",
                f"required = {str(item['required']).lower()}",
            ]
    assert digest(override_of("\n".join(lines))) == digest(PLAIN)
