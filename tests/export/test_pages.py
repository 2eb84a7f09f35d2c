"""The manager's pages of exports and of the access log, in the application of a clinic server and in a real browser."""

import contextlib
import json
import re
import subprocess
import sys
import threading
from dataclasses import replace
from io import BytesIO
from pathlib import Path
from zipfile import ZipFile

import httpx
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

import chairapp
from chairapp.export.errors import ExportError
from chairapp.export.jobs import Exports
from chairapp.node.access_log import AccessLog
from chairapp.node.looks import LOOKS
from tests.export.conftest import visits
from tests.node.conftest import free_port, until

ROOT = Path(__file__).parents[2]


class Site:
    """The pages in a process of their own; what they note and leave on the disk is looked at from here."""

    def __init__(self, data):
        self.data = data
        self.log = AccessLog(data / "log", 365)
        port = free_port()
        self.url = f"http://127.0.0.1:{port}"
        self.http = httpx.Client(base_url=self.url, timeout=20, trust_env=False)
        self.process = subprocess.Popen([sys.executable, "-m", "tests.export.site", str(data), str(port)], cwd=ROOT)
        until(self._answers, "the pages are served")

    def close(self):
        self.http.close()
        self.process.terminate()
        self.process.wait(20)

    def looks(self):
        return [(line["who"], line["what"], line["visit"]) for line in self.log.lines()]

    def begin(self, **typed):
        return self.http.post("/audit/export", data={"kind": "csv", "since": "", "until": "", "code": ""} | typed)

    def _answers(self):
        assert self.process.poll() is None
        with contextlib.suppress(httpx.TransportError):
            return self.http.get("/audit/access").status_code == 200
        return False


@pytest.fixture(scope="session")
def site(data):
    running = Site(data)
    yield running
    running.close()


def visit_of(code):
    return next(entries[0]["visit"] for entries in visits() if entries[0]["value"]["box"] == code)


def ready(site, address):
    until(lambda: "can be taken once" in site.http.get(address).text, "the export is ready")
    return address


def test_an_export_is_begun_watched_taken_once_and_gone(site):
    begun = site.begin(kind="csv")
    assert begun.status_code == 303
    address = ready(site, begun.headers["location"])
    taken = site.http.post(f"{address}/file")
    assert taken.headers["content-disposition"].endswith('tables.zip"')
    assert taken.headers["cache-control"] == "no-store"
    assert "visits.csv" in ZipFile(BytesIO(taken.content)).namelist()
    again = site.http.post(f"{address}/file")
    assert again.status_code == 303
    until(lambda: not list((site.data / "exports").iterdir()), "its file is deleted")
    assert "no longer here" in site.http.get(address).text


def test_it_cannot_be_taken_by_a_link_nor_by_another_person(site):
    address = ready(site, site.begin(kind="json").headers["location"])
    assert site.http.get(f"{address}/file").status_code in (404, 405)
    another = {"Cookie": "person=mgr-2"}
    assert site.http.get(address, headers=another).status_code == 404
    assert site.http.post(f"{address}/file", headers=another).status_code == 303
    assert site.http.post(f"{address}/file").json()["format"] == "threemark-record"


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"since": "tomorrow"}, "is no day, write it as 2026-12-31"),
        ({"since": "2026-12-02", "until": "2026-12-01"}, "is before 2026-12-02"),
        ({"code": "7KQ4-M2X8"}, "7KQ4-M2X8"),
        ({"since": "<img src=x onerror=alert(1)>"}, "is no day"),
    ],
)
def test_what_was_typed_wrong_is_named_in_a_line_and_everything_typed_is_kept(site, typed, said):
    answer = site.begin(kind="fhir", **typed)
    page = site.http.get(answer.headers["location"]).text
    assert said in page
    assert "<img src=x" not in page
    if "code" in typed:
        assert 'value=\\"7KQ4-M2X8\\"' in page or 'value="7KQ4-M2X8"' in page or "7KQ4-M2X8" in page


def test_a_format_nobody_knows_is_refused(site):
    assert site.begin(kind="pdf").status_code == 422


def test_one_box_gives_its_record_with_who_looked_and_the_look_is_noted(site):
    visit = visit_of("KP5GQ3N6")
    site.http.get(f"/audit/{visit}")
    assert ("mgr-1", "looked at a visit", visit) in site.looks()
    address = ready(site, site.begin(kind="json", code="kp5g-q3n6").headers["location"])
    record = site.http.post(f"{address}/file").json()
    assert {row["entry"]["visit"] for row in record["entries"]} == {visit}
    assert "looked at a visit" in {line["what"] for line in record["access"]}
    assert ("mgr-1", "export json", visit) in site.looks()


