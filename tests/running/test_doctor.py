"""`threemark doctor`: what is wrong is said in one line with what to do, and the exit code tells it to machines."""

import http.server
import os
import ssl
import threading
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta

import pytest

from chairapp.cli import main
from chairapp.node.folder import write_toml
from chairapp.running import doctor
from chairapp.running.doctor import GOOD, LOOK, WRONG, examine
from tests.node.conftest import free_port
from tests.running.conftest import certify, node_of


@contextmanager
def answering(body, kind="application/json", certificate=None):
    """Something that listens on a port and gives this to whoever asks, with a certificate over TLS."""

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_GET(self):
            self.send_response(200)
            self.send_header("Content-Type", kind)
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_):
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    if certificate:
        secured = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        secured.load_cert_chain(certificate)
        server.socket = secured.wrap_socket(server.socket, server_side=True, do_handshake_on_connect=False)
        server.handle_error = lambda *_: None  # a plain request at its port is a try, no error
    thread = threading.Thread(target=server.serve_forever, args=(0.01,))
    thread.start()
    try:
        yield server.server_port
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@pytest.fixture
def data(tmp_path, maker):
    """The folder of a clinic server with one visit and no backup."""
    node = node_of(tmp_path / "data")
    node.store.add(maker.readings(3))
    node.store.close()
    return tmp_path / "data"


def said(data, port=None, **environment):
    given = {f"THREEMARK_{name.upper()}": value for name, value in environment.items()}
    return [str(line) for line in examine(data, given | {"THREEMARK_PORT": str(port or free_port())})]


def with_(lines, text):
    [found] = [line for line in lines if text in line]
    return found.split()[0]


def test_a_node_is_gone_through_and_what_is_wrong_gives_exit_code_1(data, capsys, monkeypatch):
    monkeypatch.setenv("THREEMARK_PORT", str(free_port()))
    monkeypatch.delenv("THREEMARK_DEMO", raising=False)
    assert main(["doctor", "--data", str(data)]) == 1
    lines = capsys.readouterr().out.splitlines()
    for text in (
        "all that Threemark needs is installed",
        "can be written",
        "the node is not running",
        "signatures hold",
    ):
        assert with_(lines, text) == GOOD
    assert with_(lines, "There is no backup yet.") == WRONG
    assert any("the clocks on the wall should say the same" in line for line in lines)


def test_what_is_well_gives_exit_code_0(data, tmp_path, capsys, monkeypatch):
    monkeypatch.setenv("THREEMARK_PORT", str(free_port()))
    monkeypatch.delenv("THREEMARK_DEMO", raising=False)
    assert main(["backup", "--data", str(data), "--to", str(tmp_path / "a.backup")]) == 0
    capsys.readouterr()
    assert main(["doctor", "--data", str(data)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert with_(lines, "The last backup is 0 hours old") == GOOD
    assert not any(line.startswith(WRONG) for line in lines)


def test_without_a_folder_the_program_alone_is_checked(capsys, monkeypatch):
    monkeypatch.delenv("THREEMARK_DATA", raising=False)
    assert main(["doctor"]) == 0
    assert with_(capsys.readouterr().out.splitlines(), "name its folder with --data") == LOOK


def test_the_port_is_free_ours_or_taken(data):
    with answering(b'{"status": "ok", "role": "clinic"}') as port:
        assert with_(said(data, port), f"The clinic node answers at http://127.0.0.1:{port}") == GOOD
    for body, kind in (
        (b'{"role": "chair"}', "application/json"),
        (b"hello", "text/html"),
        (b"[]", "application/json"),
    ):
        with answering(body, kind) as port:
            assert with_(said(data, port), f"Another program listens on port {port}") == WRONG


def test_a_node_behind_its_certificate_is_known_and_told_when_that_ends(data, tmp_path):
    soon = datetime.now(UTC) + timedelta(days=5)
    certificate = certify(data / "keys", soon)
    with answering(b'{"status": "ok", "role": "clinic"}', certificate=certificate) as port:
        lines = said(data, port)
    assert with_(lines, f"The clinic node answers at https://127.0.0.1:{port}") == GOOD
    assert with_(lines, "The certificate of this node ends in 4 days") == LOOK
    certify(data / "keys", soon + timedelta(days=60))
    assert with_(said(data), "The certificate ends on") == GOOD
    certify(data / "keys", soon - timedelta(days=6))
    assert with_(said(data), "The certificate of this node has ended") == WRONG


def test_a_folder_that_is_none_a_setting_that_cannot_be_meant_and_keys_open_to_others(data, tmp_path):
    assert with_(said(tmp_path / "nowhere"), "there is no such folder") == WRONG
    assert with_(said(data, backup_hour="25"), "THREEMARK_BACKUP_HOUR '25'") == WRONG
    assert with_(said(data, backup_to="/nowhere"), "/nowhere for the nightly backup is not there") == WRONG
    os.chmod(data / "keys", 0o755)
    assert with_(said(data), "is open to other users of this machine. Run chmod 700") == WRONG


def test_a_store_that_was_changed_or_is_gone_is_wrong(data):
    file = data / "clinic.sqlite"
    whole = file.read_bytes()
    file.write_bytes(whole.replace(b'"value":1,', b'"value":7,'))
    assert any(line.startswith(WRONG) and "Bring it back from a backup" in line for line in said(data))
    file.unlink()
    assert with_(said(data), "there is no such database") == WRONG


def test_a_package_that_is_missing_is_named(data, monkeypatch):
    monkeypatch.setattr(doctor, "requires", lambda _: ["no-such-package>=1", 'other; extra == "test"'])
    assert with_(said(None), "Not installed: no-such-package.") == WRONG


def test_a_chair_node_works_on_while_its_clinic_server_is_away(tmp_path):
    node = node_of(tmp_path / "chair", "chair", clinic="http://127.0.0.1:9")
    node.store.close()
    known = {"role": "chair", "node": node.folder.node, "clinic": f"http://127.0.0.1:{free_port()}"}
    write_toml(tmp_path / "chair" / "node.toml", known)
    lines = said(tmp_path / "chair")
    assert with_(lines, "The clinic server does not answer") == LOOK
    assert not any(line.startswith(WRONG) for line in lines)
