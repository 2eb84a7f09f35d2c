"""Enrolling on a tablet: the PIN is looked at first, then the key is kept, once, under that person and that tablet."""

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from fastapi import FastAPI
from fastapi.testclient import TestClient

from chairapp.people.demo import DEMO_PIN, demo_clinic
from chairapp.people.enrol import enrol_routes
from chairapp.people.pins import FREE_TRIES, Pins
from chairapp.people.proof import keys_in, thumbprint
from chairapp.people.safe import FileSafe
from sync.access import FileDevices
from tests.people.test_proof import jwk_of

JWK = jwk_of(ec.generate_private_key(ec.SECP256R1()))
CLINIC = demo_clinic("0" * 64, "127.0.0.1:8080")


class Tablets:
    """Two paired tablets in front of a node that keeps keys in a list."""

    def __init__(self, devices, safe):
        self.kept = []
        pins = Pins(FileSafe(safe), lambda: CLINIC)
        pins.set("clin-1", DEMO_PIN)
        pins.set("clin-2", DEMO_PIN)
        self.tokens = [devices.add("tablet", name, "K") for name in ("Chair 1", "Chair 2")]
        app = FastAPI()
        app.include_router(
            enrol_routes(
                devices,
                pins.check,
                lambda: keys_in({"kind": "key", "value": key} for key in self.kept),
                lambda key, _author: self.kept.append(key),
            )
        )
        self.client = TestClient(app)

    def enrol(self, tablet=0, token=None, **asked):
        body = {"person": "clin-1", "pin": DEMO_PIN, "jwk": JWK, **asked}
        headers = {"Authorization": f"Bearer {token or self.tokens[tablet][1]}"}
        return self.client.post("/people/enrol", json=body, headers=headers)


@pytest.fixture
def devices(tmp_path):
    return FileDevices(tmp_path / "devices.json")


@pytest.fixture
def tablets(devices, tmp_path):
    return Tablets(devices, tmp_path / "people.json")


def test_the_right_pin_makes_the_key_known_once_and_says_until_when(tablets):
    answer = tablets.enrol().json()
    assert answer["key"] == thumbprint(JWK)
    assert answer["until"].endswith("Z")
    assert tablets.kept == [{"person": "clin-1", "device": tablets.tokens[0][0].id, "jwk": JWK}]
    tablets.enrol()
    assert len(tablets.kept) == 1


@pytest.mark.parametrize(
    ("asked", "status", "field"),
    [
        ({"pin": "111111"}, 403, "pin"),
        ({"person": "nobody"}, 404, "person"),
        ({"jwk": {"kty": "EC"}}, 422, "jwk"),
        ({"jwk": JWK | {"d": "AAAA"}}, 422, "jwk"),
        ({"more": 1}, 400, "more"),
        ({"token": "a stranger's"}, 401, "Authorization"),
    ],
)
def test_nothing_is_kept_for_anything_else_and_the_field_is_named(tablets, asked, status, field):
    answer = tablets.enrol(**asked)
    assert (answer.status_code, answer.json()["error"]["field"]) == (status, field)
    assert tablets.kept == []


def test_a_key_stays_with_its_first_person_and_tablet(tablets):
    tablets.enrol()
    for other in (tablets.enrol(person="clin-2"), tablets.enrol(tablet=1)):
        assert (other.status_code, other.json()["error"]["field"]) == (422, "jwk")
    assert len(tablets.kept) == 1


def test_a_removed_tablet_enrols_nobody(tablets, devices):
    devices.revoke(tablets.tokens[0][0].id)
    assert tablets.enrol().status_code == 403
    assert tablets.kept == []


def test_a_node_is_no_place_to_sign_in(tablets, devices):
    _, token = devices.add("node", "Bag", "")
    assert tablets.enrol(token=token).status_code == 403
    assert tablets.kept == []


def test_guessing_is_slowed_down_and_said_so(tablets):
    for _ in range(FREE_TRIES):
        assert tablets.enrol(pin="246802").status_code == 403
    locked = tablets.enrol()
    assert locked.status_code == 429
    assert "wait 30 seconds" in locked.json()["error"]["why"]
    assert tablets.kept == []
