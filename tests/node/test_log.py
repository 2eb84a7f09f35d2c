"""The log holds JSON lines and nothing a person typed."""

import json
import logging
from io import StringIO

import pytest

from chairapp.node.errors import FolderError
from chairapp.node.log import FILES, log, start_log


@pytest.fixture
def lines():
    root, written = logging.getLogger(), StringIO()
    before = root.handlers[:], root.level
    start_log(written)
    yield lambda: [json.loads(line) for line in written.getvalue().splitlines()]
    for handler in root.handlers:
        handler.close()
    root.handlers[:], root.level = before[0], before[1]


def test_a_line_is_json_with_time_event_and_its_fields(lines):
    log("hop.sent", entries=3)
    (line,) = lines()
    assert (line["event"], line["entries"], line["level"]) == ("hop.sent", 3, "info")
    assert line["at"].endswith("Z")


def test_of_a_librarys_line_only_the_text_in_its_source_is_kept(lines):
    logging.getLogger("sqlalchemy").error("could not store %s", "secret-value")
    (line,) = lines()
    assert line["event"] == "could not store %s"
    assert "secret" not in json.dumps(line)


def test_of_an_exception_the_kind_and_the_place_are_kept_and_not_its_message(lines):
    try:
        raise ValueError("secret-value")
    except ValueError:
        logging.getLogger("uvicorn.error").exception("Exception in ASGI application")
    (line,) = lines()
    assert line["error"] == "ValueError"
    assert "test_log.py" in line["where"][0]
    assert "secret" not in json.dumps(line)


def test_the_files_of_a_log_are_bounded_and_hold_the_same_lines(tmp_path, monkeypatch, lines):
    monkeypatch.setattr("chairapp.node.log.FILE_BYTES", 2000)
    start_log(StringIO(), tmp_path / "node.log")
    for number in range(200):
        log("hop.sent", entries=number)
    files = sorted(tmp_path.iterdir())
    assert [file.name for file in files] == ["node.log", *(f"node.log.{at}" for at in range(1, FILES))]
    assert all(file.stat().st_size <= 2000 for file in files)
    assert json.loads(files[0].read_text().splitlines()[-1])["entries"] == 199


def test_a_log_that_cannot_be_written_is_refused_by_its_setting(tmp_path):
    with pytest.raises(FolderError, match=r"--log-file: .* cannot be written"):
        start_log(StringIO(), tmp_path / "nowhere" / "node.log")
