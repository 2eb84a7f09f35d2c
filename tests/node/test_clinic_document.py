"""The clinic document: what it must hold, and that a slip in it is named."""

import json

import pytest

from chairapp.clinic import ClinicError, clinic_document, digest, local, read_clinic


@pytest.fixture
def raw():
    return {
        "version": 1,
        "clinic": "An invented practice",
        "time_zone": "Europe/Lisbon",
        "label_address": "127.0.0.1:8080",
        "languages": ["en"],
        "chairs": ["1", "2"],
        "staff": [{"id": "p-1", "name": "A. Person", "role": "clinician", "licence": "00-1"}],
        "sequence": "0" * 64,
    }


def test_a_document_survives_being_written_and_read(raw, tmp_path):
    document = clinic_document(raw, "test")
    (tmp_path / "clinic.json").write_text(document.model_dump_json())
    assert read_clinic(tmp_path / "clinic.json") == document


def test_another_version_has_another_digest(raw):
    assert digest(clinic_document(raw, "test")) != digest(clinic_document(raw | {"version": 2}, "test"))


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("time_zone", "Lisbon", "time_zone: no such IANA time zone"),
        ("chairs", [], "chairs"),
        ("staff", [], "staff"),
        ("sequence", "abc", "sequence"),
        ("version", 0, "version"),
        ("patients", ["nobody"], "patients"),
    ],
)
def test_a_slip_in_the_document_is_named(raw, field, value, says):
    with pytest.raises(ClinicError) as caught:
        clinic_document(raw | {field: value}, "clinic.json")
    assert str(caught.value).startswith("clinic.json: ")
    assert says in str(caught.value)


def test_two_people_cannot_share_an_id(raw):
    with pytest.raises(ClinicError, match="two people have the same id"):
        clinic_document(raw | {"staff": raw["staff"] * 2}, "clinic.json")


def test_a_damaged_file_is_said(tmp_path):
    (tmp_path / "clinic.json").write_text("{")
    with pytest.raises(ClinicError, match="not readable as JSON"):
        read_clinic(tmp_path / "clinic.json")


def test_times_are_shown_in_the_clinics_zone(raw):
    document = clinic_document(raw, "test")
    assert local("2026-07-01T09:30:00.000Z", document).strftime("%H:%M") == "10:30"
    assert local("2026-11-25T09:30:00.000Z", document).strftime("%H:%M") == "09:30"


def test_somebody_the_document_does_not_know_is_shown_by_id(raw):
    document = clinic_document(json.loads(json.dumps(raw)), "test")
    assert document.name_of("p-1") == "A. Person"
    assert document.name_of("p-9") == "p-9"
