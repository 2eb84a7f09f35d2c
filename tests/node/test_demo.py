"""The demo as a person runs it, and the commands that read what it left behind."""

import contextlib
import signal
import socket
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import httpx
import pytest
import zxingcpp
from PIL import Image

from chairapp.cli import main
from chairapp.node.demo_earlier import VISITS as EARLIER
from sync.tiny_store import TinyStore
from tests.node.conftest import ROOT, free_port, until

VISITS = EARLIER + 14


def two_free_ports():
    """A free port whose neighbour ten above is free too."""
    while True:
        port = free_port()
        with socket.socket() as other, contextlib.suppress(OSError):
            other.bind(("127.0.0.1", port + 10))
            return port


def start(port, *more):
    command = [sys.executable, "-m", "chairapp.cli", "demo", "--port", str(port), "--no-browser", *more]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def lines_until(process, wanted):
    lines = []
    for line in process.stdout:
        lines.append(line)
        if wanted in line:
            return lines
    raise AssertionError(f"the demo ended: {process.stderr.read()}")


def visits(port):
    return httpx.get(f"http://127.0.0.1:{port}/ready", trust_env=False).json()["visits"]


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """A demo that was started, seen to work, and ended by SIGTERM: its data folder, port and first lines."""
    data, port = tmp_path_factory.mktemp("demo"), two_free_ports()
    process = start(port, "--data", str(data))
    lines = lines_until(process, "Ctrl-C")
    until(lambda: visits(port) == visits(port + 10) == VISITS, "all visits are at both nodes")
    process.send_signal(signal.SIGTERM)
    assert process.wait(20) == 0
    return data, port, "".join(lines)


def test_it_says_where_both_nodes_are_and_ends_both(demo):
    _, port, said = demo
    assert f"{VISITS} invented visits" in said
    for at in (port, port + 10):
        assert f"http://127.0.0.1:{at}" in said
        with socket.socket() as probe:
            assert probe.connect_ex(("127.0.0.1", at)) != 0


def test_started_again_on_its_data_it_hands_nothing_in_twice(demo):
    data, port, _ = demo
    process = start(port, "--data", str(data))
    lines_until(process, "Ctrl-C")
    assert visits(port) == VISITS
    process.send_signal(signal.SIGINT)
    assert process.wait(20) == 0


def test_a_taken_port_is_refused_before_anything_starts(tmp_path):
    port = two_free_ports()
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", port + 10))
        taken.listen()
        process = start(port, "--data", str(tmp_path / "new"))
        out, err = process.communicate(timeout=20)
    assert (process.returncode, out) == (2, "")
    assert err == f"threemark demo: --port {port + 10}: another program listens there, choose another port\n"
    assert not (tmp_path / "new").exists()


def test_an_unusable_data_folder_ends_the_demo_with_the_nodes_own_line(tmp_path):
    (tmp_path / "chair").write_text("a file where a folder belongs")
    process = start(two_free_ports(), "--data", str(tmp_path))
    _, err = process.communicate(timeout=30)
    assert process.returncode == 2
    assert "threemark chair: --data" in err
    assert "threemark demo: a node of the demo ended while starting" in err


@pytest.fixture
def run(capsys):
    def run(*argv):
        code = main([str(part) for part in argv])
        printed = capsys.readouterr()
        return code, printed.out, printed.err

    return run


def codes_of(data, kind):
    """Box codes of signed or unsigned visits, read from the chair node's journal."""
    store = TinyStore(data / "chair", write=False)
    found = []
    for touched in store.visits().visits:
        entries = store.visit(touched.visit)
        signed = any(entry["kind"] == "signature" for entry in entries)
        if signed == (kind == "signed"):
            found += [entry["value"]["box"] for entry in entries if entry["kind"] == "opened"]
    store.close()
    return found


@pytest.mark.parametrize("node", ["chair", "clinic"])
@pytest.mark.parametrize("dpi", [203, 300])
def test_a_label_is_made_from_either_nodes_folder(demo, run, tmp_path, node, dpi):
    data, port, _ = demo
    code = codes_of(data, "signed")[0]
    out = tmp_path / "label.png"
    assert run("label", code.lower(), "--data", data / node, "--out", out, "--dpi", dpi) == (0, "", "")
    (found,) = zxingcpp.read_barcodes(Image.open(out).convert("L"))
    assert found.text == f"HTTP://127.0.0.1:{port}/B/{code}"


