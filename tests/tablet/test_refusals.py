"""A page that cannot be frozen stops the node, with one line that names what is wrong."""

import subprocess
import sys
from pathlib import Path

import pytest
from fastapi import FastAPI

from chairapp.tablet import ReleaseError, add_tablet
from chairapp.tablet.modules import imports, module

ROOT = Path(__file__).parents[2]
TRY = """
import asyncio
from nicegui import ui
from chairapp.tablet import TabletError
from tests.tablet.printed_release import application, printed

def build():
    {body}

try:
    asyncio.run(printed(application(build)))
except TabletError as error:
    print(type(error).__name__ + ": " + str(error))
"""


def told(body):
    """What building a page with this body ends in, in a process of its own: NiceGUI knows one application each."""
    command = [sys.executable, "-c", TRY.format(body=body)]
    return subprocess.run(command, cwd=ROOT, capture_output=True, check=True, text=True).stdout.strip()


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ("ui.button('Save', on_click=print)", "its 'click' listener needs the node"),
        ("ui.element().on('click', js_handler='() => 1')", "its 'click' listener needs the node"),
        ("ui.html('<b>bold</b>', sanitize=False)", "its template would be evaluated"),
        ('ui.add_body_html(\'<script type="module">import "tm_nobody";</script>\')', "'tm_nobody' is imported"),
        (
            'ui.add_head_html(\'<link href="/nowhere.css" rel="stylesheet">\')',
            "/nowhere.css: a file of the page cannot",
        ),
    ],
)
def test_what_would_need_the_node_or_a_file_nobody_has_is_refused_by_name(body, words):
    said = told(body)
    assert said.startswith("ReleaseError: ")
    assert words in said
    assert "\n" not in said


def test_a_page_that_fails_while_it_is_built_stops_the_node():
    with pytest.raises(subprocess.CalledProcessError):
        told("raise ValueError('broken')")


def test_the_tablet_page_is_added_before_nicegui_takes_the_rest_of_the_addresses():
    app = FastAPI()
    app.mount("/", FastAPI())
    with pytest.raises(ReleaseError, match=r"before ui\.run_with"):
        add_tablet(app)


def test_a_modules_imports_are_found_in_all_their_forms():
    source = """
import { h } from "vue";
import * as replica from 'tm_replica';
import Keypad from "tm_keypad";
import {
  one,
  two,
} from "tm_many";
export { canonical } from "tm_entry";
import "tm_effect";
const later = () => import("tm_later");
// A comment that speaks of words from "nowhere" is none.
"""
    assert imports(source) == ["vue", "tm_replica", "tm_keypad", "tm_many", "tm_entry", "tm_effect", "tm_later"]


def test_a_module_is_found_by_its_stem_in_any_of_the_three_folders():
    for name in ("tm_replica", "tm_judge", "tm_state"):
        assert module(name)
    assert module("vue") is None
