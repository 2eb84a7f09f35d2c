"""The main job, end to end: a visit walked with everything dead but the tablet, and where its entries end up."""

import json
import subprocess
import sys
import urllib.request
from pathlib import Path
from typing import Any

import pytest
import zxingcpp
from PIL import Image

from chairapp.visit import visit_state
from sync.sql_store import SqlStore
from tests.browser.chair import Chair
from tests.browser.conftest import Process, free_port, until

THREEMARK = str(Path(sys.executable).parent / "threemark")
STATIONS = ["front", "canine_right", "canine_left", "premolar_right", "premolar_left", "molar_right", "molar_left"]

ANSWERS: dict[str, Any] = {
    "seating.upright": "upright",
    "seating.glasses": "off",
    "seating.points": "tip_and_chin",
    "seating.tragus": "middle",
    "seating.stable": "stable",
    "existing.worn": "none",
    "bench.sealed": "sealed",
    "bench.heel": "short",
    "lip.support": "supported",
    "display.rest": [1.5, 2],
    "display.fv": "touches",
    "plane.front": [0.5],
    "plane.right": [-1.5],
    "plane.left": [1],
    "lower.commissure": "level",
    "lower.pad_right": "half",
    "lower.pad_left": "two_thirds",
    "bases.closing": "clear",
    "contact.position": "same",
    "contact.gap": dict.fromkeys(STATIONS, 0),
    "vertical.rest_bases": "none",
    "vertical.rest": [70, 70.5, 70],
    "vertical.occlusal": [69, 69.5, 69],
    "vertical.s_sound": "clear",
    "vertical.m_rest": "easy",
    "overjet.gap": {**dict.fromkeys(STATIONS, 2), "front": 3.5},
    "bases.forward": "clear",
    "marks.placed": {"front": True, "molar_right": True, "molar_left": True},
    "marks.misfit": {"front": 0, "molar_right": 0.25, "molar_left": 0},
    "marks.one_position": "one",
    "record.count": 3,
    "record.agreement": [0.25],
    "lines.midline": "marked",
    "lines.canines": "marked",
}
AFTER_THE_WAX = {**ANSWERS, "vertical.occlusal": [67, 67.5, 67]}


@pytest.fixture
def nodes(processes, tmp_path):
    """The clinic server and the chair node at addresses of their own; each is started, killed and started again."""
    ports = {"clinic": free_port(), "chair": free_port()}
    urls = {role: f"http://127.0.0.1:{port}" for role, port in ports.items()}

    def start(role: str) -> Process:
        options = ["--clinic", urls["clinic"]] if role == "chair" else []
        command = [THREEMARK, role, "--data", str(tmp_path / role), "--port", str(ports[role])]
        return processes([*command, *options], urls[role])

    start.urls = urls
    return start


