"""Checks an installation and says, a line each, what is good, what to look at, and what is wrong with what to do."""

import os
import re
import sqlite3
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, requires, version
from pathlib import Path
from typing import NamedTuple
from zoneinfo import ZoneInfo

import httpx

from chairapp.clinic import ClinicError
from chairapp.node.errors import NodeError
from chairapp.node.folder import Folder, open_folder
from chairapp.node.node import Node
from chairapp.node.reading import check_store, reading
from chairapp.node.settings import Settings, read_settings
from chairapp.running.concerns import GB, Concern, Facts, concerns
from chairapp.running.running import facts_of
from sync.clock import wall_ms
from sync.errors import SyncError

__all__ = ["GOOD", "LOOK", "WRONG", "Line", "examine"]

GOOD, LOOK, WRONG = "good", "look", "wrong"
PATIENCE_S = 3.0
_HOUR_MS = 3600 * 1000


class Line(NamedTuple):
    how: str
    told: str

    def __str__(self) -> str:
        return f"{self.how:<6} {self.told}"


def examine(data: Path | None, environment: Mapping[str, str], now: Callable[[], int] = wall_ms) -> Iterator[Line]:
    """Of the program and, with `data`, of the node there, running or not; nothing is changed.

    What is wrong is a line, no exception.
    """
    yield _program()
    if data is None:
        yield Line(LOOK, "No node was looked at: name its folder with --data.")
        return
    try:
        folder = open_folder(data)
        settings = read_settings(folder.role, folder.path, {}, environment, folder.file)
    except NodeError as error:
        yield Line(WRONG, f"{error}.")
        return
    yield from _folder(folder)
    yield from _port(settings)
    if settings.clinic:
        yield _clinic(settings.clinic)
    if settings.backup_to and not os.access(settings.backup_to, os.W_OK | os.X_OK):
        told = f"{settings.backup_to} for the nightly backup is not there, or cannot be written. See that its disk is."
        yield Line(WRONG, told)
    try:
        yield from _inside(folder, settings, now())
    except (NodeError, ClinicError) as error:
        yield Line(WRONG, f"{error}.")
    except SyncError as error:
        yield Line(WRONG, f"{error.why} {error.do}")


def _program() -> Line:
    missing = sorted(name for name in _needed() if not _is_installed(name))
    if missing:
        return Line(
            WRONG, f"Not installed: {', '.join(missing)}. Run pip install --require-hashes -r requirements.lock."
        )
    python = ".".join(map(str, sys.version_info[:3]))
    return Line(GOOD, f"Python {python} and SQLite {sqlite3.sqlite_version}; all that Threemark needs is installed.")


def _needed() -> set[str]:
    """Names of the packages Threemark requires, those of its extras left out."""
    named = (re.match(r"[\w.-]+", text) for text in requires("threemark") or [] if "extra ==" not in text)
    return {found[0] for found in named if found}


def _is_installed(name: str) -> bool:
    try:
        return bool(version(name))
    except PackageNotFoundError:
        return False


def _folder(folder: Folder) -> Iterator[Line]:
    try:
        with tempfile.TemporaryFile(dir=folder.path) as file:
            file.write(b"x")
        yield Line(GOOD, f"{folder.path} is the folder of a {folder.role} node and can be written.")
    except OSError as error:
        yield Line(WRONG, f"{folder.path} cannot be written: {error.strerror}. Run as the user the node runs as.")
    if os.name == "posix" and folder.keys.exists() and folder.keys.stat().st_mode & 0o077:
        yield Line(WRONG, f"{folder.keys} is open to other users of this machine. Run chmod 700 on it.")


def _port(settings: Settings) -> Iterator[Line]:
    """Free, or taken by this very sort of node."""
    ways = dict.fromkeys((settings.address, settings.address.replace("http://", "https://", 1)))
    try:
        found = next((way for way in ways if _answers_as(settings.role, way)), None)
    except httpx.ConnectError:
        yield Line(GOOD, f"Port {settings.port} is free; the node is not running.")
        return
    if found:
        yield Line(GOOD, f"The {settings.role} node answers at {found}.")
    else:
        yield Line(WRONG, f"Another program listens on port {settings.port}. Stop it, or choose another --port.")


def _answers_as(role: str, address: str) -> bool:
    """Whether a node of this role answers there. Raises httpx.ConnectError where nothing listens."""
    try:
        answer = _ask(f"{address}/health").json()
    except httpx.ConnectError as error:
        # Somebody is there, but speaks no TLS.
        if "SSL" in str(error):
            return False
        raise
    except (httpx.HTTPError, ValueError):
        return False
    return isinstance(answer, dict) and answer.get("role") == role


def _clinic(address: str) -> Line:
    try:
        _ask(f"{address}/ready")
        return Line(GOOD, f"The clinic server answers at {address}.")
    except httpx.HTTPError:
        told = f"The clinic server does not answer at {address}. Visits go on; what is entered waits here."
        return Line(LOOK, told)


def _ask(address: str) -> httpx.Response:
    # Whether the certificate is trusted is not asked: only who answers.
    with httpx.Client(verify=False, timeout=PATIENCE_S, trust_env=False) as http:  # noqa: S501
        return http.get(address)


def _inside(folder: Folder, settings: Settings, now: int) -> Iterator[Line]:
    with reading(folder.path) as (_, store):
        node = Node(settings, folder, store)
        checked = check_store(store, folder)
        told = "Bring it back from a backup, then ask whoever looks after this computer."
        yield Line(WRONG, f"{checked.flaw}. {told}") if checked.flaw else Line(GOOD, checked.sentence)
        yield _zone(node, now)
        facts = facts_of(node, now)
    yield from _care(facts)


def _zone(node: Node, now: int) -> Line:
    clinic = node.documents.clinic()
    if clinic is None:
        return Line(LOOK, "The clinic is not known here yet. Start the node and follow what it says.")
    here = datetime.fromtimestamp(now / 1000, UTC).astimezone(ZoneInfo(clinic.time_zone))
    return Line(
        GOOD, f"In {clinic.time_zone} it is {here:%d %b %Y, %H:%M}; the clocks on the wall should say the same."
    )


def _care(facts: Facts) -> Iterator[Line]:
    found = concerns(facts)
    yield from (_line(concern) for concern in found)
    named = {concern.what for concern in found}
    if "disk" not in named:
        yield Line(GOOD, f"{facts.free / GB:.0f} GB of {facts.whole / GB:.0f} GB are free.")
    if facts.backups and facts.backups.at and "backup" not in named:
        yield Line(GOOD, f"The last backup is {(facts.now - facts.backups.at) // _HOUR_MS} hours old.")
    if facts.certificate_ends and "certificate" not in named:
        yield Line(
            GOOD, f"The certificate ends on {datetime.fromtimestamp(facts.certificate_ends / 1000, UTC):%d %b %Y}."
        )


def _line(concern: Concern) -> Line:
    return Line(WRONG if concern.serious else LOOK, f"{concern.told} {concern.do}")
