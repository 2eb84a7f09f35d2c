"""The data folder: made once, kept to its role, refused when it is not ours."""

import pytest

from chairapp.node.errors import FolderError
from chairapp.node.folder import FORMAT, make_folder, open_folder


def test_the_first_start_makes_it_and_remembers_the_settings(tmp_path):
    made = make_folder(tmp_path / "chair", "chair", {"clinic": "http://127.0.0.1:8090", "port": None})
    again = make_folder(tmp_path / "chair", "chair", {"clinic": "http://127.0.0.1:9999"})
    assert (tmp_path / "chair" / "FORMAT").read_text() == f"{FORMAT}\n"
    assert again.node == made.node
    assert again.file["clinic"] == "http://127.0.0.1:8090"
    assert "port" not in again.file


def test_keys_are_for_the_owner_only(tmp_path):
    folder = make_folder(tmp_path / "chair", "chair", {})
    assert folder.keys.stat().st_mode & 0o077 == 0


def test_a_first_start_cut_short_is_finished_by_the_next(tmp_path):
    (tmp_path / "chair" / "blobs").mkdir(parents=True)
    (tmp_path / "chair" / "node.toml.new").write_text("role")
    assert make_folder(tmp_path / "chair", "chair", {}).role == "chair"


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (lambda path: (path / "FORMAT").write_text("99"), "written by a newer Threemark"),
        (lambda path: (path / "FORMAT").write_text("old"), "holds 'old', not a number"),
        (lambda path: (path / "FORMAT").unlink(), "no FORMAT file"),
        (lambda path: (path / "node.toml").unlink(), "node.toml is missing"),
        (lambda path: (path / "node.toml").write_text("role ="), "not readable as TOML"),
        (lambda path: (path / "node.toml").write_text('role = "chair"'), "node is missing"),
    ],
)
def test_a_damaged_folder_is_refused_in_one_line(tmp_path, spoil, says):
    make_folder(tmp_path / "chair", "chair", {})
    spoil(tmp_path / "chair")
    with pytest.raises(FolderError, match=says):
        open_folder(tmp_path / "chair")


def test_a_folder_keeps_its_role(tmp_path):
    make_folder(tmp_path / "data", "clinic", {})
    with pytest.raises(FolderError, match="holds the data of a clinic node"):
        make_folder(tmp_path / "data", "chair", {})


def test_a_folder_with_other_peoples_files_is_left_alone(tmp_path):
    (tmp_path / "thesis.txt").write_text("mine")
    with pytest.raises(FolderError, match="not empty and not a node's"):
        make_folder(tmp_path, "chair", {})
    assert [path.name for path in tmp_path.iterdir()] == ["thesis.txt"]


def test_no_folder_at_all_is_said(tmp_path):
    with pytest.raises(FolderError, match="there is no such folder"):
        open_folder(tmp_path / "nowhere")