@pytest.mark.timeout(600)
def test_a_visit_walked_with_the_network_cut_arrives_once_and_means_the_same_everywhere(nodes, tablets, tmp_path):
    clinic, chair = nodes("clinic"), nodes("chair")
    tablet = tablets(viewport={"width": 1024, "height": 768})
    page = tablet.open(nodes.urls["chair"] + "/chair")
    Chair(page, {}).sign_in("clin-1")
    _until_it_works_alone(page)
    chair.kill()
    clinic.kill()
    tablet.context.set_offline(True)

    visit = _walk_to_the_vertical(Chair(page, ANSWERS))
    page.reload()
    hand = Chair(page, AFTER_THE_WAX)
    until(lambda: hand.settled()["items"]["vertical.m_rest"]["value"] == "easy", "the visit after the reload")
    assert hand.verdict()["steps"]["vertical"]["verdict"] == "off"

    hand.change_wax("lower", "height", "take", dict.fromkeys(STATIONS, 2))
    assert {hand.settled()["items"][item]["status"] for item in ("lower.commissure", "contact.gap")} == {"stale"}
    assert hand.settled()["items"]["vertical.rest"]["status"] == "fresh", (
        "read with no rim in: the wax does not disturb it"
    )

    page.close()
    page = tablet.open(nodes.urls["chair"] + f"/chair#/walk/{visit}")
    hand = Chair(page, AFTER_THE_WAX)
    hand.walk_proposed(until_step="overjet")
    for item in ("overjet.gap",):
        page.locator('.rail [data-step="overjet"]').click()
        until(lambda item=item: hand.item == item, "the overjet")
        hand.answer(item)
    hand.accept("overjet", "front overjet wanted by the patient, seen in profile")
    hand.walk_proposed()
    assert hand.verdict()["ready"]
    hand.sign()
    walked, verdict = hand.entries(), hand.verdict()
    assert hand.pending() == len(walked), "all of it waits on the tablet"

    tablet.context.set_offline(False)
    nodes("chair")
    until(lambda: hand.pending() == 0, "the chair node to have everything", 90)
    clinic = nodes("clinic")
    stored = until(lambda: _at_the_clinic(tmp_path, visit, len(walked)), "the clinic server to have everything", 90)
    assert sorted(stored, key=_id) == sorted(walked, key=_id)
    assert len({_id(entry) for entry in stored}) == len(stored)

    sequence = _sequence(tmp_path, stored)
    assert visit_state(sequence, stored, "en")["verdict"] == verdict
    assert _judged_by_the_command(tmp_path, stored) == {step: one["verdict"] for step, one in verdict["steps"].items()}
    _label_opens_the_box_page(tmp_path, nodes, stored)
    assert tablet.errors == [] or all("ERR_" in error for error in tablet.errors), tablet.errors


def _until_it_works_alone(page) -> None:
    until(lambda: page.locator(".lamp").get_attribute("data-state") == "sent", "the tablet to be paired")
    until(
        lambda: page.evaluate("import('tm_state').then((page) => Boolean(page.lamp.release.offlineReady))"),
        "offline-ready",
    )
    until(lambda: page.evaluate("import('tm_state').then((page) => page.lamp.judge.state === 'ready')"), "the judge")


def _walk_to_the_vertical(hand: Chair) -> str:
    visit = hand.open_visit("1")
    hand.walk("vertical.rest_bases")
    hand.page.locator(".next").click()
    hand.read(50.5)
    hand.withdraw_last_reading()
    hand.walk("vertical.m_rest")
    return visit


def _id(entry: dict[str, Any]) -> str:
    return str(entry["id"])


def _at_the_clinic(folder: Path, visit: str, count: int) -> list[dict[str, Any]] | None:
    store = SqlStore(f"sqlite:///{folder / 'clinic' / 'clinic.sqlite'}")
    entries = store.visit(visit)
    store.close()
    return entries if len(entries) >= count else None


def _sequence(folder: Path, entries: list[dict[str, Any]]) -> dict[str, Any]:
    digest = next(entry["value"]["digest"] for entry in entries if entry["kind"] == "opened")
    return next(json.loads(path.read_text()) for path in (folder / "clinic").rglob(f"*{digest}*"))


def _judged_by_the_command(folder: Path, entries: list[dict[str, Any]]) -> dict[str, str]:
    case = {"case": "walked", "about": "as walked on the tablet", "sequence": "jaw-relation", "entries": entries}
    (folder / "case.json").write_text(json.dumps(case))
    command = [THREEMARK, "judge", str(folder / "case.json")]
    judged = json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
    return {step: one["verdict"] for step, one in judged["steps"].items()}


def _label_opens_the_box_page(folder: Path, nodes, entries: list[dict[str, Any]]) -> None:
    code = next(entry["value"]["box"] for entry in entries if entry["kind"] == "opened")
    out = folder / "label.png"
    command = [THREEMARK, "label", code, "--data", str(folder / "clinic"), "--out", str(out)]
    subprocess.run(command, check=True)
    symbol = zxingcpp.read_barcodes(Image.open(out))[0].text
    assert symbol.upper() == f"{nodes.urls['clinic']}/B/{code}".upper()
    answer = urllib.request.urlopen(symbol.replace("HTTP://", "http://"), timeout=20).read().decode()
    assert f"{code[:4]}-{code[4:]}" in answer
