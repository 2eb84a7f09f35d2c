"""FHIR bundles: right by HL7's models and by a checker of ours that notices faults put into them."""

import copy
import io
import json
from dataclasses import replace
from datetime import datetime

import pytest
from fhir.resources.R4B import get_fhir_model_class

from chairapp.export.fhir import write_bundle
from chairapp.export.fhir.codes import LOINC_NOTICE, OURS, quantity
from tests.export.conftest import MADE
from tests.export.fhir_check import TIME, by_the_package, faults


def bundle_of(source):
    file = io.StringIO()
    write_bundle(source, file, MADE)
    return json.loads(file.getvalue())


@pytest.fixture(scope="module")
def bundle(source):
    return bundle_of(source)


@pytest.fixture(scope="module")
def signed(source):
    """One visit is enough to put faults in: the one that is signed and whose box came back."""
    return bundle_of(replace(source, code="KF6HT34K"))


def of(bundle, kind, **wanted):
    found = [entry["resource"] for entry in bundle["entry"] if entry["resource"]["resourceType"] == kind]
    return [one for one in found if all(one.get(name) == value for name, value in wanted.items())]


def observed(bundle, code):
    (found,) = [one for one in of(bundle, "Observation") if one["code"]["coding"][0]["code"] == code]
    return found


def test_a_bundle_of_all_demo_visits_is_without_fault(bundle):
    assert faults(bundle) == []


def test_random_visits_give_bundles_without_fault(source):
    from chairapp.export.fhir.bundle import resources_of
    from tests.export.conftest import DIGEST, DOC
    from tests.export.test_tables import _loose
    from tests.visits import random_visit

    code_system = of(bundle_of(replace(source, code="KF6HT34K")), "CodeSystem")[0]
    questionnaire = of(bundle_of(replace(source, code="KF6HT34K")), "Questionnaire")[0]
    for seed in range(12):
        entries = list({entry["id"]: entry for entry in random_visit(seed, DOC)}.values())
        for entry in entries:
            if entry["kind"] == "opened":
                entry["value"] |= {"digest": DIGEST, "box": "KF6HT34K"}
        made = [*resources_of(_loose(source, entries)), code_system, questionnaire, *_people(entries)]
        found = faults({"entry": [{"fullUrl": f"urn:uuid:{one['id']}", "resource": one} for one in made]})
        assert found == [], seed


def _people(entries):
    from chairapp.export.fhir.about import practitioner

    return [practitioner(author, None) for author in {entry["author"] for entry in entries}]


def test_every_resource_comes_back_from_the_models_as_it_was(signed):
    for entry in signed["entry"]:
        resource = entry["resource"]
        model = get_fhir_model_class(resource["resourceType"]).model_validate(resource)
        assert normal(json.loads(model.model_dump_json())) == normal(resource)


def normal(thing):
    """Times as moments: a model writes 09:00:00.000Z as 09:00:00Z."""
    if isinstance(thing, dict):
        return {name: normal(part) for name, part in thing.items()}
    if isinstance(thing, list):
        return [normal(part) for part in thing]
    return datetime.fromisoformat(thing) if isinstance(thing, str) and TIME.fullmatch(thing) else thing


def test_the_same_record_gives_the_same_bundle(source):
    first, second = io.StringIO(), io.StringIO()
    write_bundle(source, first, MADE)
    write_bundle(source, second, MADE)
    assert first.getvalue() == second.getvalue()


def test_the_distance_is_derived_from_the_two_dimensions(signed):
    distance = observed(signed, "interocclusal_distance")
    found = {entry["fullUrl"]: entry["resource"] for entry in signed["entry"]}
    sources = [found[one["reference"]]["code"]["coding"][0]["code"] for one in distance["derivedFrom"]]
    assert sources == ["vertical.rest", "vertical.occlusal"]
    rest, occlusal = (found[one["reference"]]["valueQuantity"]["value"] for one in distance["derivedFrom"])
    assert abs(distance["valueQuantity"]["value"] - (rest - occlusal)) < 1e-5


def test_stations_are_components_of_one_observation(signed):
    assert len(observed(signed, "overjet.gap")["component"]) == 7


def test_our_code_stands_before_the_one_of_loinc_and_the_notice_is_there(signed):
    codings = observed(signed, "vertical.occlusal")["code"]["coding"]
    assert [coding["system"] for coding in codings] == [OURS, "http://loinc.org"]
    assert of(signed, "Questionnaire")[0]["copyright"] == LOINC_NOTICE


def test_a_signed_visit_is_completed_and_one_changed_after_signing_amended(bundle, source):
    statuses = {one["status"] for one in of(bundle, "QuestionnaireResponse")}
    assert statuses == {"completed", "amended", "in-progress"}
    changed = bundle_of(replace(source, code="KP5GQ3N6"))
    assert of(changed, "QuestionnaireResponse")[0]["status"] == "amended"
    assert {one["activity"]["coding"][0]["code"] for one in of(changed, "Provenance")} == {
        "signed",
        "changed-after-signing",
    }


def test_an_acceptance_is_a_mitigation_with_its_reason(bundle):
    (issue,) = of(bundle, "DetectedIssue")
    assert issue["mitigation"][0]["action"]["text"].startswith("The rims broke off")


def test_the_case_box_is_a_device_with_its_code_and_a_task_that_is_done(signed):
    assert of(signed, "Device")[0]["identifier"][0]["value"] == "KF6HT34K"
    assert of(signed, "Task")[0]["status"] == "completed"
    assert of(signed, "Specimen") == []


def test_every_entry_of_the_trail_is_an_audit_event(signed, source):
    (visit,) = replace(source, code="KF6HT34K").each()
    assert len(of(signed, "AuditEvent")) == len(visit.entries)