def test_a_page_of_a_visit_nobody_has_is_no_look(site):
    before = site.looks()
    site.http.get("/audit/nothing")
    assert site.looks() == before


def test_the_access_log_is_filtered_by_person_visit_and_day(site):
    visit = visit_of("KF6HT34K")
    site.log.note("asst-1", "assistant", "looked at a label", visit)
    site.log.note("clin-1", "clinician", "signed in")
    shown = {
        name: site.http.get(f"/audit/access?{query}").text
        for name, query in {
            "all": "",
            "person": "who=clin-1",
            "code": "visit=kf6h-t34k",
            "visit": f"visit={visit}",
            "day": "until=2001-01-01",
            "wrong": "since=soon",
        }.items()
    }
    assert "looked at a label" in shown["all"]
    assert "signed in" in shown["all"]
    assert "looked at a label" not in shown["person"]
    assert "looked at a label" in shown["code"]
    assert "looked at a label" in shown["visit"]
    assert "Nothing is noted" in shown["day"]
    assert "All days are shown" in shown["wrong"]


def test_the_access_log_is_turned_page_by_page(site):
    for number in range(70):
        site.log.note("clin-2", "clinician", f"look number {number}.")
    first, second = (site.http.get(f"/audit/access?who=clin-2&first={place}").text for place in (0, 50))
    assert "look number 69." in first
    assert "look number 19." not in first
    assert "look number 19." in second
    assert "Older" in first
    assert "Newer" in second


def test_what_stands_in_the_log_is_shown_as_text(site):
    site.log.note("<b>x</b>", "<i>", "<script>alert(1)</script>", '"><img src=x>')
    page = site.http.get("/audit/access").text
    assert "<script>alert(1)</script>" not in page
    assert "<img src=x>" not in page


def test_an_export_is_stopped_and_only_one_runs_at_a_time(source, tmp_path):
    """With a source that waits: no race with the thread."""
    gate, reached = threading.Event(), threading.Event()

    def sequence_of(name):
        reached.set()
        assert gate.wait(20)
        return source.sequence_of(name)

    exports = Exports(
        tmp_path / "e", lambda period, code: replace(source, sequence_of=sequence_of), list, lambda *_: None
    )
    job = exports.begin("mgr-1", "csv", "", "", "")
    assert reached.wait(20)
    with pytest.raises(ExportError, match="still running"):
        exports.begin("mgr-1", "csv", "", "", "")
    job.stop.set()
    gate.set()
    job.thread.join(20)
    assert job.state == "stopped"
    assert list((tmp_path / "e").iterdir()) == []
    exports.close()


def test_an_export_that_cannot_be_noted_is_not_made(source, tmp_path):
    def noted(*_):
        raise PermissionError("no log")

    exports = Exports(tmp_path / "e", lambda period, code: source, list, noted)
    with pytest.raises(PermissionError):
        exports.begin("mgr-1", "csv", "", "", "")
    assert exports.running("mgr-1") is None


def test_what_an_earlier_run_left_behind_goes_at_the_start(source, tmp_path):
    (tmp_path / "e").mkdir()
    (tmp_path / "e" / "half.zip").write_text("half")
    Exports(tmp_path / "e", lambda period, code: source, list, lambda *_: None)
    assert not (tmp_path / "e").exists()


def test_every_page_of_a_visit_or_a_box_is_among_the_looks():
    """A page added later with a visit or a code in its address has to be put on the list."""
    root = Path(chairapp.__file__).parent
    found = set()
    for folder in ("audit", "box"):
        for file in (root / folder).glob("*.py"):
            found |= set(re.findall(r'"(/(?:audit|B|b|label)/\{(?:visit|code)\}[^"]*)"', file.read_text()))
    assert found <= LOOKS.keys()


@pytest.mark.browser
def test_a_manager_takes_an_export_in_three_taps_and_nothing_is_amiss_for_axe(site, browser):
    context = browser.new_context(viewport={"width": 390, "height": 844}, accept_downloads=True)
    page = context.new_page()
    wrong = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.goto(f"{site.url}/audit/export")
    assert Axe().run(page).response["violations"] == []
    page.get_by_role("radio", name="Full record").check()
    page.get_by_role("button", name="Make the export").click()
    download = page.get_by_role("button", name="Download")
    expect(download).to_be_visible()
    assert Axe().run(page).response["violations"] == []
    with page.expect_download() as taken:
        download.click()
    assert json.loads(taken.value.path().read_text())["end"]["visits"] == 8
    expect(page.get_by_text("no longer here")).to_be_visible()
    page.goto(f"{site.url}/audit/access")
    expect(page.get_by_role("cell", name="export json, all visits").first).to_be_visible()
    assert Axe().run(page).response["violations"] == []
    assert wrong == []
    context.close()
