"""Several clinic servers on one database: one chain, and a feed in which nobody misses anything."""

import subprocess
import sys
import threading
from pathlib import Path

from sync import seal
from sync.entry import Entry
from sync.sql_store import SqlStore
from tests.sync.conftest import Maker

SERVERS = 3
BATCHES = 12


def test_servers_writing_at_once_share_one_chain_and_a_follower_misses_nothing(database: str) -> None:
    stores = [SqlStore(database) for _ in range(SERVERS)]
    made = [[Maker(f"tablet-{number}").readings(2) for _ in range(BATCHES)] for number in range(SERVERS)]
    written = threading.Event()
    followed: list[Entry] = []
    follower = threading.Thread(target=_follow, args=(SqlStore(database, write=False), written, followed))
    follower.start()
    writers = [threading.Thread(target=_write, args=pair) for pair in zip(stores, made, strict=True)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    written.set()
    follower.join()
    assert stores[0].head().position == SERVERS * BATCHES * 2
    assert len({store.head() for store in stores}) == 1
    assert seal.verify_store(stores[1]) is None
    assert followed == stores[2].since(None, 10_000).entries
    for store in stores:
        store.close()


def test_servers_that_start_at_once_on_an_empty_database_agree_on_its_name(database: str) -> None:
    command = [sys.executable, "-c", f"from sync.sql_store import SqlStore; print(SqlStore({database!r}).epoch)"]
    root = Path(__file__).parents[2]
    starting = [subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=root) for _ in range(SERVERS)]
    epochs = [server.communicate()[0].strip() for server in starting]
    assert [server.returncode for server in starting] == [0] * SERVERS
    assert epochs == [SqlStore(database, write=False).epoch] * SERVERS


def _write(store: SqlStore, batches: list[list[Entry]]) -> None:
    for batch in batches:
        store.add(batch)


def _follow(store: SqlStore, written: threading.Event, followed: list[Entry]) -> None:
    cursor = None
    while True:
        last = written.is_set()
        page = store.since(cursor, 5)
        followed += page.entries
        cursor = page.cursor
        if last and not page.more:
            store.close()
            return
