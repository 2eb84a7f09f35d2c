"""Random visits as two tablets would write them, values at and beside every limit of the sequence among them.

One seed is one visit. The limits are read from the sequence document, so a school's own numbers are met as well. A
tablet hears of the other's wax only now and then: what it writes in between does not know of it.
"""

import random

from chairapp.judge import judge
from chairapp.judge.rim import MOLARS, STATIONS, X, Y

DEVICES = ["0b5f6c1e-7a52-4a51-9d3e-2f3f0a4b9c11", "7c1d2e90-54aa-4d0e-8a61-e0c5b1f3a702"]
PEOPLE = ["clin-1", "clin-2", "assist-1"]
TEXTS = ["as found", "ø ä 牙 \N{TOOTH}", 'in "quotes",\na \\ and \u2028', "{label} {value}"]
SKIN = 70.0
BESIDE = [0, 0, 1e-6, -1e-6, 1e-10, -1e-10]

# What one item's number is held against in the settings, and not in its own bands.
SETTINGS_OF = {
    "lines.midline_shift": ["lines.shift_note"],
    "record.count": ["record.advised"],
    "marks.misfit": ["marks.misfit", "marks.left_over"],
}


def random_visit(seed, sequence):
    """The entries of one visit, in the order in which a store may hold them: shuffled, some of them twice."""
    rng = random.Random(seed)
    visit = _Visit(rng, sequence)
    visit.add("opened", None, {"sequence": sequence["id"], "digest": "d" * 64, "chair": "1", "language": "en"})
    for step in sequence["steps"]:
        for item in step["items"]:
            if rng.random() < visit.thorough:
                visit.ask(item)
    for _ in range(rng.choice([0, 0, 1, 2, 4, 8])):
        rng.choice(LATER)(visit)
    entries = visit.entries + rng.sample(visit.entries, rng.choice([0, 0, 1, 5]))
    if rng.random() < 0.5:
        rng.shuffle(entries)
    return entries


def limits(item, sequence):
    """Every number at which something about an item changes, in order; pads and hairs beside them are the caller's."""
    bands = [item.get(name) or [] for name in ("band", "tolerated", "possible")]
    found = [limit for band in bands for limit in band if limit is not None]
    for name in SETTINGS_OF.get(item["id"], []):
        found += [sequence["settings"][name], -sequence["settings"][name]]
    return sorted({0.0, *found})


class _Visit:
    """The entries made so far, and what each tablet has heard of."""

    def __init__(self, rng, sequence):
        self.rng = rng
        self.sequence = sequence
        self.items = {item["id"]: item for step in sequence["steps"] for item in step["items"]}
        self.steps = [step["id"] for step in sequence["steps"]]
        self.entries = []
        self.thorough = rng.choice([0.6, 0.93, 1, 1, 1])
        self.honest = rng.choice([0.6, 0.9, 1])
        self.talkative = rng.choice([0.01, 0.1, 0.5])
        self._known = {device: [] for device in DEVICES}
        self._ms = 1_795_600_000_000 + rng.randrange(10**9)
        self._counter = 0
        self._visit = self._new_id()

    def add(self, kind, item, value=None, of=None):
        device = self.rng.choice([DEVICES[0], *DEVICES])
        if self.rng.random() < self.talkative:
            self._known[device] = self._all_wax()
        self._tick()
        entry = {
            "v": 1,
            "id": self._new_id(),
            "visit": self._visit,
            "kind": kind,
            "item": item,
            "value": value,
            "of": of,
            "seen": self._frontier(device),
            "at": f"2026-11-25T09:{self._ms // 60000 % 60:02d}:{self._ms // 1000 % 60:02d}Z",
            "clock": [self._ms, self._counter],
            "device": device,
            "author": self.rng.choice(PEOPLE),
        }
        self.entries.append(entry)
        if kind == "adjustment":
            self._known[device] = [*self._known[device], entry]
        return entry

    def ask(self, item):
        """One answer, or a round of readings."""
        if item.get("by_eye") and self.rng.random() < 0.1:
            self.add("answer", item["id"], "looks_parallel")
        elif item["kind"] == "reading":
            for value in _readings(self, item):
                self.add("reading", item["id"], value)
        else:
            self.add("answer", item["id"], _ANSWERS[item["kind"]](self, item))

    def made(self, *kinds):
        return [entry for entry in self.entries if entry["kind"] in kinds]

    def _all_wax(self):
        return self.made("adjustment")

    def _frontier(self, device):
        """The newest adjustments the tablet knows: those not in the past of another it knows."""
        older = {seen for entry in self._known[device] for seen in entry["seen"]}
        return [entry["id"] for entry in self._known[device] if entry["id"] not in older]

    def _tick(self):
        """A tap later; two tablets may well write in the same millisecond."""
        step = self.rng.choice([0, 1, 900, 7000])
        self._ms += step
        self._counter = 0 if step else self._counter + 1

    def _new_id(self):
        """A UUIDv7, in the order of time like the tablet's own."""
        time, chance = f"{self._ms:012x}", f"{self.rng.getrandbits(60):015x}"
        return f"{time[:8]}-{time[8:]}-7{self._counter:03x}-8{chance[:3]}-{chance[3:]}"


