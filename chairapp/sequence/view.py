"""One visit, one call: its state, its verdict, words for what was found. The tablet and the server run this file."""

from chairapp.judge import JUDGE, judge_state, settle
from chairapp.judge.entries import in_order
from chairapp.judge.index import index_of
from chairapp.judge.shapes import Doc, Rows, Value
from chairapp.judge.signatures import is_clinical
from chairapp.sequence.say import choice, label, number, places, say, sentence, text

PLANNED_FROM = ["display", "plane", "contact", "vertical"]


def view(sequence: Doc, entries: Rows, language: str = "en", people: Value = None) -> Doc:
    """{"state": as settle gives it, "verdict": as judge gives it, with words added}.

    Every finding gains "text", "advice" and "source"; the plan gains "words", a list of sentences; the verdict gains
    "judge", the version of the judge, which a signature names. `people` gives names for staff ids. Raises
    chairapp.judge.errors.InputError for entries of the wrong shape.
    """
    state = settle(sequence, entries)
    verdict = judge_state(sequence, state)
    verdict["judge"] = JUDGE
    add_words(sequence, verdict, language, people or {})
    return {"state": state, "verdict": verdict}


def to_sign(sequence: Doc, entries: Rows) -> Doc:
    """What a signature made now would cover: {"covers": {device: its last clinical entry}, "entries": in order}.

    The signature's digest is the SHA-256 over the RFC 8785 bytes of those entries as a JSON array.
    """
    index = index_of(sequence)
    clinical = [entry for entry in in_order(index, entries) if is_clinical(index, entry)]
    covers: Doc = {}
    for entry in clinical:
        device = entry["device"]
        covers[device] = max(covers.get(device, ""), entry["id"])
    return {"covers": covers, "entries": clinical}


def add_words(sequence: Doc, verdict: Doc, language: str, people: Doc) -> None:
    """Put the words of every finding and of the plan into the verdict, in place."""
    for step in verdict["steps"]:
        _add_to_all(sequence, verdict["steps"][step]["findings"], language, people)
    plan = verdict["plan"]
    for findings in (plan["why"], plan["notes"], plan["conflicts"]):
        _add_to_all(sequence, findings, language, people)
    plan["words"] = plan_words(sequence, verdict, language)


def plan_words(sequence: Doc, verdict: Doc, language: str) -> list[str]:
    """The wax plan as a technician would say it: what comes first, upper rim, lower rim, then what to mind."""
    plan = verdict["plan"]
    words = [finding["text"] for finding in plan["why"]]
    if plan["runs"]:
        words += _put_right_first(sequence, verdict["steps"], language)
    for rim in ("upper", "lower"):
        for surface in ("height", "labial"):
            runs = [run for run in plan["runs"] if run["rim"] == rim and run["surface"] == surface]
            words += _line(sequence, runs, rim, surface, language)
    if plan["nothing"]:
        words.append(text(sequence, language, "plan.nothing", {}))
    elif plan["lower"]:
        words.append(text(sequence, language, "plan.soften", {}))
    return words + [finding["text"] for finding in plan["notes"] + plan["conflicts"]]


def _put_right_first(sequence: Doc, steps: Doc, language: str) -> list[str]:
    """What takes the ground from the readings the plan is made of, each once."""
    words: list[str] = []
    for step in PLANNED_FROM:
        for finding in steps[step]["findings"]:
            if finding["code"] in ("capped", "position_wanders"):
                params = {"label": label(sequence, language, finding["item"])}
                params["answer"] = choice(sequence, language, finding["item"], finding["value"])
                said = text(sequence, language, "plan.first", params)
                words += [] if said in words else [said]
    return words


def _line(sequence: Doc, runs: Rows, rim: str, surface: str, language: str) -> list[str]:
    """One sentence for one face of one rim, or none; places with the same change are named together."""
    same: Doc = {}
    for run in runs:
        same[run["mm"]] = same.get(run["mm"], []) + run["stations"]
    if not same:
        return []
    params = {"rim": text(sequence, language, "rim." + rim, {})}
    changes = [_change(sequence, mm, stations, language) for mm, stations in same.items()]
    params["changes"] = text(sequence, language, "plan.then", {}).join(changes)
    key = "plan.labial_line" if surface == "labial" else "plan.line"
    return [sentence(text(sequence, language, key, params))]


def _change(sequence: Doc, mm: Value, stations: list[str], language: str) -> str:
    params = {"mm": number(sequence, language, abs(mm)), "places": places(sequence, language, stations)}
    return text(sequence, language, "plan.add" if mm > 0 else "plan.take", params)


def _add_to_all(sequence: Doc, findings: Rows, language: str, people: Doc) -> None:
    for finding in findings:
        finding.update(say(sequence, _named(finding, people), language))


def _named(finding: Doc, people: Doc) -> Doc:
    """The finding with the author's name in place of the staff id, where it is known."""
    params = finding["params"]
    if "author" not in params or params["author"] not in people:
        return finding
    return dict(finding, params=dict(params, author=people[params["author"]]))
