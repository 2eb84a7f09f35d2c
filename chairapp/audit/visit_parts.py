"""The sections of one visit's page, each from what was seen of it; a section with nothing to say is not there."""

from collections.abc import Callable
from typing import Any, NamedTuple

from markupsafe import Markup

from chairapp.audit.page_parts import joined, table, when
from chairapp.audit.signed import digest_state
from chairapp.audit.trail import MOVED, told_value, tried
from chairapp.audit.wax import Go, goes
from chairapp.clinic import ClinicDocument
from chairapp.elements.frame import chip
from chairapp.judge.numbers import number_text
from chairapp.register import Line, Words
from chairapp.visit import is_signed

__all__ = [
    "Seen",
    "acceptances",
    "box",
    "rounds",
    "second_readings",
    "signatures",
    "verdicts",
    "wax",
]

Doc = dict[str, Any]
_ROLES = {"clinician": "clinician", "supervised": "supervised clinician", "supervisor": "supervisor"}
_PROOFS = {
    "proved": ("fits", "proved by a key of their own"),
    "unknown key": ("unsure", "its key has not come here"),
    "no proof": ("open", "not proved: made without a key"),
    "false": ("off", "not made by a key of theirs"),
}
_LABELS = {
    "none": ("open", "no label yet"),
    "current": ("fits", "labelled"),
    "older": ("stale", "the label is of an older record"),
}
_DIGESTS = {
    "holds": ("fits", "covers the very entries it says"),
    "erased": ("open", "over a value that was erased since"),
    "unknown": ("open", "its sequence is not here"),
    "other": ("off", "over other entries than it says"),
}


class Seen(NamedTuple):
    """`view` is the visit's `visit_state`, `entries` are all it has, `words` those of its sequence."""

    view: Doc
    sequence: Doc
    entries: list[Doc]
    clinic: ClinicDocument
    words: Words

    @property
    def state(self) -> Doc:
        state: Doc = self.view["state"]
        return state

    def who(self, id: str) -> str:
        return self.clinic.name_of(id)

    def when(self, at: str) -> str:
        return when(at, self.clinic)

    def value(self, item: str, value: Any) -> str:
        return told_value(self.sequence, item, value)


def signatures(seen: Seen, proof: Callable[[Doc], str]) -> Markup:
    made = [entry for entry in seen.entries if entry["kind"] == "signature"]
    if not made:
        return Markup(
            '<div class="tm-note tm-open tm-listed"><h3>Not signed yet</h3><p>Nobody has signed this visit.</p></div>'
        )
    rows = {row["id"]: row for row in seen.state["signatures"]}
    notes = [_signature(seen, rows[entry["id"]], entry, proof(entry)) for entry in made if entry["id"] in rows]
    lacking = Markup("")
    if all(row["valid"] for row in rows.values()) and not is_signed(seen.state):
        lacking = Markup(
            '<div class="tm-note tm-open"><h3>Second signature missing</h3>'
            "<p>A supervised clinician signed; somebody who supervises has to sign too.</p></div>"
        )
    return Markup('<div class="tm-listed">{}{}</div>').format(joined(notes), lacking)


def _signature(seen: Seen, row: Doc, entry: Doc, proof: str) -> Markup:
    role, record = _ROLES.get(row["role"], row["role"]), str(row["digest"])[:8]
    title, kind = Markup("Signed by {}").format(seen.who(row["author"])), "fits"
    told = f"{seen.when(row['at'])}, as {role}. Record {record}."
    if not row["valid"]:
        title, kind = Markup("Changed after signing"), "off"
        told = (
            f"{seen.who(row['author'])} signed {seen.when(row['at'])}, record {record}; then came: {_cause(seen, row)}."
        )
    state = digest_state(seen.sequence, seen.entries, entry)
    checks = (_PROOFS[proof], _DIGESTS[state])
    chips = Markup('<div class="tm-chips tm-under">{}</div>').format(joined(chip(*check) for check in checks))
    return Markup('<div class="tm-note tm-{}"><h3>{}</h3><p>{}</p>{}</div>').format(kind, title, told, chips)


def _cause(seen: Seen, row: Doc) -> str:
    by = row["void_by"]
    if not by:
        return "an entry it does not cover"
    what = seen.words(f"item.{by['item']}.label") if by["kind"] in ("answer", "reading") else by["kind"]
    return f"{what}, by {seen.who(by['author'])}, {seen.when(by['at'])}"


def verdicts(seen: Seen) -> Markup:
    """Every step now, and as it stood when it was signed last, where that is another verdict."""
    signed = seen.state["signatures"]
    then = (signed[-1]["verdicts"] or {}) if signed else {}
    steps = seen.view["verdict"]["steps"]
    rows = joined(
        _step(seen, step["id"], steps[step["id"]], then.get(step["id"]))
        for step in seen.sequence["steps"]
        if step["id"] in steps
    )
    title = "Verdicts, when signed and now" if signed else "Verdicts"
    return Markup('<h2>{}</h2><section class="tm-card tm-steps" style="padding:0">{}</section>').format(title, rows)


def _step(seen: Seen, id: str, step: Doc, then: str | None) -> Markup:
    findings = joined(Markup("<li>{}</li>").format(finding["text"]) for finding in step["findings"])
    guidance = "" if step["required"] else Markup(' <span class="tm-soft tm-small">guidance</span>')
    now = chip(step["verdict"], seen.words(f"verdict.{step['verdict']}"))
    if then and then != step["verdict"]:
        before = chip(then, seen.words(f"verdict.{then}"))
        now = Markup('{}<span class="tm-came">now</span>{}<span class="tm-came">when signed</span>').format(now, before)
    return Markup('<div class="tm-step"><h3>{}{}</h3><div>{}</div><ul>{}</ul></div>').format(
        seen.words(f"step.{id}.title"), guidance, now, findings
    )


