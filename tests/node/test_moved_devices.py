"""Devices an earlier program kept in a file are known to the clinic server's database."""

from chairapp.node.folder import make_folder
from chairapp.node.node import devices_of, open_store
from sync.access import FileDevices


def test_devices_kept_in_a_file_are_taken_over_once_and_stay_paired(tmp_path):
    folder = make_folder(tmp_path / "clinic", "clinic", {})
    file = folder.keys / "devices.json"
    tablet, token = FileDevices(file).add("tablet", "Chair 1", "K")
    removed, other = FileDevices(file).add("node", "Bag", "")
    FileDevices(file).revoke(removed.id)
    for _ in range(2):
        store = open_store(folder)
        devices = devices_of(folder, store)
        assert devices.by_token(token) == tablet
        assert devices.by_token(other).revoked
        assert [device.id for device in devices.list()] == [tablet.id, removed.id]
        store.close()
    assert not file.exists()
    assert (folder.keys / "devices.moved").exists()


def test_a_chair_node_keeps_its_devices_in_its_folder(tmp_path):
    folder = make_folder(tmp_path / "chair", "chair", {"clinic": "http://127.0.0.1:8090"})
    store = open_store(folder)
    _, token = devices_of(folder, store).add("tablet", "Chair 1", "K")
    assert FileDevices(folder.keys / "devices.json").by_token(token)
    store.close()