def test_who_looked_at_one_record_is_in_its_trail(one):
    (looked,) = of(bundle_of(one), "AuditEvent", action="R")
    assert looked["agent"][0]["who"]["identifier"]["value"] == "mgr-1"
    assert faults(bundle_of(one)) == []


def test_nothing_of_a_person_is_in_the_patient_and_an_erased_value_is_nowhere(bundle):
    for patient in of(bundle, "Patient"):
        assert patient.keys() == {"resourceType", "id", "identifier"}
    (gone,) = [one for one in of(bundle, "AuditEvent") if one["type"]["code"] == "entry/erasure"]
    assert gone["action"] == "U"


def test_a_unit_that_is_not_of_the_two_is_never_written():
    with pytest.raises(ValueError, match="Mm"):
        quantity(1, "Mm")


def test_visits_that_cannot_be_judged_here_are_left_out_and_counted(source):
    bare = replace(source, sequence_of=lambda _: None)
    assert of(bundle_of(bare), "Patient") == []
    assert bare.left_out == 8


def test_a_bundle_without_visits_is_a_bundle(source):
    from chairapp.export.period import period_of

    empty = bundle_of(replace(source, period=period_of("2001-01-01", "2001-01-02")))
    assert faults(empty) == []


# ---- faults put in on purpose: 22 kinds


def _first(bundle, kind):
    return of(bundle, kind)[0]


def _unknown_element(b):
    _first(b, "Procedure")["colour"] = "blue"


def _required_missing(b):
    del _first(b, "Observation")["code"]


def _wrong_type(b):
    observed(b, "display.rest")["valueQuantity"]["value"] = "one and a half"


def _not_in_value_set(b):
    _first(b, "Observation")["status"] = "done"


def _megametre(b):
    observed(b, "display.rest")["valueQuantity"] |= {"unit": "Mm", "code": "Mm"}


def _no_unit_system(b):
    del observed(b, "display.rest")["valueQuantity"]["system"]


def _two_values(b):
    observed(b, "display.rest")["valueString"] = "1.5 mm"


def _reference_to_nothing(b):
    _first(b, "Procedure")["subject"]["reference"] = "urn:uuid:00000000-0000-4000-8000-000000000000"


def _reference_to_another_type(b):
    _first(b, "Procedure")["subject"]["reference"] = f"urn:uuid:{_first(b, 'Device')['id']}"


def _same_full_url(b):
    b["entry"].append(copy.deepcopy(b["entry"][3]))


def _another_full_url(b):
    entry = b["entry"][-1]
    entry["fullUrl"] = "urn:uuid:00000000-0000-4000-8000-000000000000"


def _code_nobody_defined(b):
    observed(b, "display.rest")["code"]["coding"][0]["code"] = "display.asleep"


def _foreign_code_first(b):
    observed(b, "vertical.occlusal")["code"]["coding"].reverse()


def _wrong_loinc(b):
    observed(b, "vertical.occlusal")["code"]["coding"][1]["code"] = "32919-4"


def _no_notice(b):
    del _first(b, "Questionnaire")["copyright"]


def _time_without_zone(b):
    _first(b, "QuestionnaireResponse")["authored"] = "2026-11-25T09:00:00"


def _ends_before_it_begins(b):
    _first(b, "Procedure")["performedPeriod"]["end"] = "2001-01-01T00:00:00Z"


def _not_asked(b):
    _first(b, "QuestionnaireResponse")["item"][0]["item"][0]["linkId"] = "seating.shoes"


def _answer_of_another_type(b):
    _first(b, "QuestionnaireResponse")["item"][0]["item"][0]["answer"] = [{"valueString": "upright"}]


def _value_changed_in_one_place(b):
    observed(b, "display.rest")["valueQuantity"]["value"] += 0.25


def _another_author(b):
    """Another of the staff, of whom there is a resource: plausible, and only the clinic's own record knows better."""
    people = [f"urn:uuid:{one['id']}" for one in of(b, "Practitioner")]
    performer = observed(b, "display.rest")["performer"][0]
    performer["reference"] = next(one for one in people if one != performer["reference"])


def _line_of_the_trail_left_out(b):
    place = next(n for n, entry in enumerate(b["entry"]) if entry["resource"]["resourceType"] == "AuditEvent")
    del b["entry"][place]


FAULTS = [
    _unknown_element,
    _required_missing,
    _wrong_type,
    _not_in_value_set,
    _megametre,
    _no_unit_system,
    _two_values,
    _reference_to_nothing,
    _reference_to_another_type,
    _same_full_url,
    _another_full_url,
    _code_nobody_defined,
    _foreign_code_first,
    _wrong_loinc,
    _no_notice,
    _time_without_zone,
    _ends_before_it_begins,
    _not_asked,
    _answer_of_another_type,
    _value_changed_in_one_place,
    _another_author,
    _line_of_the_trail_left_out,
]
NOT_SEEN = {_another_author, _line_of_the_trail_left_out}
"""A bundle alone cannot tell; `verify_record.py` can, on the full record."""


def test_twenty_of_twenty_two_kinds_of_fault_are_noticed_and_the_two_others_are_named(signed):
    noticed, by_package = set(), set()
    for fault in FAULTS:
        broken = copy.deepcopy(signed)
        fault(broken)
        assert broken != signed, fault.__name__
        if by_the_package(broken):
            by_package.add(fault)
        if fault in by_package or faults(broken):
            noticed.add(fault)
    assert len(FAULTS) == 22
    assert set(FAULTS) - noticed == NOT_SEEN
    assert len(by_package) < len(noticed), "the package alone sees less"
