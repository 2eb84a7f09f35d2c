"""Backup, restore, a tablet's file, erasure, on real nodes: what the person who runs the clinic server relies on."""

import json
import shutil
import tomllib

import pytest

from chairapp.cli import main
from chairapp.clinic import CLINIC_VISIT
from chairapp.node.reading import check_all
from sync.backup import backed_up_to, open_backup
from sync.sql_store import SqlStore
from sync.tiny_store import TinyStore
from tests.node.conftest import until


@pytest.fixture
def run(capsys):
    def run(*argv):
        code = main([str(part) for part in argv])
        printed = capsys.readouterr()
        return code, (printed.out + printed.err).strip()

    return run


@pytest.fixture
def pair(make_node):
    """A clinic server and its chair node, both with one visit, and the tablet that made it."""
    return _pair(make_node)


@pytest.fixture(scope="module")
def shared(make_node):
    """The same, for tests that leave both as they were."""
    return _pair(make_node)


def _pair(make_node):
    clinic = make_node("clinic").start()
    chair = make_node("chair", "--clinic", clinic.url).start()
    tablet = chair.pair()
    entries = tablet.visit(chair)
    tablet.hand_in(chair, entries)
    visit = entries[0]["visit"]
    until(lambda: len(tablet.held(clinic, visit)) == len(entries), "the entries are at the clinic server")
    return clinic, chair, tablet, entries


def all_of(clinic, tablet, entries):
    """How many entries the clinic server holds: those of the visit and those of the clinic's own."""
    return len(entries) + len(tablet.held(clinic, CLINIC_VISIT))


def saved(tmp_path, entries, **more):
    path = tmp_path / "tablet.json"
    content = {"v": 1, "device": None, "at": "2026-11-25T09:00:00Z", "outbox": [], "refused": [], "entries": entries}
    path.write_text(json.dumps(content | more))
    return path


def test_a_clinic_server_lost_after_its_backup_comes_back_and_the_chair_node_brings_the_rest(pair, run, tmp_path):
    clinic, chair, tablet, entries = pair
    held = all_of(clinic, tablet, entries)
    code, said = run("backup", "--data", clinic.data, "--to", tmp_path / "clinic.backup")
    assert (code, f"{held} entries, read again and whole" in said) == (0, True), said
    later = tablet.visit(chair, "01_all_fits", start=1_795_700_000_000)
    tablet.hand_in(chair, later)
    until(lambda: len(tablet.held(clinic, later[0]["visit"])) == len(later), "the later visit is there too")
    clinic.end()
    shutil.rmtree(clinic.data)

    code, said = run("restore", "--data", clinic.data, "--from", tmp_path / "clinic.backup")
    assert (code, f"{held} entries are back" in said) == (0, True), said
    clinic.open_again()
    for made in (entries, later):
        until(lambda made=made: len(tablet.held(clinic, made[0]["visit"])) == len(made), "all is back")
        held = tablet.held(clinic, made[0]["visit"])
        assert sorted(held) == sorted(entry["id"] for entry in made)
    assert tablet.get(clinic, "/sync/clinic").json() == tablet.clinic
    assert check_all(clinic.data, None).flaw is None


def test_a_backup_holds_no_token_and_is_noted_in_the_clinics_database(shared, run, tmp_path):
    clinic, chair, tablet, entries = shared
    for node in (clinic, chair):
        code, said = run("backup", "--data", node.data, "--to", tmp_path / f"{node.role}.backup")
        assert code == 0, said
        files = open_backup(tmp_path / f"{node.role}.backup").file_names()
        assert {"FORMAT", "node.toml", "clinic.json"} <= set(files)
        assert any(name.startswith("sequences/") for name in files)
        assert not any("keys" in name for name in files)
        assert len(open_backup(tmp_path / f"{node.role}.backup").devices()) >= 1
    store = SqlStore(f"sqlite:///{clinic.data}/clinic.sqlite", write=False)
    assert backed_up_to(store) == all_of(clinic, tablet, entries)
    store.close()


def test_a_chair_nodes_backup_comes_back_as_a_chair_node_that_pairs_itself_again(pair, run, tmp_path):
    clinic, chair, tablet, entries = pair
    assert run("backup", "--data", chair.data, "--to", tmp_path / "chair.backup")[0] == 0
    chair.end()
    shutil.rmtree(chair.data)
    chair.data.mkdir()
    code, said = run("restore", "--data", chair.data, "--from", tmp_path / "chair.backup")
    assert code == 0, said
    chair.open_again()
    assert sorted(tablet.held(chair, entries[0]["visit"])) == sorted(entry["id"] for entry in entries)
    assert sorted(tablet.held(clinic, entries[0]["visit"])) == sorted(entry["id"] for entry in entries)


