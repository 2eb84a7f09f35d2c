"""`make mutate`: how many small wrong changes of the judge its tests notice. Writes bench/MUTATION.md.

Each mutant lives in a fork of its own that imports it in place of the file and runs the judge's tests up to the first
that fails. Mutants of a seeded sample, or all of them with `--all`.
"""

import argparse
import os
import random
import signal
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from datetime import date
from importlib.abc import Loader, MetaPathFinder
from importlib.machinery import ModuleSpec
from pathlib import Path
from types import ModuleType
from typing import NamedTuple

from tests.mutate.mutants import Mutant, mutants

ROOT = Path(__file__).parents[2]
JUDGE = ROOT / "chairapp" / "judge"
TESTS = [
    "numbers",
    "steps",
    "vertical",
    "contact",
    "marks",
    "staleness",
    "acceptance",
    "override",
    "plan",
    "limits",
    "codes",
    "properties",
]
SAMPLE, SEED, LIMIT_S, WORKERS = 250, 5, 90, 2


class Result(NamedTuple):
    file: str
    line: int
    change: str
    killed: bool


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--all", action="store_true")
    parser.add_argument("--sample", type=int, default=SAMPLE)
    given = parser.parse_args()
    every = [(path.name, mutant) for path in sorted(JUDGE.glob("*.py")) for mutant in mutants(path.read_text("utf-8"))]
    chosen = every if given.all else sorted(random.Random(SEED).sample(every, min(given.sample, len(every))))
    if _survives("numbers.py", Mutant(0, "", (JUDGE / "numbers.py").read_text("utf-8"))) is not True:
        sys.exit("the tests fail without any mutant: mend that first")
    start = time.monotonic()
    with ProcessPoolExecutor(WORKERS) as pool:
        results = list(pool.map(_tried, chosen))
    _write(results, len(every), time.monotonic() - start)


def _tried(chosen: tuple[str, Mutant]) -> Result:
    file, mutant = chosen
    result = Result(file, mutant.line, mutant.change, not _survives(file, mutant))
    if not result.killed:
        print(f"survives: {file}:{mutant.line} {mutant.change}", flush=True)
    return result


def _survives(file: str, mutant: Mutant) -> bool:
    child = os.fork()
    if child == 0:
        os._exit(_run_tests(file, mutant))
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0


def _run_tests(file: str, mutant: Mutant) -> int:
    """In the fork: the exit code of pytest; the alarm of a mutant that never ends counts as noticed."""
    signal.alarm(LIMIT_S)
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    os.dup2(quiet, 2)
    os.environ["THREEMARK_MOUTHS"] = "40"
    sys.meta_path.insert(0, _InPlace(f"chairapp.judge.{file.removesuffix('.py')}", mutant.source))
    import pytest

    files = [str(path) for name in TESTS for path in sorted((ROOT / "tests" / "judge").glob(f"test_{name}*.py"))]
    files += [str(path) for path in sorted((ROOT / "tests" / "published").glob("test_judge_*.py"))]
    options = ["-x", "-q", "-m", "not browser", "-p", "no:cacheprovider", "--hypothesis-seed=0"]
    try:
        return int(pytest.main([*options, *files]))
    except BaseException:  # noqa: BLE001 - whatever a mutant brings down, it was noticed
        return 99


class _InPlace(MetaPathFinder, Loader):
    """Imports one module from the text given, whatever stands in its file."""

    def __init__(self, name: str, source: str) -> None:
        self._name, self._source = name.removesuffix(".__init__"), source

    def find_spec(self, name: str, path: object, target: object = None) -> ModuleSpec | None:
        if name != self._name:
            return None
        package = [str(JUDGE)] if name == "chairapp.judge" else None
        spec = ModuleSpec(name, self, origin=str(JUDGE), is_package=package is not None)
        spec.submodule_search_locations = package
        return spec

    def exec_module(self, module: ModuleType) -> None:
        exec(compile(self._source, f"{self._name} (mutant)", "exec"), module.__dict__)


def _write(results: list[Result], of: int, seconds: float) -> None:
    killed = sum(one.killed for one in results)
    lines = [
        "# Mutation testing of chairapp/judge",
        "",
        f"`make mutate`, {date.today()}: {killed} of {len(results)} mutants noticed ({killed / len(results):.1%}), "
        f"a seeded sample (seed {SEED}) of {of}; {seconds / 60:.0f} minutes on {WORKERS} cores. Texts are not mutated.",
        "",
        "| survivor | change |",
        "| - | - |",
        *(f"| {one.file}:{one.line} | {one.change} |" for one in results if not one.killed),
        "",
    ]
    (ROOT / "bench" / "MUTATION.md").write_text("\n".join(lines), "utf-8")
    print(lines[2])


if __name__ == "__main__":
    # Warm what every fork needs, but nothing of the judge.
    import hypothesis  # noqa: F401
    import numpy  # noqa: F401
    import pytest  # noqa: F401
    import scipy.spatial.transform
    import scipy.stats  # noqa: F401
    import statsmodels.stats.api  # noqa: F401

    main()
