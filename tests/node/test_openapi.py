"""/openapi.json against the application it describes: no call, however odd, breaks it, and no nonsense is taken."""

import pytest
import schemathesis
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, Phase, assume, given, settings
from schemathesis import GenerationMode
from schemathesis.specs.openapi.checks import positive_data_acceptance

from tests.people.conftest import HOST, app_of

ADDRESS = f"http://{HOST}"
CALLS = [
    "GET /sync/blobs/{sha256}",
    "GET /sync/clinic",
    "GET /sync/devices/removed",
    "GET /sync/entries",
    "GET /sync/health",
    "GET /sync/pins",
    "GET /sync/sequence/{name}",
    "GET /sync/visits",
    "GET /sync/visits/{visit}",
    "POST /pair",
    "POST /people/enrol",
    "POST /sync/entries",
    "PUT /sync/address",
    "PUT /sync/blobs/{sha256}",
]
# What these take no schema can say: bytes of this very digest, an address that may be a node's, the PIN of a person.
PARTICULAR = ("POST /people/enrol", "PUT /sync/address", "PUT /sync/blobs/{sha256}")
NOTHING_TO_GET_WRONG = ("GET /sync/clinic", "GET /sync/devices/removed", "GET /sync/health", "GET /sync/pins")
EXAMPLES = 120


@pytest.fixture(scope="module")
def api(tmp_path_factory):
    """The clinic server's own application with its own store; nothing of it is put in its place."""
    with app_of(tmp_path_factory.mktemp("clinic") / "data", demo="yes") as app:
        yield schemathesis.openapi.from_asgi("/openapi.json", app, headers={"Host": HOST})


@pytest.fixture(scope="module")
def operations(api):
    return {found.ok().label: found.ok() for found in api.get_all_operations()}


@pytest.fixture(scope="module")
def token(api):
    paired = TestClient(api.app, ADDRESS).post("/pair", json={"kind": "node", "name": "Bag"})
    return paired.json()["token"]


def test_every_call_is_described(operations):
    assert sorted(operations) == CALLS


@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE], ids=["as described", "nonsense"])
@pytest.mark.parametrize("call", CALLS)
def test_whatever_is_sent_is_answered_as_described(operations, token, call, mode):
    """No 5xx, every answer in the shape of its status, nonsense refused, nothing given without a token."""
    operation = operations[call]
    known = {parameter.name for parameter in operation.query}
    left_out = [positive_data_acceptance] if call in PARTICULAR else []
    if mode is GenerationMode.NEGATIVE and call in NOTHING_TO_GET_WRONG:
        pytest.skip("a call without anything that could be wrong")

    @given(case=operation.as_strategy(generation_mode=mode))
    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        database=None,
        phases=[Phase.explicit, Phase.generate],
        suppress_health_check=list(HealthCheck),
        derandomize=True,
    )
    def ask(case):
        # A parameter nobody here knows is passed over: a newer tablet may ask an older node.
        assume(set(case.query or ()) <= known)
        # An empty list or object leaves nothing in an address: what is sent then has no such parameter, which is right.
        assume(all(value not in ([], {}) for value in (case.query or {}).values()))
        case.call_and_validate(base_url=ADDRESS, headers={"Authorization": f"Bearer {token}"}, excluded_checks=left_out)

    ask()