def test_nothing_is_restored_over_data_and_a_backup_that_is_not_whole_makes_no_folder(shared, run, tmp_path):
    clinic, *_ = shared
    backup = tmp_path / "clinic.backup"
    assert run("backup", "--data", clinic.data, "--to", backup)[0] == 0
    code, said = run("restore", "--data", clinic.data, "--from", backup)
    assert code == 2
    assert said.endswith("not empty, restore into a new folder; to replace a node stop it first")
    code, said = run("restore", "--store", f"sqlite:///{clinic.data}/clinic.sqlite", "--from", backup)
    assert (code, "There are entries in this database" in said) == (2, True)
    backup.write_bytes(backup.read_bytes()[:-1000])
    code, said = run("restore", "--data", tmp_path / "new", "--from", backup)
    assert (code, said.count("\n")) == (2, 0)
    assert "is no backup, or it was cut off or changed after it was written" in said
    assert not (tmp_path / "new").exists()
    assert [path.name for path in tmp_path.iterdir()] == ["clinic.backup"]


def test_a_database_alone_is_backed_up_and_filled_again(shared, run, tmp_path):
    clinic, _, tablet, entries = shared
    url = f"sqlite:///{clinic.data}/clinic.sqlite"
    assert run("backup", "--store", url, "--to", tmp_path / "database.backup")[0] == 0
    code, said = run("restore", "--data", tmp_path / "new", "--from", tmp_path / "database.backup")
    assert (code, "the backup of a database alone, restore it with --store" in said) == (2, True)
    other = f"sqlite:///{tmp_path}/other.sqlite"
    code, said = run("restore", "--store", other, "--from", tmp_path / "database.backup")
    assert (code, f"{all_of(clinic, tablet, entries)} entries are back" in said) == (0, True), said
    assert check_all(None, other).flaw is None


def test_a_folder_restored_with_another_database_names_it(shared, run, tmp_path):
    clinic, _, tablet, entries = shared
    assert run("backup", "--data", clinic.data, "--to", tmp_path / "clinic.backup")[0] == 0
    other = f"sqlite:///{tmp_path}/other.sqlite"
    code, said = run("restore", "--data", tmp_path / "new", "--store", other, "--from", tmp_path / "clinic.backup")
    assert code == 0, said
    assert tomllib.loads((tmp_path / "new" / "node.toml").read_text())["store"] == other
    assert not (tmp_path / "new" / "clinic.sqlite").exists()
    assert f"{all_of(clinic, tablet, entries)} entries" in check_all(tmp_path / "new", None).sentence


def test_restore_wants_to_know_where(run, tmp_path):
    code, said = run("restore", "--from", tmp_path / "x")
    assert (code, "--data: missing" in said) == (2, True)


def test_a_stranded_tablets_file_is_taken_in_once_however_often(pair, run, tmp_path):
    clinic, chair, tablet, _ = pair
    stranded = tablet.visit(chair, "01_all_fits", start=1_795_800_000_000)
    path = saved(tmp_path, stranded)
    code, said = run("import", path, "--data", chair.data)
    assert (code, said.endswith("a node is running on it, stop the node first")) == (2, True)
    code, said = run("import", "--from", path, "--data", clinic.data)
    assert (code, f"{len(stranded)} entries are new, 0 were known" in said) == (0, True), said
    chair.end()
    for new in (len(stranded), 0):
        code, said = run("import", path, "--data", chair.data)
        assert (code, f"{new} entries are new, {len(stranded) - new} were known" in said) == (0, True), said
    assert sorted(tablet.held(clinic, stranded[0]["visit"])) == sorted(entry["id"] for entry in stranded)


