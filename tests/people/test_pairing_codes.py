"""One-time codes, and the pairing they allow."""

import httpx
import pytest

from chairapp.people.pairing_codes import LASTS_MS, PairingCodes
from chairapp.people.safe import FileSafe, SqlSafe
from sync.sql_devices import SqlDevices
from sync.sql_store import SqlStore
from tests.node.conftest import Node, invented_clinic


@pytest.fixture
def clock():
    return [1_800_000_000_000]


@pytest.fixture
def codes(tmp_path, clock):
    return PairingCodes(FileSafe(tmp_path / "people.json"), lambda: clock[0])


def test_a_code_is_used_once_however_it_is_typed(codes):
    code = codes.make()
    assert codes.use(f" {code[:5].lower()}-{code[5:]} ")
    assert not codes.use(code)


def test_a_code_is_over_after_ten_minutes(codes, clock):
    first, second = codes.make(), codes.make()
    clock[0] += LASTS_MS - 1
    assert codes.use(first)
    clock[0] += 1
    assert not codes.use(second)


def test_a_clock_set_back_makes_no_code_last_longer(codes, clock):
    code = codes.make()
    clock[0] -= 3_600_000
    assert not codes.use(code)


def test_no_code_is_kept_readable(codes, tmp_path):
    assert codes.make() not in (tmp_path / "people.json").read_text()


def test_what_never_was_a_code_is_none(codes):
    codes.make()
    assert not codes.use("")
    assert not codes.use("ABCDE-FGHJK")


@pytest.fixture(scope="module")
def clinic(tmp_path_factory):
    """A clinic server that is no demonstration."""
    node = Node("clinic", invented_clinic(tmp_path_factory.mktemp("pairing") / "clinic"), "--demo", "no")
    yield node.start()
    node.end()


def pair(clinic, **more):
    return clinic.http.post("/pair", json={"kind": "tablet", "name": "Chair 1"} | more)


@pytest.mark.parametrize("code", ["", "ABCDEFGHJK"])
def test_nothing_is_paired_without_a_code_of_the_clinic(clinic, code):
    answer = pair(clinic, code=code)
    assert answer.status_code == 403
    assert answer.json()["error"]["field"] == "code"


def test_a_code_pairs_one_device(clinic):
    code = PairingCodes(safe_at(clinic)).make()
    assert pair(clinic, code=code).json()["letter"]
    assert pair(clinic, code=code).status_code == 403


def test_a_tablet_that_pairs_again_keeps_its_id_and_letter_unless_it_was_removed(clinic):
    codes = PairingCodes(safe_at(clinic))
    first = pair(clinic, code=codes.make()).json()
    again = pair(clinic, code=codes.make(), token=first["token"]).json()
    assert (again["device"], again["letter"]) == (first["device"], first["letter"])
    assert again["token"] != first["token"]
    SqlDevices(store_at(clinic)).revoke(first["device"])
    for token in (first["token"], again["token"]):
        held = clinic.http.get("/sync/clinic", headers={"Authorization": f"Bearer {token}"})
        assert held.status_code == 403
    assert pair(clinic, code=codes.make(), token=again["token"]).json()["device"] != first["device"]


def test_a_token_alone_pairs_nothing_again(clinic):
    first = pair(clinic, code=PairingCodes(safe_at(clinic)).make()).json()
    assert pair(clinic, token=first["token"]).status_code == 403


def test_a_chair_node_is_paired_by_a_code_and_passes_codes_on(clinic, tmp_path):
    codes = PairingCodes(safe_at(clinic))
    chair = Node("chair", tmp_path / "chair", "--clinic", clinic.url, "--demo", "no", "--pair", codes.make())
    try:
        chair.start()
        code = codes.make()
        assert chair.http.post("/pair", json={"kind": "tablet", "name": "T"}).json()["error"]["field"] == "code"
        token = chair.http.post("/pair", json={"kind": "tablet", "name": "T", "code": code}).json()["token"]
        known = httpx.get(f"{clinic.url}/sync/clinic", headers={"Authorization": f"Bearer {token}"}, trust_env=False)
        assert known.status_code == 200
    finally:
        chair.end()


def safe_at(clinic):
    """The secrets of a running clinic server, as a second server on its database has them."""
    return SqlSafe(store_at(clinic))


def store_at(clinic):
    return SqlStore(f"sqlite:///{clinic.data / 'clinic.sqlite'}")
