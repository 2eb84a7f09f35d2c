"""Devices in the database: what one server pairs or removes, the others know at once."""

import threading
from collections.abc import Iterator

import pytest
from sqlalchemy import text

from sync.access import Device, digest_of_token
from sync.sql_devices import SqlDevices
from sync.sql_store import SqlStore
from tests.sync.conftest import MORNING, Clock

SERVERS = 4


@pytest.fixture
def servers(database: str, clock: Clock) -> Iterator[list[SqlDevices]]:
    stores = [SqlStore(database) for _ in range(SERVERS)]
    yield [SqlDevices(store, now=clock) for store in stores]
    for store in stores:
        store.close()


def test_a_device_paired_at_one_server_is_known_at_the_others(servers: list[SqlDevices]) -> None:
    tablet, token = servers[0].add("tablet", "Chair 1", "K")
    node, other = servers[1].add("node", "Bag", "")
    for server in servers:
        assert server.by_token(token) == tablet
        assert server.by_token(other) == node
        assert server.list() == [tablet, node]


@pytest.mark.parametrize("wrong", ["", "x", "é", "\udcff"])
def test_no_other_token_finds_a_device(servers: list[SqlDevices], wrong: str) -> None:
    servers[0].add("tablet", "Chair 1", "K")
    assert servers[0].by_token(wrong) is None


def test_no_token_stands_in_the_database(database: str, servers: list[SqlDevices]) -> None:
    _, token = servers[0].add("tablet", "Chair 1", "K")
    store = SqlStore(database, write=False)
    with store.engine.connect() as connection:
        [row] = connection.execute(text("SELECT * FROM device"))
    assert token not in str(row)
    assert digest_of_token(token) in str(row)
    store.close()


def test_a_device_is_called_by_another_name(servers: list[SqlDevices]) -> None:
    tablet, token = servers[0].add("tablet", "Chair 1", "K")
    assert servers[1].rename(tablet.id, "Chair 2")
    assert servers[2].by_token(token) == tablet._replace(name="Chair 2")
    assert not servers[0].rename("nobody", "Chair 3")


def test_a_device_removed_at_one_server_is_removed_at_the_others(servers: list[SqlDevices], clock: Clock) -> None:
    tablet, token = servers[0].add("tablet", "Chair 1", "K")
    assert servers[1].revoke(tablet.id)
    clock.now += 5
    assert servers[2].revoke(tablet.id, block=True)
    assert servers[3].by_token(token) == tablet._replace(revoked=MORNING, blocked=True)
    assert not servers[0].revoke("nobody")


def test_a_device_paired_elsewhere_is_known_by_the_token_it_got_there(servers: list[SqlDevices]) -> None:
    tablet = Device("0b5f6c1e-7a52-4a51-9d3e-2f3f0a4b9c11", "tablet", "K", "Chair 1")
    servers[0].adopt(tablet, "a token of theirs")
    servers[0].adopt(tablet._replace(name="another name"), "a token of theirs")
    assert servers[1].by_token("a token of theirs") == tablet
    assert servers[1].with_digests() == [(tablet, digest_of_token("a token of theirs"))]


def test_servers_pairing_at_once_give_every_tablet_a_letter_of_its_own(servers: list[SqlDevices]) -> None:
    def next_letter(known: list[Device]) -> str:
        return "ABCDEFGHIJKLMNOP"[len(known)]

    def pair(server: SqlDevices) -> None:
        for _ in range(4):
            server.add("tablet", "Chair", next_letter)

    pairing = [threading.Thread(target=pair, args=(server,)) for server in servers]
    for thread in pairing:
        thread.start()
    for thread in pairing:
        thread.join()
    assert sorted(device.letter for device in servers[0].list()) == list("ABCDEFGHIJKLMNOP")
