"""What an export says, against what standards bodies publish.

Codes and rules as published; each check names its source. What was copied by hand is marked so.
"""

import json
import uuid

from stdnum import luhn

from chairapp.export.fhir import codes


def _mod10(number):
    """As the LOINC Users' Guide has it: digits at odd places from the right joined and doubled, the others behind."""
    digits = str(number)[::-1]
    joined = str(int(digits[0::2]) * 2) + digits[1::2]
    return -sum(map(int, joined)) % 10


def test_the_check_digits_of_the_two_loinc_codes_are_right():
    """LOINC Users' Guide, "Calculating Mod 10 Check Digits"; the same as Luhn's, by python-stdnum as a referee."""
    for item in ("vertical.occlusal", "overjet.gap"):
        (coding,) = codes.loinc(item)
        number, digit = coding["code"].split("-")
        assert str(_mod10(number)) == luhn.calc_check_digit(number) == digit


def test_the_loinc_notice_names_what_its_licence_demands():
    """LOINC licence, the notice for works that contain parts of it; its words from memory, years left out."""
    for part in (
        "This material contains content from LOINC (http://loinc.org).",
        "copyright © Regenstrief Institute, Inc.",
        "http://loinc.org/license",
        "registered United States trademark of Regenstrief Institute, Inc.",
    ):
        assert part in codes.LOINC_NOTICE


def test_systems_are_named_as_fhir_names_them():
    """HL7 FHIR R4, "Using Terminologies: Known Code Systems" (4.3.0)."""
    assert codes.LOINC == "http://loinc.org"
    assert codes.UCUM == "http://unitsofmeasure.org"


def test_statuses_we_write_are_of_the_published_value_sets():
    """fhir.resources has bindings of R4B as `enum_values`, taken from HL7's definitions; "+" stands for the rest."""
    from fhir.resources.R4B.devicerequest import DeviceRequest
    from fhir.resources.R4B.observation import Observation
    from fhir.resources.R4B.questionnaireresponse import QuestionnaireResponse
    from fhir.resources.R4B.task import Task

    from tests.export.fhir_check import STATUSES

    for model in (Observation, QuestionnaireResponse, Task, DeviceRequest):
        field = model.model_fields["status"]
        published = (field.json_schema_extra or {}).get("enum_values") or []
        mine = STATUSES[model.__name__].split()
        assert published, model.__name__
        assert set(published) - {"+"} <= set(mine)
        assert "+" in published or set(published) == set(mine)


def test_names_of_ours_are_uuids_made_from_words():
    """RFC 9562, 5.5: version 5, variant 10."""
    for name in ("code system", "staff id"):
        made = uuid.UUID(codes.canonical(name).removeprefix("urn:uuid:"))
        assert (made.version, made.variant) == (5, uuid.RFC_4122)


def test_version_five_is_made_as_rfc_9562_shows_it():
    """RFC 9562, appendix A.4: DNS namespace and www.example.com."""
    assert str(uuid.uuid5(uuid.NAMESPACE_DNS, "www.example.com")) == "2ed6657d-e927-568b-95e1-2665a8aea6a2"


def test_the_signature_types_are_those_of_the_published_value_set():
    """ASTM E1762-95 as HL7 FHIR R4 publishes it (valueset-signature-type); copied by hand."""
    from chairapp.export.fhir.trail import _TYPES

    published = {"1.2.840.10065.1.12.1.1": "Author's Signature", "1.2.840.10065.1.12.1.5": "Verification Signature"}
    assert all(published[code] == display for code, display in _TYPES.values())


def test_tables_are_read_by_the_grammar_of_rfc_4180(tmp_path):
    """RFC 4180, 2, rules 1, 5, 6, 7: lines end in CR LF; quotes around commas, quotes and line ends; quotes doubled."""
    from chairapp.export.cells import Table

    with Table(tmp_path / "t.csv", ["a", "b"]) as table:
        table.add({"a": 'one "quoted", with\r\nmore', "b": 1.5})
    assert (tmp_path / "t.csv").read_bytes() == b'\xef\xbb\xbf"a","b"\r\n"one ""quoted"", with\r\nmore",1.5\r\n'


def test_the_verifiers_canonical_form_is_that_of_the_example_of_rfc_8785():
    """RFC 8785, 3.2.2 and 3.2.3: the sample object and its canonical form."""
    from chairapp.export.verify_record import canonical

    sample = json.loads(
        '{"numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],'
        ' "string": "\\u20ac$\\u000F\\u000aA\'\\u0042\\u0022\\u005c\\\\\\"\\/", "literals": [null, true, false]}'
    )
    assert canonical(sample) == (
        '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )
