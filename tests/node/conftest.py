"""Nodes as real processes on free ports of this machine, really ended."""

import contextlib
import json
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

import httpx
import pytest

from chairapp.box.code import new_code
from chairapp.case import case_of, entries_of
from chairapp.node.book import book_of
from chairapp.node.folder import make_folder
from chairapp.node.node import Node as Inside
from chairapp.node.node import open_store
from chairapp.node.settings import read_settings
from chairapp.people.demo import DEMO_PIN, demo_clinic
from chairapp.people.pins import Pins
from chairapp.people.safe import safe_of
from chairapp.sequence import document, jaw_relation

ROOT = Path(__file__).parents[2]
START_MS = 1_795_600_000_000
PATIENCE_S = 60


def until(condition, why):
    """Ask again until `condition()` is true; fails with `why` when the time is up."""
    pause, end = threading.Event(), time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        if found := condition():
            return found
        pause.wait(0.05)
    raise AssertionError(f"not within {PATIENCE_S} s: {why}")


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Node:
    """One node: started, ended and started again on the same port with the same data."""

    def __init__(self, role, data, *more):
        self.role, self.data, self.more = role, data, more
        self.port = free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        self.http = self._client()
        self.log = data.parent / f"{data.name}.log"
        self.process = None

    def start(self, wait=True):
        command = [sys.executable, "-m", "chairapp.cli", self.role, "--data", str(self.data), "--port", str(self.port)]
        with self.log.open("ab") as log, self.log.with_suffix(".out").open("ab") as out:
            self.process = subprocess.Popen([*command, *self.more], stdout=out, stderr=log, cwd=ROOT)
        until(self._answers, f"the {self.role} node answers; its log: {self.log.read_text()[-2000:]}")
        if wait:
            until(self.ready, f"the {self.role} node is ready")
        return self

    def ready(self):
        return self.http.get("/ready").status_code == 200

    def said(self):
        """On the window in which it was started."""
        return self.log.with_suffix(".out").read_text()

    def kill(self):
        self.process.kill()
        self.process.wait()

    def end(self):
        if self.process and self.process.poll() is None:
            self.process.terminate()
            self.process.wait(15)
        self.http.close()

    def open_again(self):
        """After `end`."""
        self.http = self._client()
        return self.start()

    def pair(self, kind="tablet", name="Tablet"):
        answer = self.http.post("/pair", json={"kind": kind, "name": name})
        assert answer.status_code == 200, answer.text
        return Tablet(answer.json())

    def _client(self):
        return httpx.Client(base_url=self.url, timeout=10, trust_env=False)

    def _answers(self):
        assert self.process.poll() is None, self.log.read_text()
        with contextlib.suppress(httpx.TransportError):
            return self.http.get("/ready").status_code in (200, 503)
        return False


def invented_clinic(data):
    """The folder of a clinic server with the invented clinic in it, for a server that is no demonstration."""
    folder = make_folder(data, "clinic", {})
    node = Inside(read_settings("clinic", data, {}, {}, {}), folder, open_store(folder))
    node.device = lambda: folder.node
    sequence = node.documents.keep_sequence(document(jaw_relation()))
    book_of(node, sequence, demo_clinic(sequence, "127.0.0.1:8090"))
    Pins(safe_of(node.store, folder.keys / "people.json"), node.clinic).set_all([*node.people()], DEMO_PIN)
    node.store.close()
    return data


class Tablet:
    """A paired device, acting as the tablet page does."""

    def __init__(self, paired):
        self.id, self.letter, self.clinic = paired["device"], paired["letter"], paired["clinic"]
        self.headers = {"Authorization": f"Bearer {paired['token']}", "Threemark-Protocol": "1"}

    def get(self, node, path, **more):
        return node.http.get(path, headers=self.headers | more)

    def visit(self, node, name="01_all_fits", start=START_MS, **changes):
        """The entries of a demo case, made anew by this tablet."""
        raw = json.loads((ROOT / "demo_cases" / f"{name}.json").read_text())
        case = case_of(raw | {"case": f"{name} {start}", "box": new_code(self.letter)} | changes)
        sequence = self.get(node, f"/sync/sequence/{self.clinic['sequence']}").json()
        return entries_of(case, sequence, start, self.id)

    def hand_in(self, node, entries):
        answer = node.http.post("/sync/entries", headers=self.headers, json={"entries": entries})
        assert answer.status_code == 200, answer.text
        return answer.json()

    def held(self, node, visit):
        """Ids of the entries of a visit at this node, as often as it gives them."""
        ids, cursor, more = [], None, True
        while more:
            params = {"visit": visit} | ({"after": cursor} if cursor else {})
            page = node.http.get("/sync/entries", params=params, headers=self.headers).json()
            ids += [entry["id"] for entry in page["entries"]]
            cursor, more = page["cursor"], page["more"]
        return ids


@pytest.fixture(scope="module")
def make_node(tmp_path_factory):
    """Start a node; all are ended after the module's tests."""
    started = []

    def make(role, *more):
        node = Node(role, tmp_path_factory.mktemp(role) / role, *more)
        started.append(node)
        return node

    yield make
    for node in started:
        node.end()


@pytest.fixture(scope="module")
def clinic(make_node):
    return make_node("clinic").start()


@pytest.fixture(scope="module")
def chair(make_node, clinic):
    return make_node("chair", "--clinic", clinic.url).start()


@pytest.fixture(scope="module")
def tablet(chair):
    return chair.pair()