# ---- values


def _number(visit, item):
    """At a limit, a pad's step or a hair beside one, or anywhere that is possible."""
    rng = visit.rng
    low, high = item["possible"]
    if rng.random() < 0.75:
        pad = item["pad"] or 0.5
        value = rng.choice(limits(item, visit.sequence)) + rng.choice([0, 0, pad, -pad]) + rng.choice(BESIDE)
    else:
        value = rng.choice([rng.uniform(low, high), rng.randint(-20, 20) / 4])
    return min(high, max(low, value))


def _readings(visit, item):
    """A round: the first at a limit, the others within or at the limit of the allowed spread from it."""
    rng = visit.rng
    needed = item["needed"]
    times = rng.choice([needed, needed, needed + 1, max(1, needed - 1), needed + 5 if needed > 1 else 2])
    first = _first(visit, item)
    spread, pad = item["spread"] or 1, item["pad"] or 0.5
    apart = [0, 0, pad, -pad] if rng.random() < visit.honest else [spread, -spread, spread + 1e-6, spread / 2, 0]
    low, high = item["possible"]
    values = [min(high, max(low, first + rng.choice(apart))) for _ in range(times - 1)]
    return [{"photo": value} if item["photo"] and rng.random() < 0.1 else value for value in [first, *values]]


def _first(visit, item):
    """Skin distances hang together: rest, the height below it by a limit of the distance, the old one by a rise."""
    rng, name = visit.rng, item["id"]
    distances = [limit for limit in visit.sequence["bands"]["interocclusal_distance"] if limit is not None]
    middle = sum(distances) / len(distances)
    chosen = rng.choice([middle, middle, *distances, visit.sequence["settings"]["vertical.too_high"], 9, -1])
    heights = {
        "vertical.rest": SKIN,
        "existing.rest": SKIN,
        "vertical.occlusal": SKIN - chosen,
        "existing.occlusal": SKIN - middle - visit.sequence["settings"]["existing.ovd_rise"],
    }
    if name in heights and rng.random() < 0.95:
        return heights[name] + rng.choice([0, 0, 0.5, -0.5]) + rng.choice(BESIDE)
    return _number(visit, item)


def _choice(visit, item):
    fitting = item["fits"] or item["choices"]
    return visit.rng.choice(fitting if visit.rng.random() < visit.honest else item["choices"])


def _stations(visit, item):
    rng = visit.rng
    if item["unit"] is None:
        return dict.fromkeys(rng.sample(STATIONS, rng.choice([1, 2, 3, 3, 3, 4, 5, 7])), True)
    if item["id"] == "marks.misfit":
        return {station: _number(visit, item) if rng.random() < 0.2 else _small(rng) for station in _marked(visit)}
    shape = rng.choice([_even, _even, _even, _even, _sloping, _sloping, _open_here_and_there, _apart])
    places = STATIONS if rng.random() < 0.95 else rng.sample(STATIONS, 6)
    return {station: shape(visit, item, station) for station in places}


def _marked(visit):
    """Mostly where the marks are; now and then a misfit too many, or one short."""
    answers = [entry["value"] for entry in visit.made("answer") if entry["item"] == "marks.placed" and entry["value"]]
    stations = list(answers[-1]) if answers else list(STATIONS)
    return stations if visit.rng.random() < 0.9 else visit.rng.sample(STATIONS, 4)


def _small(rng):
    return rng.choice([0, 0, 0.25, -0.25, 0.5, -0.5])


def _even(visit, item, _station):
    return (item["band"][0] or 0) if item["band"] and visit.rng.random() < 0.97 else _number(visit, item)


def _sloping(visit, item, station):
    """On a plane to the pad's step, the steeper of the two slopes often twice the other."""
    tall = 0.02 * (X[station] + 26) * visit.thorough + 0.02 * (Y[station] - 52) * visit.honest
    return int(tall / item["pad"] + 0.5) * item["pad"]