def test_the_prescription_is_the_same_bytes_from_either_nodes_folder(demo, run, tmp_path):
    data, _, _ = demo
    code = codes_of(data, "signed")[0]
    for node in ("chair", "clinic"):
        assert run("prescription", code, "--data", data / node, "--out", tmp_path / f"{node}.pdf") == (0, "", "")
    made = (tmp_path / "chair.pdf").read_bytes()
    assert made.startswith(b"%PDF")
    assert made == (tmp_path / "clinic.pdf").read_bytes()
    assert (
        run("prescription", codes_of(data, "unsigned")[0], "--data", data / "chair", "--out", tmp_path / "x.pdf")[0]
        == 1
    )
    code, _, said = run("prescription", code, "--data", data / "chair", "--out", tmp_path / "x.png")
    assert (code, said) == (2, f"threemark prescription: --out {tmp_path}/x.png: name a .pdf file\n")


@pytest.mark.parametrize(("kind", "begins"), [("pdf", b"%PDF"), ("svg", b"<svg"), ("png", b"\x89PNG")])
def test_the_kind_of_file_is_the_one_named(demo, run, tmp_path, kind, begins):
    data, _, _ = demo
    out = tmp_path / f"label.{kind}"
    assert run("label", codes_of(data, "signed")[0], "--data", data / "chair", "--out", out)[0] == 0
    assert out.read_bytes().startswith(begins)


def test_a_visit_without_a_signature_gets_no_label_and_the_answer_is_no(demo, run, tmp_path):
    data, _, _ = demo
    code, out, err = run("label", codes_of(data, "unsigned")[0], "--data", data / "chair", "--out", tmp_path / "x.pdf")
    assert (code, out) == (1, "")
    assert "needs a valid signature" in err
    assert not (tmp_path / "x.pdf").exists()


def test_a_code_with_a_slip_is_refused_with_the_near_one(demo, run, tmp_path):
    data, _, _ = demo
    right = codes_of(data, "signed")[0]
    slip = right[:4] + ("C" if right[4] != "C" else "D") + right[5:]
    code, _, err = run("label", slip, "--data", data / "chair", "--out", tmp_path / "x.pdf")
    assert code == 2
    assert f"did you mean {right[:4]}-{right[4:]}?" in err


@pytest.mark.parametrize("node", ["chair", "clinic"])
def test_verify_walks_every_entry_and_signature(demo, run, node):
    data, _, _ = demo
    code, out, err = run("verify", "--data", data / node)
    assert (code, err) == (0, "")
    assert "signatures hold" in out


def test_verify_of_a_database_says_the_same(demo, run):
    data, _, _ = demo
    by_folder = run("verify", "--data", data / "clinic")
    assert run("verify", "--store", f"sqlite:///{data / 'clinic' / 'clinic.sqlite'}") == by_folder


@pytest.mark.parametrize("kept_as", ["BLOB", "TEXT"])
def test_verify_names_the_first_entry_that_was_changed_and_the_answer_is_no(demo, run, tmp_path, kept_as):
    data, _, _ = demo
    copy = tmp_path / "copy.sqlite"
    first = "SELECT min(position) FROM entry WHERE CAST(data AS TEXT) LIKE '%upright%'"
    changed = f"CAST(replace(data, 'upright', 'uprixht') AS {kept_as})"
    by_hand = f"UPDATE entry SET data = {changed} WHERE position = ({first})"
    connect = sqlite3.connect
    with closing(connect(data / "clinic" / "clinic.sqlite")) as source, closing(connect(copy)) as target:
        source.backup(target)
        position = target.execute(first).fetchone()[0]
        target.execute(by_hand)
        target.commit()
    code, out, err = run("verify", "--store", f"sqlite:///{copy}")
    assert (code, out) == (1, "")
    assert err.startswith(f"threemark verify: entry {position} is not what was stored")


def test_verify_of_a_journal_that_was_changed_by_hand_is_no(demo, run, tmp_path):
    data, _, _ = demo
    copy = tmp_path / "chair"
    for file in (data / "chair").rglob("*"):
        if file.is_file():
            target = copy / file.relative_to(data / "chair")
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(file.read_bytes())
    journal = copy / "entries.jsonl"
    journal.write_bytes(journal.read_bytes().replace(b'"upright"', b'"uprixht"', 1))
    code, out, err = run("verify", "--data", copy)
    assert (code, out) == (1, "")
    assert len(err.splitlines()) == 1


def test_no_command_leaves_files_where_it_was_run(demo):
    assert not list(Path(ROOT).glob(".nicegui*"))
    assert {path.name for path in demo[0].iterdir()} == {"chair", "clinic"}
