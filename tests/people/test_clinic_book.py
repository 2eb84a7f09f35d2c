"""The clinic document as entries: what is in force, who changed it, and what no change may do."""

import pytest

from chairapp.clinic import CLINIC_VISIT, ClinicError, Person
from chairapp.people.clinic_book import KIND, ClinicBook, new_id
from chairapp.people.demo import demo_clinic
from chairapp.people.errors import LastManager
from sync.entry import Stamper, check_envelope

CLINIC = demo_clinic("0" * 64, "127.0.0.1:8080")


@pytest.fixture
def entries():
    return []


@pytest.fixture
def kept():
    return []


@pytest.fixture
def book(entries, kept):
    stamper = Stamper("node-1")

    def write(item, value, author):
        entry = stamper.entry(CLINIC_VISIT, KIND, item=item, value=value, author=author)
        assert check_envelope(entry) is None
        entries.append(entry)

    own = {"address": ""}
    book = ClinicBook(lambda: entries, write, kept.append, lambda _: own)
    book.begin(CLINIC, "mgr-1")
    return book


def test_there_is_no_document_before_the_clinic_was_set_up():
    assert ClinicBook(list, print, print, dict).document() is None


def test_what_was_entered_is_the_document_in_force(book):
    assert book.document() == CLINIC.model_copy(update={"version": len(CLINIC.staff) + 1})


def test_each_change_is_handed_on_at_once_and_counts_up(book, kept):
    book.set_settings({"clinic": "Red Door Practice"}, "mgr-1")
    assert [document.clinic for document in kept] == ["Blue Door Practice", "Red Door Practice"]
    assert kept[1].version == kept[0].version + 1


def test_a_change_to_what_is_already_so_is_none(book, entries):
    book.set_settings({"clinic": CLINIC.clinic}, "mgr-1")
    book.put_person(CLINIC.staff[0], "mgr-1")
    assert len(entries) == len(CLINIC.staff) + 1


def test_whatever_order_entries_arrive_in_the_document_is_the_same(book, entries):
    book.set_settings({"chairs": ["1"]}, "mgr-1")
    book.put_person(CLINIC.staff[2].model_copy(update={"name": "Mei Castell-Ray"}), "mgr-1")
    turned = ClinicBook(lambda: entries[::-1], print, print, lambda _: {"address": ""})
    assert turned.document() == book.document()


def test_the_history_says_who_changed_what_from_what(book):
    book.put_person(CLINIC.staff[0].model_copy(update={"licence": "INV-1"}), "mgr-1")
    latest = book.history()[0]
    assert (latest.author, latest.person) == ("mgr-1", "clin-1")
    assert (latest.before["licence"], latest.after["licence"]) == ("INV-10442", "INV-1")


def test_who_left_is_still_named_but_no_longer_present(book):
    book.put_person(CLINIC.staff[3].model_copy(update={"active": False}), "mgr-1")
    document = book.document()
    assert document.name_of("asst-1") == "Jon Abara"
    assert "asst-1" not in [person.id for person in document.present]


@pytest.mark.parametrize("change", [{"active": False}, {"role": "assistant"}])
def test_the_last_manager_cannot_leave_or_become_something_else(book, entries, change):
    with pytest.raises(LastManager):
        book.put_person(CLINIC.person("mgr-1").model_copy(update=change), "mgr-1")
    book.put_person(Person(id="mgr-2", name="Sol Verhaag", role="manager"), "mgr-1")
    book.put_person(CLINIC.person("mgr-1").model_copy(update=change), "mgr-1")
    with pytest.raises(LastManager):
        book.put_person(book.person("mgr-2").model_copy(update=change), "mgr-1")


def test_a_setting_that_cannot_be_meant_changes_nothing(book, entries):
    with pytest.raises(ClinicError, match="time_zone"):
        book.set_settings({"time_zone": "Mars/Olympus"}, "mgr-1")
    assert len(entries) == len(CLINIC.staff) + 1


@pytest.mark.parametrize(
    ("name", "id"),
    [
        ("Ada Lindqvist", "ada-lindqvist"),
        ("Søren Ångström", "sren-angstrom"),
        ("王芳", "person"),
        ("A" * 80, "a" * 40),
    ],
)
def test_an_id_reads_like_the_name(name, id):
    assert new_id(name, []) == id
    assert Person(id=id, name=name, role="assistant")


def test_an_id_is_never_given_out_again():
    assert new_id("Ada Lindqvist", ["ada-lindqvist", "ada-lindqvist-2"]) == "ada-lindqvist-3"
