"""Random visits, values at and beside every limit among them, made by two tablets that may not know of each other."""

from chairapp.judge.rim import MOLARS, STATIONS
from tests.judge.visits import Visit

_TILT_LIMITS = [-5, -4, -3, -2, 2, 3, 4, 5]


def random_visit(rng):
    """About sixty entries: answers, then wax, readings again, things taken back, acceptances, a signature."""
    visit = Visit()
    for step in visit.sequence["steps"]:
        for item in step["items"]:
            if rng.random() < 0.93:
                _give(rng, visit, item)
    for _ in range(rng.choice([0, 0, 1, 3, 6])):
        rng.choice([_adjust, _adjust, _again, _again, _withdraw, _accept, _note, _sign, _clear])(rng, visit)
    return visit


def _give(rng, visit, item, **more):
    for _ in range(_times(rng, item)):
        kind = "reading" if item["kind"] == "reading" else "answer"
        value = _value(rng, visit, item)
        if value == "looks_parallel":
            kind = "answer"
        visit.add(kind, item["id"], value, device=rng.choice(["t1", "t1", "t2"]), **more)


def _times(rng, item):
    if item["kind"] != "reading":
        return 1
    return rng.choice([3, 3, 3, 4, 2]) if item["needed"] == 3 else rng.choice([1, 1, 1, 2, 3])


def _value(rng, visit, item):
    if item["by_eye"] and rng.random() < 0.1:
        return "looks_parallel"
    return _VALUES[item["kind"]](rng, visit, item)


def _choice(rng, visit, item):
    return rng.choice(item["choices"] + item["fits"] * 3)


def _reading(rng, visit, item):
    if item["id"].endswith((".rest", ".occlusal")) and not item["id"].startswith("display"):
        return (70 if item["id"].endswith("rest") else 67) + rng.choice([0, 0, 0, 0.5, -0.5, 1, -1, 0.25, 1.5])
    value = _near_limits(rng, item)
    return {"photo": value} if item["photo"] and rng.random() < 0.1 else value


def _near_limits(rng, item):
    limits = [limit for band in (item["band"], item["tolerated"]) if band for limit in band if limit is not None]
    low, high = item["possible"]
    if limits and rng.random() < 0.7:
        value = rng.choice(limits) + rng.choice([0, 0, 0, 0.25, -0.25, 1, -1, 1e-6, -1e-6, 1e-10, -1e-10])
    else:
        value = rng.choice([0, rng.randint(-40, 40) / 4, rng.uniform(low, high)])
    return min(high, max(low, value))


def _number(rng, visit, item):
    return _near_limits(rng, item)


def _stations(rng, visit, item):
    if item["id"] == "marks.placed":
        return dict.fromkeys(rng.sample(STATIONS, rng.choice([2, 3, 3, 3, 4, 5, 7])), True)
    wanted = STATIONS
    if item["id"] == "marks.misfit":
        wanted = list(visit.state()["items"]["marks.placed"]["value"] or STATIONS)
        return {station: rng.choice([0, 0, 0.25, -0.25, 0.5, -0.5, 0.75, -1]) for station in wanted}
    if rng.random() < 0.4:
        return dict.fromkeys(wanted, rng.choice([0, 2]))
    if rng.random() < 0.4:
        return {station: abs(rng.choice([0, 1, 2]) + 0.25 * place) for place, station in enumerate(wanted)}
    return {station: max(0, _near_limits(rng, item)) for station in wanted}


def _text(rng, visit, item):
    return rng.choice(["as found", "ø ä 牙"])


def _list(rng, visit, item):
    return rng.sample(item["choices"], rng.randint(0, 4))


_VALUES = {
    "choice": _choice,
    "reading": _reading,
    "number": _number,
    "stations": _stations,
    "text": _text,
    "list": _list,
}


def _adjust(rng, visit):
    surface = rng.choice(["height", "height", "labial", "base"])
    stations = MOLARS if surface == "base" else rng.sample(STATIONS, rng.randint(1, 7))
    amount = [-0.5, -1] if surface == "base" else [0.5, 1, -0.5, -1, -1.25]
    visit.adjust(
        rng.choice(["upper", "lower"]),
        surface,
        {station: rng.choice(amount) for station in stations},
        device=rng.choice(["t1", "t2"]),
        seen=_knowledge(rng, visit),
    )


def _knowledge(rng, visit):
    """What a tablet has heard of: everything, one thing, or nothing."""
    made = [entry["id"] for entry in visit.entries if entry["kind"] == "adjustment"]
    return rng.choice([visit.frontier(), visit.frontier(), rng.sample(made, min(1, len(made))), []])


def _again(rng, visit):
    for item in rng.choice(visit.sequence["steps"])["items"]:
        _give(rng, visit, item, seen=_knowledge(rng, visit))


def _withdraw(rng, visit):
    made = [e["id"] for e in visit.entries if e["kind"] in ("reading", "adjustment", "acceptance", "note")]
    visit.withdraw(rng.choice(made), device=rng.choice(["t1", "t2"]))


def _accept(rng, visit):
    steps = visit.judged()["steps"]
    wrong = [step for step in steps if steps[step]["verdict"] in ("off", "unsure")]
    visit.accept(rng.choice(wrong or list(steps)), seen=_knowledge(rng, visit))


def _note(rng, visit):
    visit.add("note", rng.choice(visit.sequence["steps"])["id"], "seen")


def _sign(rng, visit):
    visit.sign()


def _clear(rng, visit):
    answers = [entry["item"] for entry in visit.entries if entry["kind"] == "answer"]
    visit.add("answer", rng.choice(answers), None)