def test_bad_entries_of_a_file_go_to_the_drawer_and_the_others_go_in(pair, run, tmp_path):
    _, chair, tablet, entries = pair
    stranded = tablet.visit(chair, "01_all_fits", start=1_795_900_000_000)
    reading = next(entry for entry in stranded if entry["kind"] == "reading")
    bad = [{**reading, "id": entries[0]["id"]}, {**reading, "item": "no.such.item"}, {"nonsense": 1}, 5]
    bad[1]["id"] = tablet.visit(chair, "01_all_fits", start=1_795_900_900_000)[0]["id"]
    erasure = {
        **reading,
        "id": bad[1]["id"][:-1] + "0",
        "kind": "erasure",
        "of": reading["id"],
        "value": {"reason": ""},
    }
    path = saved(tmp_path, [*bad, *stranded, erasure])
    chair.end()
    code, said = run("import", path, "--data", chair.data)
    assert code == 1
    assert "5 were not taken and are in the drawer; the first is number" in said
    store = TinyStore(chair.data, write=False)
    assert len(store.visit(stranded[0]["visit"])) == len(stranded)
    assert store.refused_count() == 5
    store.close()
    assert run("import", path, "--data", chair.data)[0] == 1
    store = TinyStore(chair.data, write=False)
    assert store.refused_count() == 5
    store.close()


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "not JSON in UTF-8, or cut off"),
        (b'{"v": 1, "entries": [', "not JSON in UTF-8, or cut off"),
        (b"\xff\xfe", "not JSON in UTF-8, or cut off"),
        (b"[]", "entries: not what a tablet saves to a file"),
        (b'{"v": 1}', "entries: not what a tablet saves to a file"),
        (b'{"v": 2, "entries": []}', "v: 2, this program reads 1"),
    ],
)
def test_a_file_that_is_none_is_refused_in_one_line(shared, run, tmp_path, content, why):
    path = tmp_path / "tablet.json"
    path.write_bytes(content)
    code, said = run("import", path, "--data", shared[0].data)
    assert (code, said.count("\n")) == (2, 0)
    assert said.startswith(f"threemark import: {path}: ")
    assert why in said


def test_attachments_in_a_file_are_kept_and_a_wrong_one_is_refused(shared, run, tmp_path):
    clinic, *_ = shared
    name = "2cf24dba5fb0a30e26e83b2ac5b9e29e1b161e5c1fa7425e73043362938b9824"
    blobs = [{"sha256": name, "type": "text/plain", "bytes": 5, "base64": "aGVsbG8="}]
    path = saved(tmp_path, [], blobs=blobs)
    code, said = run("import", path, "--data", clinic.data)
    assert (code, "1 attachments" in said) == (0, True), said
    assert (clinic.data / "blobs" / name).read_bytes() == b"hello"
    code, said = run("import", path, "--store", f"sqlite:///{clinic.data}/clinic.sqlite")
    assert (code, "holds attachments" in said) == (2, True)
    for wrong in ({**blobs[0], "base64": "aGVsbG9v"}, {**blobs[0], "base64": "?"}, 5):
        code, said = run("import", saved(tmp_path, [], blobs=[wrong]), "--data", clinic.data)
        assert (code, "blobs" in said) == (1, True)


def test_an_erased_note_is_gone_at_the_clinic_at_the_chair_node_and_from_the_verdict(pair, run):
    clinic, chair, tablet, entries = pair
    note = next(entry for entry in entries if entry["kind"] == "reading")
    asked = ("erase", note["id"], "--data", clinic.data, "--reason", "entered for the wrong patient", "--author")
    assert run(*asked, "asst-1") == (
        2,
        "threemark erase: --author 'asst-1': not the staff id of a manager of this clinic",
    )
    code, said = run(*asked, "mgr-1")
    assert (code, f"The value of entry {note['id']} is erased" in said) == (0, True), said
    until(lambda: len(tablet.held(chair, note["visit"])) == len(entries) + 1, "the erasure is at the chair node")
    for node in (clinic, chair):
        page = tablet.get(node, f"/sync/entries?visit={note['visit']}").json()["entries"]
        [held] = [entry for entry in page if entry["id"] == note["id"]]
        assert held.keys() == note.keys()
        assert list(held["value"]) == ["erased"]
        checked = check_all(node.data, None)
        assert checked.flaw is None
        assert "1 values were erased, 1 signatures over them can no longer be recomputed" in checked.sentence
        assert tablet.hand_in(node, [note])["stored"] == [note["id"]]


def test_what_holds_a_visit_together_is_never_erased_and_a_reason_is_needed(pair, run):
    clinic, chair, _, entries = pair
    asked = ("--data", clinic.data, "--reason", "because", "--author", "mgr-1")
    for kind in ("opened", "signature"):
        named = next(entry for entry in entries if entry["kind"] == kind)
        code, said = run("erase", named["id"], *asked)
        assert (code, f"of kind {kind}, whose value is never erased" in said) == (2, True)
    assert "there is no such entry" in run("erase", "nothing", *asked)[1]
    code, said = run("erase", entries[3]["id"], "--data", clinic.data, "--reason", " ", "--author", "mgr-1")
    assert (code, "--reason: missing" in said) == (2, True)
    chair.end()
    code, said = run("erase", entries[3]["id"], "--data", chair.data, "--reason", "because", "--author", "mgr-1")
    assert (code, "erase at the clinic server" in said) == (2, True)
