"""The frozen page: the same code gives the same bytes, every file is listed, nothing needs the node at run time."""

import hashlib
import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def printed(*options):
    command = [sys.executable, "-m", "tests.tablet.printed_release", *options]
    return json.loads(subprocess.run(command, cwd=ROOT, capture_output=True, check=True, text=True).stdout)


@pytest.fixture(scope="module")
def release():
    return printed()


@pytest.fixture(scope="module")
def page(release):
    return release["texts"]["/chair"]


def test_two_processes_build_the_same_release_to_the_byte(release):
    assert printed() == release


def test_another_page_is_another_version_and_keeps_the_addresses_of_all_files_that_stayed(release):
    other = printed("--mark", "two")["manifest"]
    assert other["version"] != release["manifest"]["version"]
    assert [asset["url"] for asset in other["assets"]] == [asset["url"] for asset in release["manifest"]["assets"]]
    changed = [a["url"] for a, b in zip(other["assets"], release["manifest"]["assets"], strict=True) if a != b]
    assert changed == ["/chair"]


def test_the_manifest_gives_hash_and_size_of_every_file_as_it_is_served(release):
    for asset in release["manifest"]["assets"]:
        body = release["texts"][asset["url"]].encode("latin-1")
        assert (hashlib.sha256(body).hexdigest(), len(body)) == (asset["sha256"], asset["size"])


def test_every_address_but_the_page_is_made_of_its_files_bytes(release):
    for asset in release["manifest"]["assets"][1:]:
        assert asset["url"].startswith(f"/chair/files/{asset['sha256'][:16]}/")


def test_everything_the_page_names_is_in_the_manifest(release, page):
    listed = {asset["url"] for asset in release["manifest"]["assets"]}
    named = set(re.findall(r"/chair/files/[^\"'\s)<>]+", page))
    assert named <= listed
    assert set(re.findall(r"(?:src|href)=\"(/[^\"]+)\"", page)) <= listed
    assert "/_nicegui/" not in page
    assert "http://" not in page.replace("http%3A//www.w3.org", "")
    assert "https://" not in page


def test_every_file_in_the_manifest_is_used(release, page):
    texts = page + release["texts"][_named(release, "manifest.webmanifest")]
    for asset in release["manifest"]["assets"][1:]:
        assert asset["url"] in texts


def test_the_import_map_holds_the_modules_of_the_page_and_no_others(page):
    imports = json.loads(re.search(r'<script type="importmap">\s*(\{.*?\})\s*</script>', page, re.S)[1])["imports"]
    replica = {"blobs", "direct", "error", "file", "hop", "leave", "purge", "send", "store", "turns", "wire"}
    ours = {"tm_entry", "tm_judge", "tm_release", "tm_replica", *(f"tm_replica_{part}" for part in replica)}
    assert set(imports) == ours | {"vue", "dompurify"}


def test_the_page_is_given_a_socket_that_says_nothing_in_place_of_the_real_one(release, page):
    assert "socket.io" not in "".join(asset["url"] for asset in release["manifest"]["assets"])
    assert page.index("no_socket.js") < page.index("nicegui.js")
    nicegui = release["texts"][_named(release, "nicegui.js")]
    assert "window.socket = io(url" in nicegui, "NiceGUI no longer opens its socket through the global io"


@pytest.mark.parametrize("options", [(), ("--tailwind",)])
def test_no_font_and_no_tailwind_goes_to_the_tablet_whatever_the_nodes_other_pages_use(options):
    release = printed(*options)
    names = [asset["url"].rpartition("/")[2] for asset in release["manifest"]["assets"]]
    assert not [name for name in names if "font" in name or "tailwind" in name or name.endswith("woff2")]
    assert "text/tailwindcss" not in release["texts"]["/chair"]


def test_the_page_knows_its_own_version_and_where_its_judge_is(release, page):
    config = json.loads(re.search(r'id="tm-config">(.*?)</script>', page, re.S)[1])
    assert config["release"] == release["manifest"]["version"]
    assert set(config["judge"].values()) <= {asset["url"] for asset in release["manifest"]["assets"]}
    assert (config["protocol"], config["worker"], config["scope"]) == (1, "/sw.js", "/chair")


def test_only_the_judges_worker_may_evaluate_text(release):
    policies = {url: headers.get("content-security-policy", "") for url, headers in release["headers"].items()}
    assert [url for url, policy in policies.items() if "unsafe-eval" in policy] == [_named(release, "judge_worker.js")]
    assert "default-src 'none'" in policies["/chair"]
    assert "'unsafe-inline'" not in re.search(r"script-src ([^;]+)", policies["/chair"])[1]


def test_files_are_kept_for_ever_the_page_is_asked_for_again_and_what_is_gone_is_said_in_words(release):
    headers = release["headers"]
    assert headers["/chair"]["cache-control"] == "no-cache"
    assert headers["/sw.js"]["cache-control"] == "no-cache"
    assert "immutable" in headers[_named(release, "tm_replica.js")]["cache-control"]
    assert headers[_named(release, "brython.js")]["content-encoding"] == "gzip"
    assert release["statuses"] == {"again": 304, "missing": 404}
    assert release["missing"]["error"]["do"] == "Load the page again."


def test_the_tablet_can_be_put_on_the_home_screen(release):
    manifest = json.loads(release["texts"][_named(release, "manifest.webmanifest")])
    assert (manifest["start_url"], manifest["scope"], manifest["display"]) == ("/chair", "/chair", "standalone")
    assert {(icon["sizes"], icon["purpose"]) for icon in manifest["icons"]} == {
        ("192x192", "any"),
        ("512x512", "any"),
        ("512x512", "maskable"),
    }
    assert {icon["src"] for icon in manifest["icons"]} <= set(release["texts"])


def test_the_service_worker_carries_the_page_that_says_to_connect_once(release):
    assert "<h1>Connect this tablet once</h1>" in release["texts"]["/sw.js"]
    assert "{{" not in release["texts"]["/sw.js"]


def _named(release, name):
    (url,) = [asset["url"] for asset in release["manifest"]["assets"] if asset["url"].endswith(f"/{name}")]
    return url
