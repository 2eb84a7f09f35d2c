"""One visit as the manager sees it: signatures, verdicts, what was accepted, and the trail."""

from collections.abc import Callable, Sequence
from typing import Any

from markupsafe import Markup

from chairapp.audit.trail import Line as TrailLine
from chairapp.audit.trail import trail
from chairapp.clinic import ClinicDocument, local
from chairapp.elements.frame import chip
from chairapp.register import Line, NoSequence, Register, words_of

__all__ = ["visit_markup"]

_ROLES = {"supervised": "supervised clinician"}


def visit_markup(register: Register, line: Line, clinic: ClinicDocument, received: dict[str, int]) -> Markup:
    head = Markup('<p class="tm-soft">Visit</p><h1 class="tm-code">{}-{}</h1><dl class="tm-facts">{}</dl>').format(
        line.code[:4], line.code[4:], _facts(line, clinic)
    )
    try:
        view, sequence = register.view(line.visit), register.sequence(line.visit)
    except NoSequence:
        return head + Markup(
            '<div class="tm-note tm-open" style="margin-top:1.5rem"><h3>Its sequence has not arrived</h3>'
            "<p>The visit cannot be judged here before the sequence it was opened with is known.</p></div>"
        )
    lines = trail(sequence, register.entries(line.visit), clinic, received, "en")
    return Markup("{}{}{}<h2>Verdicts</h2>{}<h2>Accepted outside its band</h2>{}<h2>Trail</h2>{}").format(
        head,
        _signatures(view, clinic),
        _plan(view),
        _steps(view, sequence),
        _acceptances(view, sequence, clinic),
        _trail(lines),
    )


def _facts(line: Line, clinic: ClinicDocument) -> Markup:
    facts = (
        ("Clinician", clinic.name_of(line.author)),
        ("Chair", line.chair),
        ("Opened", local(line.opened, clinic).strftime("%d %b %Y, %H:%M")),
        ("Last entry", local(line.last, clinic).strftime("%d %b %Y, %H:%M")),
        ("Entries", str(line.entries)),
    )
    return Markup("").join(Markup("<div><dt>{}</dt><dd>{}</dd></div>").format(*fact) for fact in facts)


def _signatures(view: dict[str, Any], clinic: ClinicDocument) -> Markup:
    made = [_signature(signature, clinic) for signature in view["state"]["signatures"]]
    if not made:
        made = [
            Markup('<div class="tm-note tm-open"><h3>Not signed yet</h3><p>Nobody has signed this visit.</p></div>')
        ]
    return Markup('<div style="margin-top:1.5rem">{}</div>').format(Markup("").join(made))


def _signature(signature: dict[str, Any], clinic: ClinicDocument) -> Markup:
    name, when = clinic.name_of(signature["author"]), local(signature["at"], clinic).strftime("%d %b %Y, %H:%M")
    record = signature["digest"][:8]
    if signature["valid"]:
        return Markup('<div class="tm-note tm-fits"><h3>Signed by {}</h3><p>{}, as {}. Record {}.</p></div>').format(
            name, when, _ROLES.get(signature["role"], signature["role"]), record
        )
    by = signature["void_by"]
    cause = (
        f"{by['kind']} by {clinic.name_of(by['author'])}, {local(by['at'], clinic):%d %b %Y, %H:%M}"
        if by
        else "an entry it does not cover"
    )
    return Markup(
        '<div class="tm-note tm-off"><h3>Changed after signing</h3><p>{} signed {}; then came: {}.</p></div>'
    ).format(name, when, cause)


def _plan(view: dict[str, Any]) -> Markup:
    """What is still to be done to the wax; nothing is said of a plan that changes nothing."""
    words = view["verdict"]["plan"]["words"]
    if not words or view["verdict"]["plan"]["nothing"]:
        return Markup("")
    lines = Markup("").join(Markup("<li>{}</li>").format(sentence) for sentence in words)
    return Markup(
        "<h2>Wax plan as it stands</h2><section class='tm-card'><ul class='tm-plain'>{}</ul></section>"
    ).format(lines)


def _steps(view: dict[str, Any], sequence: dict[str, Any]) -> Markup:
    words = words_of(sequence, "en")
    rows = [
        _step(step["id"], view["verdict"]["steps"][step["id"]], words)
        for step in sequence["steps"]
        if step["id"] in view["verdict"]["steps"]
    ]
    return Markup('<section class="tm-card tm-steps" style="padding:0">{}</section>').format(Markup("").join(rows))


def _step(id: str, step: dict[str, Any], words: Callable[[str], str]) -> Markup:
    findings = Markup("").join(Markup("<li>{}</li>").format(finding["text"]) for finding in step["findings"])
    guidance = "" if step["required"] else Markup(' <span class="tm-soft tm-small">guidance</span>')
    return Markup('<div class="tm-step"><h3>{}{}</h3><div>{}</div><ul>{}</ul></div>').format(
        words(f"step.{id}.title"), guidance, chip(step["verdict"], words(f"verdict.{step['verdict']}")), findings
    )


def _acceptances(view: dict[str, Any], sequence: dict[str, Any], clinic: ClinicDocument) -> Markup:
    words = words_of(sequence, "en")
    rows = [
        Markup('<tr><td>{}</td><td>{}</td><td>{}</td><td class="tm-when">{}</td><td>{}</td></tr>').format(
            words(f"step.{id}.title"),
            accepted["reason"],
            clinic.name_of(accepted["author"]),
            local(accepted["at"], clinic).strftime("%d %b %Y, %H:%M"),
            chip("accepted", "holds") if accepted["holds"] else chip("stale", "lapsed"),
        )
        for id, step in view["verdict"]["steps"].items()
        if (accepted := step["acceptance"])
    ]
    if not rows:
        return Markup('<p class="tm-empty">Nothing.</p>')
    return _table(("Step", "Reason", "By", "When", ""), rows)


def _trail(lines: list[TrailLine]) -> Markup:
    rows: list[Markup] = []
    day = ""
    for line in lines:
        if line.day != day:
            rows.append(Markup('<tr class="tm-day"><td colspan="4">{}</td></tr>').format(line.day))
        day = line.day
        rows.append(_trail_row(line))
    return _table(("When", "Who", "What", "Value"), rows)


def _table(heads: Sequence[str], rows: Sequence[Markup]) -> Markup:
    return Markup(
        '<div class="tm-scroll"><table class="tm-table tm-stacked"><thead><tr>{}</tr></thead><tbody>{}</tbody></table>'
        "</div>"
    ).format(Markup("").join(Markup("<th>{}</th>").format(head) for head in heads), Markup("").join(rows))


def _trail_row(line: TrailLine) -> Markup:
    value = (
        Markup("<s>{}</s> <span class='tm-small'>{}</span>").format(line.value, line.fate) if line.fate else line.value
    )
    came = Markup('<br><span class="tm-small">arrived {}</span>').format(line.came) if line.came else ""
    return Markup('<tr{}><td class="tm-when">{}{}</td><td>{}</td><td>{}</td><td>{}</td></tr>').format(
        Markup(' class="tm-gone"') if line.fate else "", line.time, came, line.who, line.what, value
    )
