"""Two clinic server processes on one PostgreSQL and one folder, as docs/several-servers.md has it."""

import shutil
import threading

import pytest

from chairapp.cli import main
from chairapp.node.reading import check_all
from tests.node.conftest import Node, until
from tests.sync import postgres


@pytest.fixture(scope="module")
def servers(tmp_path_factory):
    with postgres.running() as url:
        store = postgres.empty(url)
        data = tmp_path_factory.mktemp("several") / "clinic"
        both = [Node("clinic", data, "--store", store) for _ in range(2)]
        try:
            yield [node.start() for node in both]
        finally:
            for node in both:
                node.end()


@pytest.fixture(scope="module")
def tablet(servers):
    return servers[0].pair()


def test_a_tablet_paired_at_one_server_hands_in_at_the_other(servers, tablet):
    entries = tablet.visit(servers[1])
    assert len(tablet.hand_in(servers[1], entries)["stored"]) == len(entries)
    for server in servers:
        assert sorted(tablet.held(server, entries[0]["visit"])) == sorted(entry["id"] for entry in entries)
        assert tablet.get(server, "/sync/clinic").json() == tablet.clinic


def test_tablets_paired_at_either_server_get_letters_of_their_own(servers):
    letters = [servers[number % 2].pair().letter for number in range(4)]
    assert len(set(letters)) == 4


def test_entries_handed_in_at_both_at_once_stand_in_one_chain_and_in_one_feed(servers, tablet):
    made = [tablet.visit(server, start=1_795_700_000_000 + number) for number, server in enumerate(servers)]

    def hand_in(server, entries):
        for start in range(0, len(entries), 5):
            tablet.hand_in(server, entries[start : start + 5])

    handing = [threading.Thread(target=hand_in, args=pair) for pair in zip(servers, made, strict=True)]
    for thread in handing:
        thread.start()
    for thread in handing:
        thread.join()
    heads = [tablet.get(server, "/sync/health").json()["head"] for server in servers]
    assert heads[0] == heads[1]
    feeds = [feed(tablet, server) for server in servers]
    assert feeds[0] == feeds[1]
    wanted = {entry["id"] for entries in made for entry in entries}
    assert wanted <= set(feeds[0])
    assert len(set(feeds[0])) == len(feeds[0]) == heads[0]["position"]
    assert check_all(servers[0].data, None).flaw is None


def test_an_attachment_put_at_one_server_is_at_the_other(servers, tablet):
    name = "2cf24dba5fb0a30e26e83b2ac5b9e29e1b161e5c1fa7425e73043362938b9824"
    put = servers[0].http.put(f"/sync/blobs/{name}", headers=tablet.headers, content=b"hello")
    assert put.status_code == 204
    assert tablet.get(servers[1], f"/sync/blobs/{name}").content == b"hello"


def test_one_server_killed_the_other_goes_on_and_the_first_comes_back(servers, tablet):
    entries = tablet.visit(servers[1], start=1_795_800_000_000)
    servers[0].kill()
    tablet.hand_in(servers[1], entries)
    servers[0].start()
    until(lambda: len(tablet.held(servers[0], entries[0]["visit"])) == len(entries), "the first server has it too")


def test_both_servers_lost_with_their_database_come_back_from_the_backup(servers, tablet, tmp_path, capsys):
    data, count = servers[0].data, tablet.get(servers[0], "/sync/health").json()["head"]["position"]
    assert main(["backup", "--data", str(data), "--to", str(tmp_path / "clinic.backup")]) == 0
    for server in servers:
        server.end()
    assert main(["restore", "--data", str(tmp_path / "new"), "--from", str(tmp_path / "clinic.backup")]) == 2
    assert "There are entries in this database" in capsys.readouterr().err
    assert not (tmp_path / "new").exists()
    postgres.empty(servers[0].more[1])
    shutil.rmtree(data)
    assert main(["restore", "--data", str(data), "--from", str(tmp_path / "clinic.backup")]) == 0
    assert f"{count} entries are back" in capsys.readouterr().out
    for server in servers:
        server.open_again()
        assert tablet.get(server, "/sync/health").json()["head"]["position"] == count


def feed(tablet, server):
    ids, cursor, more = [], None, True
    while more:
        page = tablet.get(server, "/sync/entries" + (f"?after={cursor}" if cursor else "")).json()
        ids += [entry["id"] for entry in page["entries"]]
        cursor, more = page["cursor"], page["more"]
    return ids