def _open_here_and_there(visit, item, _station):
    return visit.rng.choice([0, 0, item["pad"], 1, max(0, _number(visit, item))])


def _apart(visit, item, _station):
    return item["pad"] * visit.rng.randint(1, 4)


def _text(visit, _item):
    return visit.rng.choice(TEXTS)


def _list(visit, item):
    return visit.rng.sample(item["choices"], visit.rng.randint(0, len(item["choices"])))


_ANSWERS = {"choice": _choice, "number": _number, "stations": _stations, "text": _text, "list": _list}


# ---- what happens later in a visit


def _adjust(visit):
    rng = visit.rng
    surface = rng.choice(["height", "height", "labial", "base"])
    places = MOLARS if surface == "base" else rng.sample(STATIONS, rng.randint(1, 7))
    amounts = [-0.5, -1] if surface == "base" else [0.5, 1, -0.5, -1, -1.25, 0]
    stations = {station: rng.choice(amounts) for station in places}
    visit.add("adjustment", "wax", {"rim": rng.choice(["upper", "lower"]), "surface": surface, "stations": stations})


def _again(visit):
    """A step measured anew."""
    for item in visit.rng.choice(visit.sequence["steps"])["items"]:
        visit.ask(item)


def _change_of_mind(visit):
    """An answer that starts a new round of what hangs on it."""
    row = visit.rng.choice(visit.sequence["rounds"])
    visit.ask(visit.items[row["item"]])


def _clear(visit):
    answers = visit.made("answer")
    if answers:
        visit.add("answer", visit.rng.choice(answers)["item"])


def _withdraw(visit):
    made = visit.made("reading", "adjustment", "acceptance", "note", "check")
    if made:
        entry = visit.rng.choice(made)
        visit.add("withdrawal", entry["item"], of=entry["id"])


def _withdraw_what_is_not_here(visit):
    """Of another tablet's entry that has not arrived, or of an answer, which cannot be withdrawn."""
    visit.add("withdrawal", "display.rest", of=visit.rng.choice([DEVICES[0], visit.entries[-1]["id"]]))


def _accept(visit):
    """What a step shows now, as the tablet does; or a value a hair beside it."""
    steps = judge(visit.sequence, visit.entries)["steps"]
    wrong = [step for step in steps if steps[step]["verdict"] in ("off", "unsure")]
    step = visit.rng.choice(wrong or visit.steps)
    codes = [[found["code"], found["value"]] for found in steps[step]["findings"] if found["level"] != "note"]
    if codes and visit.rng.random() < 0.2:
        codes[0] = [codes[0][0], visit.rng.choice([None, 0, 1e-6, -3])]
    visit.add("acceptance", step, {"reason": "as the patient wishes", "codes": codes})


def _note(visit):
    visit.add("note", visit.rng.choice(visit.steps), "seen")


def _check(visit):
    item = visit.items["display.rest"]
    visit.add("check", item["id"], _number(visit, item))


def _sign(visit):
    """Covers what one tablet holds: all of it, or only its own."""
    covers = {}
    for entry in visit.entries:
        covers[entry["device"]] = max(entry["id"], covers.get(entry["device"], ""))
    if visit.rng.random() < 0.3:
        covers.pop(DEVICES[1], None)
    value = {"role": "clinician", "covers": covers, "digest": "d" * 64, "verdicts": {}, "judge": "1"}
    visit.add("signature", "review", value)


def _send_off(visit):
    visit.add(visit.rng.choice(["printed", "movement", "outcome", "attachment"]), None, {"digest": "d" * 64})


def _erase(visit):
    """By the manager's word; where it has arrived, a digest stands in the value's place."""
    entry = visit.rng.choice(visit.entries)
    visit.add("erasure", entry["item"], {"reason": "entered for somebody else"}, of=entry["id"])
    if visit.rng.random() < 0.5 and entry["kind"] not in ("opened", "signature", "erasure"):
        entry["value"] = {"erased": "d" * 64}


def _from_a_newer_tablet(visit):
    kind, item, value = visit.rng.choice(
        [("scan", "plane.front", {"points": [1, 2.5]}), ("answer", "plane.curve", 4), ("reading", "lip.length", 22.0)]
    )
    visit.add(kind, item, value)


LATER = [
    *[_adjust, _again, _change_of_mind, _accept] * 3,
    *[_withdraw, _clear, _sign] * 2,
    *[_withdraw_what_is_not_here, _note, _check, _send_off, _erase, _from_a_newer_tablet],
]
