"""The judge's own files run under Brython in a real Chromium: what the tablet does, without the rest of the tablet."""

import json
import re
import shutil
from importlib.resources import files
from pathlib import Path

ROOT = Path(__file__).parents[2]

GLUE = """
from browser import self as _scope
from javascript import JSON as _json
from chairapp.judge import judge, settle
from chairapp.judge.errors import InputError

_sequence = []

def _keep(text):
    _sequence[:] = [_json.parse(text)]

def _ask(fn, payload):
    try:
        return _json.stringify({"out": {"judge": judge, "settle": settle}[fn](_sequence[0], _json.parse(payload))})
    except InputError as error:
        return _json.stringify({"error": [error.field, error.why]})

_scope.keep_sequence = _keep
_scope.ask_judge = _ask
"""


_RUN = """source => {
  try { __BRYTHON__.runPythonSource(source, {name: 'glue'}) }
  catch (x) { throw new Error(x && x.args ? JSON.stringify(x.args) + (x.$trace || '') : String(x)) }
}"""


class BrythonJudge:
    """A page whose judge holds one sequence and is asked about entries; answers come as plain data."""

    def __init__(self, page, sequence):
        self.page = page
        page.route("**/*", _serve)
        page.goto("http://localhost/judge")
        page.evaluate("vfs => { __BRYTHON__.use_VFS = true; __BRYTHON__.update_VFS(vfs) }", {**_math(), **_package()})
        page.evaluate(_RUN, GLUE)
        page.evaluate("sequence => self.keep_sequence(sequence)", json.dumps(sequence))

    def ask(self, fn, entries):
        return self._answer(fn, entries)["out"]

    def refusal(self, entries):
        return self._answer("judge", entries)["error"]

    def _answer(self, fn, entries):
        asked = [fn, json.dumps(entries)]
        return json.loads(self.page.evaluate("([fn, entries]) => self.ask_judge(fn, entries)", asked))


def chromium():
    """The Debian browser where there is one, else the one that Playwright brought."""
    return shutil.which("chromium")


def _serve(route):
    """The page and Brython; nothing is asked of any host."""
    if route.request.url.endswith("/brython.js"):
        route.fulfill(body=_brython("brython.js"), content_type="text/javascript")
    else:
        route.fulfill(body="<!doctype html><script src='/brython.js'></script>", content_type="text/html")


def _brython(name):
    return (files("brython") / "data" / name).read_text("utf-8")


def _math():
    """Only the math module, cut out of Brython's standard library bundle."""
    bundle = _brython("brython_stdlib.js")
    whole = json.loads(re.search(r"use_VFS = true;\s*var scripts = (\{.*\})\s*__BRYTHON__", bundle, re.S).group(1))
    return {"math": whole["math"]}


def _package():
    """The judge's sources under their real names; the packages above are empty, as on the tablet."""
    modules = {"$timestamp": 1, "chairapp": [".py", "", [], 1]}
    for path in sorted((ROOT / "chairapp" / "judge").glob("*.py")):
        name = "chairapp.judge" if path.stem == "__init__" else "chairapp.judge." + path.stem
        source = path.read_text("utf-8")
        imports = sorted(set(re.findall(r"^(?:from|import) (\S+)", source, re.M)))
        modules[name] = [".py", source, imports, 1] if path.stem == "__init__" else [".py", source, imports]
    return modules