def acceptances(seen: Seen) -> Markup:
    given = [
        (seen.words(f"step.{id}.title"), step["acceptance"])
        for id, step in seen.view["verdict"]["steps"].items()
        if step["acceptance"]
    ]
    if not given:
        return Markup("")
    rows = [
        (
            title,
            one["reason"],
            seen.who(one["author"]),
            seen.when(one["at"]),
            chip("accepted", "holds") if one["holds"] else chip("stale", "lapsed"),
        )
        for title, one in given
    ]
    return Markup("<h2>Accepted outside its band</h2>{}").format(
        table(("Step", "Reason", "By", "When", ""), rows, caption="Acceptances")
    )


def rounds(seen: Seen) -> Markup:
    """Items that were measured again after something disturbed them."""
    rows = []
    for item, row in seen.state["items"].items():
        if row["rounds"]:
            present = [reading["value"] for reading in row["readings"]]
            now = present or ([] if row["value"] is None else [row["value"]])
            every = [*row["rounds"], now]
            rows.append((seen.words(f"item.{item}.label"), _arrows(seen, item, every), str(len(every))))
    if not rows:
        return Markup("")
    return Markup("<h2>Rounds</h2>{}").format(
        table(("Item", "Readings, round by round", "Rounds"), rows, figures=(2,), caption="Measured again")
    )


def _arrows(seen: Seen, item: str, every: list[list[Any]]) -> Markup:
    told = [", ".join(seen.value(item, value) for value in one) or "none yet" for one in every]
    return Markup('<span class="tm-rounds">{}</span>').format(Markup(" → ").join(told))


def wax(seen: Seen) -> Markup:
    found = goes(seen.sequence, seen.state)
    plan = seen.view["verdict"]["plan"]
    made = joined(_go(seen, number, go) for number, go in enumerate(found, start=1))
    left = Markup("")
    if plan["words"] and not plan["nothing"] and plan["runs"]:
        lines = joined(Markup("<li>{}</li>").format(sentence) for sentence in plan["words"])
        left = Markup(
            '<section class="tm-card tm-listed"><h3>Still to do</h3><ul class="tm-plain">{}</ul></section>'
        ).format(lines)
    if not (made or left):
        return Markup("")
    return Markup("<h2>Wax plan, and what was done</h2>{}{}").format(made, left)


def _go(seen: Seen, number: int, go: Go) -> Markup:
    rows = [
        (
            Markup("{}, {}").format(seen.words(f"rim.{change.rim}"), seen.words(f"surface.{change.surface}")),
            seen.words(f"station.{change.station}"),
            "–" if change.planned is None else _signed_mm(change.planned),
            _signed_mm(change.done),
        )
        for change in go.changes
    ]
    caption = f"{number}. {seen.when(go.at)}, {seen.who(go.author)}"
    if go.withdrawn:
        caption += f"; {go.withdrawn} taken back"
    return table(("Rim", "Place", "Planned", "Done"), rows, figures=(2, 3), caption=caption, seen=True)


def _signed_mm(mm: float) -> str:
    return f"{'+' if mm > 0 else ''}{number_text(mm)} mm"


def second_readings(seen: Seen) -> Markup:
    rows = [
        (
            seen.words(f"item.{check['item']}.label"),
            seen.value(check["item"], seen.state["items"][check["item"]]["value"]),
            seen.value(check["item"], check["value"]),
            seen.who(check["author"]),
        )
        for check in seen.state["checks"]
        if check["item"] in seen.state["items"]
    ]
    if not rows:
        return Markup("")
    heads = ("Item", "As it stands", "Second reading", "By")
    return Markup("<h2>Second readings</h2>{}").format(table(heads, rows, figures=(1, 2), caption="Read a second time"))


def box(seen: Seen, line: Line, label_on: Callable[[Doc, Words], str]) -> Markup:
    """The label on it, where it went, what the try-in showed."""
    on = label_on(seen.view, seen.words)
    events = [event for event in seen.state["events"] if event["kind"] in ("printed", "movement", "outcome")]
    standing = {entry["id"] for entry in line.moved}
    told = [(event, _event(event, standing)) for event in events]
    rows = [(seen.when(event["at"]), seen.who(event["author"]), said) for event, said in told if said]
    wanted = f" Wanted back by {line.wanted}." if line.wanted else ""
    made = table(("When", "Who", "What"), rows, caption="The box") if rows else Markup("")
    head = Markup('<h2>Case box</h2><p>{}{} <a href="/B/{}">Its own page</a></p>').format(
        chip(*_LABELS[on]), wanted, line.code
    )
    return head + made


def _event(event: Doc, standing: set[str]) -> str:
    value = event["value"] if isinstance(event["value"], dict) else {}
    if event["kind"] == "printed":
        again = f", again: {value['reason']}" if value.get("reason") else ""
        return f"{str(value.get('what', 'label')).capitalize()} printed, record {str(value.get('digest'))[:8]}{again}"
    if event["kind"] == "outcome":
        return f"Try-in: {tried(value)}" if "why" in value else ""
    if "to" in value:
        taken_back = "" if event["id"] in standing else " (taken back)"
        return f"{MOVED.get(value['to'], str(value['to'])).capitalize()}{taken_back}"
    return f"Wanted back by {value['wanted']}" if value.get("wanted") else ""
