"""Box codes: the only name a case box has outside the clinic, `7KQ4-M2X9` on paper, `7KQ4M2X9` in data.

Eight characters: the letter of the tablet that made it, six random ones, one check character after ISO/IEC 7064
MOD 37-2. No vowels, so no words; no 0 1 B L S Z, so little to misread. Every single wrong character and every swap of
neighbours is detected. A slip is refused with suggestions and never corrected: the box of another patient is one
character away.
"""

import re
import secrets
from collections.abc import Callable, Collection, Iterable, Sequence

from chairapp.box.errors import CodeError

__all__ = ["ALPHABET", "LENGTH", "check_character", "is_code", "nearest", "new_code", "parse", "plain", "shown"]

ALPHABET = "23456789CDFGHJKMNPQRTVWXY"
LENGTH = 8
_SUGGESTED = 3
_ADDRESS = re.compile(r"HTTPS?[^0-9A-Z].*[^0-9A-Z]B[^0-9A-Z]([0-9A-Z]+)")
_ISO_7064 = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*"


def new_code(letter: str, choose: Callable[[Sequence[str]], str] = secrets.choice) -> str:
    """A fresh code of the tablet with this letter.

    Drawn again while the check character falls outside the alphabet. `choose` picks one of a sequence.
    """
    if len(letter) != 1 or letter not in ALPHABET:
        raise CodeError(f"tablet letter {letter!r}: one of {ALPHABET}")
    while True:
        body = letter + "".join(choose(ALPHABET) for _ in range(LENGTH - 2))
        if (check := check_character(body)) in ALPHABET:
            return body + check


def check_character(body: str) -> str:
    """The ISO/IEC 7064 MOD 37-2 character that completes `body`: a digit, a letter or `*`."""
    return _ISO_7064[(1 - 2 * _weighed(body)) % 37]


def is_code(text: str) -> bool:
    """Whether `text` is a code as kept in data: eight characters of the alphabet with the right check character."""
    return len(text) == LENGTH and all(c in ALPHABET for c in text) and _weighed(text) == 1


def shown(code: str) -> str:
    """As printed and read aloud: `7KQ4-M2X9`."""
    return f"{code[:4]}-{code[4:]}"


def parse(text: str, known: Collection[str] = ()) -> str:
    """The code somebody typed or scanned: lower case, spaces and hyphens do not matter, an address ends in it.

    Raises CodeError with the nearest of the `known` codes when it is no code. Whether the code belongs to a visit is
    for the caller to find out.
    """
    code = plain(text)
    if is_code(code):
        return code
    near = tuple(nearest(code, known))
    raise CodeError(_what_is_wrong(text, code) + _did_you_mean(near), near)


def plain(text: str) -> str:
    """What was typed, in upper case without spaces and hyphens; of a scanned address its last part.

    A scanner that acts as a keyboard may type other punctuation than the symbol has.
    """
    joined = "".join(text.split()).upper()
    scanned = _ADDRESS.fullmatch(joined)
    return scanned[1] if scanned else joined.replace("-", "")


def nearest(text: str, known: Collection[str], most: int = _SUGGESTED) -> list[str]:
    """Known codes one slip away: a wrong, missing, extra or swapped character. If there is none, two wrong ones."""
    code, among = plain(text), frozenset(known)
    one_slip = sorted(set(_slips(code)) & among)
    if one_slip or len(code) != LENGTH:
        return one_slip[:most]
    return sorted(other for other in among if _differing(code, other) == 2)[:most]


def _weighed(text: str) -> int:
    total = 0
    for character in text:
        total = (2 * total + _ISO_7064.index(character)) % 37
    return total


def _what_is_wrong(text: str, code: str) -> str:
    if not code:
        return "box code is empty: type the eight characters on the label"
    strange = sorted({c for c in code if c not in ALPHABET})
    if strange:
        return f"box code {text.strip()!r}: no box code has {' or '.join(strange)} in it, look again"
    if len(code) != LENGTH:
        return f"box code {text.strip()!r} has {len(code)} characters, a box code has {LENGTH}"
    return f"box code {shown(code)} has a slip: its check character does not agree, look again"


def _did_you_mean(codes: tuple[str, ...]) -> str:
    if not codes:
        return ""
    return "; did you mean " + " or ".join(shown(code) for code in codes) + "?"


def _slips(code: str) -> Iterable[str]:
    for i in range(len(code)):
        for c in ALPHABET:
            yield code[:i] + c + code[i + 1 :]
            yield code[:i] + c + code[i:]
        yield code[:i] + code[i + 1 :]
        yield code[:i] + code[i + 1 : i + 2] + code[i] + code[i + 2 :]
    yield from (code + c for c in ALPHABET)


def _differing(a: str, b: str) -> int:
    return sum(x != y for x, y in zip(a, b, strict=True))
