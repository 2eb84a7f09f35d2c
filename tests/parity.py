"""Random visits judged by several machines, and where their answers first differ."""

import copy
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

from chairapp.sequence import document, jaw_relation
from chairapp.sequence.view import view
from tests.visits import random_visit

SEQUENCE = document(jaw_relation())
BARE = Path(__file__).with_name("bare_view.py")
NEWEST = 20


def school_sequence():
    """The sequence with numbers of another school, so that no limit of ours is taken for granted."""
    school = copy.deepcopy(SEQUENCE)
    items = {item["id"]: item for step in school["steps"] for item in step["items"]}
    items["display.rest"].update(band=[1.25, 2.75], tolerated=[0, 4], needed=2, spread=0.75)
    items["plane.front"].update(band=[-1.5, 1.5], needed=2)
    items["overjet.gap"].update(band=[2, None], tolerated=None)
    items["lip.nasolabial"].update(band=[None, 105], required=True)
    items["lower.pad_left"].update(fits=["lower_third"], unsure=["half", "below"])
    school["bands"]["interocclusal_distance"] = [2.25, None]
    school["settings"].update(
        {"marks.misfit": 0.75, "plan.shown_step": 0.25, "plan.distance": 3.5, "marks.spread": 0.6}
    )
    return school


def batches(count, size):
    """`count` visits, a tenth of them by the school's numbers: (number, sequence, {seed: entries} of up to `size`).

    `number` is 0 for our sequence and 1 for the school's; each begins with seed 0.
    """
    for number, (sequence, of) in enumerate([(SEQUENCE, count - count // 10), (school_sequence(), count // 10)]):
        for first in range(0, of, size):
            seeds = range(first, min(first + size, of))
            yield number, sequence, {seed: random_visit(seed, sequence) for seed in seeds}


def seen_here(sequence, made):
    """Each visit's view as JSON text, by the Python that runs this."""
    return [json.dumps(view(sequence, entries)) for entries in made.values()]


def seen_on_a_tablet(sequence, made):
    """The same as its worker hands it to the page, which has the entries."""
    return [json.dumps(tablet_view(sequence, entries)) for entries in made.values()]


def tablet_view(sequence, entries, language="en", people=None):
    found = view(sequence, entries, language, people)
    del found["state"]["entries"]
    return found


def seen_by(python, sequence, made, folder):
    """Each visit's view as JSON text, by another Python that has nothing installed."""
    document = Path(folder) / "sequence.json"
    document.write_text(json.dumps(sequence), "utf-8")
    lines = "".join(json.dumps(entries) + "\n" for entries in made.values())
    done = subprocess.run([python, "-I", str(BARE), str(document)], input=lines, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout.splitlines()


def other_python():
    """The newest Python at hand that is not the running one, as (command, "3.13"); null where there is none.

    On the path, or kept by pyenv: its names on the path are empty until a version is chosen.
    """
    kept = Path(os.environ.get("PYENV_ROOT", Path.home() / ".pyenv")) / "versions"
    for minor in range(NEWEST, 10, -1):
        commands = [shutil.which(f"python3.{minor}"), *sorted(kept.glob(f"3.{minor}.*/bin/python3"))]
        for command in filter(None, commands):
            if minor != sys.version_info.minor and _version(command) == f"3.{minor}":
                return command, f"3.{minor}"
    return None


def _version(command):
    """What it says it is: a name on the path may stand for a Python that is not there."""
    ask = "import sys; print('%d.%d' % sys.version_info[:2])"
    return subprocess.run([command, "-I", "-c", ask], capture_output=True, text=True).stdout.strip()


def assert_alike(made, here, there, who):
    """Fails at the first visit whose texts differ, naming its seed and the place."""
    for seed, one, other in zip(made, here, there, strict=True):
        if one != other and plain(one) != plain(other):
            place = first_difference(json.loads(plain(one)), json.loads(plain(other)))
            raise AssertionError(f"the visit of seed {seed} is seen otherwise by {who}: {place}")


def plain(text):
    """JSON text with whole numbers written as such: the browser makes no difference between 400 and 400.0."""
    return json.dumps(json.loads(text, parse_float=_number))


def _number(digits):
    value = float(digits)
    return int(value) if value == int(value) else value


def first_difference(one, other, place="view"):
    """Where two values first differ and what stands there; an order of keys that differs is a difference."""
    if isinstance(one, dict) and isinstance(other, dict):
        if list(one) != list(other):
            return f"{place} has keys {list(one)} here, {list(other)} there"
        pairs = [(f"{place}.{key}", one[key], other[key]) for key in one]
    elif isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        pairs = [(f"{place}[{at}]", left, right) for at, (left, right) in enumerate(zip(one, other, strict=True))]
    else:
        return None if one == other else f"{place} is {one!r} here, {other!r} there"
    return next(filter(None, (first_difference(left, right, name) for name, left, right in pairs)), None)
