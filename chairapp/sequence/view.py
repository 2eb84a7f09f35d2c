"""One visit, one call: its state, its verdict and the words for both. The tablet's worker and the server run this file."""

from chairapp.judge import judge_state, settle
from chairapp.judge.entries import in_order
from chairapp.judge.index import index_of
from chairapp.judge.numbers import number_text
from chairapp.judge.signatures import is_clinical
from chairapp.sequence.say import places, say, sentence, text


def view(sequence: dict, entries: list, language: str = "en", people=None) -> dict:
    """{"state": as settle gives it, "verdict": as judge gives it, with words added}.

    Every finding gains "text", "advice" and "source"; the plan gains "words", a list of sentences. `people` gives names
    for staff ids. Raises chairapp.judge.errors.InputError for entries of the wrong shape.
    """
    state = settle(sequence, entries)
    verdict = judge_state(sequence, state)
    add_words(sequence, verdict, language, people or {})
    return {"state": state, "verdict": verdict}


def to_sign(sequence: dict, entries: list) -> dict:
    """What a signature made now would cover: {"covers": {device: its last clinical entry}, "entries": in order}.

    The signature's digest is the SHA-256 over the RFC 8785 bytes of those entries as a JSON array.
    """
    index = index_of(sequence)
    clinical = [entry for entry in in_order(index, entries) if is_clinical(index, entry)]
    covers = {}
    for entry in clinical:
        device = entry["device"]
        covers[device] = max(covers.get(device, ""), entry["id"])
    return {"covers": covers, "entries": clinical}


def add_words(sequence: dict, verdict: dict, language: str, people: dict):
    """Put the words of every finding and of the plan into the verdict, in place."""
    for step in verdict["steps"]:
        _add_to_all(sequence, verdict["steps"][step]["findings"], language, people)
    plan = verdict["plan"]
    for findings in (plan["why"], plan["notes"], plan["conflicts"]):
        _add_to_all(sequence, findings, language, people)
    plan["words"] = plan_words(sequence, plan, language)


def plan_words(sequence: dict, plan: dict, language: str) -> list:
    """The wax plan as a technician would say it: upper rim first, then lower, then what to mind."""
    words = [finding["text"] for finding in plan["why"]]
    for rim in ("upper", "lower"):
        for surface in ("height", "labial"):
            words += _line(sequence, plan["runs"], rim, surface, language)
    if plan["nothing"]:
        words.append(text(sequence, language, "plan.nothing", {}))
    elif plan["shown"]["lower"]:
        words.append(text(sequence, language, "plan.soften", {}))
    return words + [finding["text"] for finding in plan["notes"] + plan["conflicts"]]


def _line(sequence: dict, runs: list, rim: str, surface: str, language: str) -> list:
    """One sentence for one face of one rim, or none."""
    changes = [
        _change(sequence, run, language) for run in runs if run["rim"] == rim and run["surface"] == surface
    ]
    if not changes:
        return []
    params = {"rim": text(sequence, language, "rim." + rim, {})}
    params["changes"] = text(sequence, language, "plan.then", {}).join(changes)
    key = "plan.labial_line" if surface == "labial" else "plan.line"
    return [sentence(text(sequence, language, key, params))]


def _change(sequence: dict, run: dict, language: str) -> str:
    params = {"mm": number_text(abs(run["mm"])), "places": places(sequence, language, run["stations"])}
    return text(sequence, language, "plan.add" if run["mm"] > 0 else "plan.take", params)


def _add_to_all(sequence: dict, findings: list, language: str, people: dict):
    for finding in findings:
        finding.update(say(sequence, _named(finding, people), language))


def _named(finding: dict, people: dict) -> dict:
    """The finding with the author's name in place of the staff id, where it is known."""
    author = finding["params"].get("author")
    if author not in people:
        return finding
    named = dict(finding)
    named["params"] = dict(finding["params"])
    named["params"]["author"] = people[author]
    return named
