"""A PostgreSQL of the tests' own, from the programs Debian's package `postgresql` installs."""

import os
import pwd
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text

__all__ = ["empty", "running"]


@contextmanager
def running(*, durable: bool = False) -> Iterator[str]:
    """The url of a server for as long as this lasts; TEST_POSTGRES_URL names another one, with an empty database.

    It waits for the disk only when `durable`: the tests are about order, not about power cuts.
    Skips, saying why, where there is none to be had.
    """
    given = os.environ.get("TEST_POSTGRES_URL")
    if given:
        yield given
        return
    programs = _programs()
    folder = Path(tempfile.mkdtemp(prefix="threemark-pg-"))
    run = _as_owner(folder)
    port = _free_port()
    try:
        initdb = [programs / "initdb", "-D", folder / "data", "-U", "threemark", "-A", "trust", "-E", "UTF8", "-N"]
        subprocess.run([*run, *map(str, initdb), "--no-locale"], check=True, capture_output=True, cwd="/")
        fsync = "on" if durable else "off"
        options = f"-k {folder} -p {port} -c listen_addresses=127.0.0.1 -c fsync={fsync} -c max_connections=60"
        start = [programs / "pg_ctl", "-D", folder / "data", "-w", "-t", "60", "-l", folder / "log", "-o", options]
        subprocess.run([*run, *map(str, start), "start"], check=True, stdout=subprocess.DEVNULL, cwd="/")
        try:
            yield f"postgresql+psycopg://threemark@127.0.0.1:{port}/postgres"
        finally:
            stop = [programs / "pg_ctl", "-D", folder / "data", "-m", "immediate", "-w", "stop"]
            subprocess.run([*run, *map(str, stop)], check=True, stdout=subprocess.DEVNULL, cwd="/")
    finally:
        shutil.rmtree(folder)


def empty(url: str) -> str:
    """The same database with nothing in it."""
    engine = create_engine(url)
    with engine.begin() as connection:
        connection.execute(text("DROP SCHEMA public CASCADE"))
        connection.execute(text("CREATE SCHEMA public"))
    engine.dispose()
    return url


def _programs() -> Path:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    on_path = shutil.which("initdb")
    if not found and not on_path:
        pytest.skip("no PostgreSQL to test with: install Debian's postgresql, or name one with TEST_POSTGRES_URL")
    return found[-1].parent if found else Path(str(on_path)).parent


def _as_owner(folder: Path) -> list[str]:
    """How to run its programs: they refuse to be run by root, so root becomes `postgres`."""
    if os.geteuid() != 0:
        return []
    try:
        owner = pwd.getpwnam("postgres")
    except KeyError:
        pytest.skip("no PostgreSQL to test with: it does not run as root, and there is no user postgres")
    os.chown(folder, owner.pw_uid, owner.pw_gid)
    return ["setpriv", f"--reuid={owner.pw_uid}", f"--regid={owner.pw_gid}", "--clear-groups"]


def _free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as listening:
        return int(listening.getsockname()[1])
