"""A tablet removed at the clinic is removed at its chair nodes."""

from fastapi import FastAPI
from fastapi.testclient import TestClient

from chairapp.node.removed import removed_routes, take_removed
from sync.access import FileDevices


def at(devices, token):
    app = FastAPI()
    app.include_router(removed_routes(devices))
    headers = {"Authorization": f"Bearer {token}", "Threemark-Protocol": "1"}
    return TestClient(app).get("/sync/devices/removed", headers=headers)


def test_a_chair_node_hears_of_removed_tablets_and_lets_them_read_no_more(tmp_path):
    clinic, chair = FileDevices(tmp_path / "clinic.json"), FileDevices(tmp_path / "chair.json")
    _, node = clinic.add("node", "Chair", "")
    (stolen, token), (kept, _) = clinic.add("tablet", "Stolen", "K"), clinic.add("tablet", "Kept", "L")
    chair.adopt(stolen, token)
    clinic.revoke(stolen.id)
    take_removed(chair, at(clinic, node).json())
    assert chair.by_token(token).revoked
    assert not chair.by_token(token).blocked
    clinic.revoke(stolen.id, block=True)
    told = at(clinic, node).json()
    assert told == {stolen.id: True}
    assert kept.id not in told
    take_removed(chair, told)
    assert chair.by_token(token).blocked


def test_a_tablet_is_not_told(tmp_path):
    clinic = FileDevices(tmp_path / "clinic.json")
    _, token = clinic.add("tablet", "Chair 1", "K")
    assert at(clinic, token).status_code == 403
