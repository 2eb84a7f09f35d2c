"""Forms of a node's own pages: plain HTML, sent whole; what was typed comes back when something is wrong."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from urllib.parse import parse_qs

from fastapi import HTTPException, Request
from fastapi.responses import RedirectResponse, Response
from markupsafe import Markup
from nicegui import ui
from nicegui.client import Client

from chairapp.elements.frame import Frame, html
from chairapp.people.errors import WeakPin
from chairapp.people.pins import checked_pin

__all__ = ["Form", "page_of", "see", "typed_in", "wait_first"]

_LONG = 2000
_BODY_MAX = 64 * 1024
_NOTHING = Markup("")


@dataclass
class Form:
    """What was typed, and what is wrong with it by field: a sentence that says what to do."""

    typed: Mapping[str, str] = field(default_factory=dict)
    faults: dict[str, str] = field(default_factory=dict)

    def text(self, name: str, label: str, hint: str = "", more: Markup = _NOTHING) -> Markup:
        """One line of text. `more` are further attributes of the input."""
        made = Markup('<input name="{}" value="{}" maxlength="{}"{} {}>').format(
            name,
            self.typed.get(name, ""),
            _LONG,
            self._wrong(name),
            more,
        )
        return self._field(name, label, hint, made)

    def lines(self, name: str, label: str, hint: str = "") -> Markup:
        """Several lines."""
        made = Markup('<textarea name="{}" rows="4" maxlength="{}"{}>{}</textarea>').format(
            name, _LONG, self._wrong(name), self.typed.get(name, "")
        )
        return self._field(name, label, hint, made)

    def pin(self, name: str, label: str, hint: str = "", kind: str = "new-password") -> Markup:
        """A PIN is never sent back to the page."""
        made = Markup(
            '<input name="{}" type="password" inputmode="numeric" maxlength="64" autocomplete="{}"{}>'
        ).format(name, kind, self._wrong(name))
        return self._field(name, label, hint, made)

    def choice(self, name: str, label: str, choices: Iterable[tuple[str, str]]) -> Markup:
        """One of (value, word); nothing is chosen beforehand."""
        chosen = self.typed.get(name)
        made = Markup("").join(
            Markup(
                '<label class="tm-button tm-choice"><input type="radio" name="{}" value="{}"{}><span>{}</span></label>'
            ).format(name, value, Markup(" checked") if value == chosen else "", word)
            for value, word in choices
        )
        return Markup(
            '<fieldset class="tm-question"><legend>{}</legend><div class="tm-pairs">{}</div>{}</fieldset>'
        ).format(label, made, self._fault(name))

    def check_pin(self) -> None:
        """Say what is wrong with a new PIN that was typed twice, as "pin" and "again"."""
        pin = self.typed.get("pin", "")
        try:
            checked_pin(pin)
        except WeakPin as weak:
            self.faults["pin"] = f"PIN: {weak.why} {weak.do}"
        if pin != self.typed.get("again", ""):
            self.faults["again"] = "PIN once more: this is another one than above. Write both anew."

    def top(self) -> Markup:
        """Said above a form that was not taken."""
        if not self.faults:
            return Markup("")
        return Markup('<div class="tm-note tm-off" role="alert"><p>{}</p></div>').format(
            self.faults.get("") or "Not kept yet: look at what is marked below."
        )

    def _field(self, name: str, label: str, hint: str, made: Markup) -> Markup:
        told = Markup('<span class="tm-hint">{}</span>').format(hint) if hint else Markup("")
        return Markup('<label class="tm-field">{}{}{}</label>{}').format(label, told, made, self._fault(name))

    def _fault(self, name: str) -> Markup:
        if name not in self.faults:
            return Markup("")
        return Markup('<p class="tm-fault" id="fault-{}">{}</p>').format(name, self.faults[name])

    def _wrong(self, name: str) -> Markup:
        if name not in self.faults:
            return Markup("")
        return Markup(' aria-invalid="true" aria-describedby="fault-{}"').format(name)


async def typed_in(request: Request) -> dict[str, str]:
    """The fields of a form that was sent, without spaces around; the values of boxes of one name are lines of it."""
    body = b""
    async for part in request.stream():
        body += part
        if len(body) > _BODY_MAX:
            raise HTTPException(413, "The form is too large.")
    fields = parse_qs(body.decode("utf-8", "replace"), keep_blank_values=True)
    return {name: "\n".join(values).replace("\r\n", "\n").strip() for name, values in fields.items()}


def page_of(
    request: Request, frame: Callable[[], Frame], title: str, here: str, body: Markup, status: int = 422
) -> Response:
    """A page in answer to a form that was sent: by itself the form once more, with what is wrong."""
    with Client(ui.page(""), request=request) as client, frame().page(title, here):
        html(body)
    answer = client.build_response(request, status)
    answer.headers["Cache-Control"] = "no-store"
    return answer


def wait_first(request: Request, frame: Callable[[], Frame], seconds: int) -> Response:
    """For a caller from whom too many wrong tries came."""
    told = Markup(
        '<h1>Wait {} seconds</h1><p class="tm-lead">Too many wrong tries came from here. After that, go back and '
        "try again.</p>"
    )
    answer = page_of(request, frame, "Wait", "", told.format(seconds), 429)
    answer.headers["Retry-After"] = str(seconds)
    return answer


def see(address: str) -> Response:
    """Lead on after a form was taken, so that loading anew sends nothing twice."""
    return RedirectResponse(address, 303, headers={"Cache-Control": "no-store"})
