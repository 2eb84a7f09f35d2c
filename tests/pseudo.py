"""A language that nobody speaks: English with every letter accented, 40 % longer, in brackets.

What is still plain English on a screen in it did not come from a catalogue; what runs off its place would in German.
"""

import math
import re

LANGUAGE = "en-XA"
PLACEHOLDER = re.compile(r"(\{\w+\})")
LETTERS = str.maketrans(
    "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz",
    "ÅƁÇÐÉƑĜĤÎĴĶĻṀÑÖÞǪŔŠŢÛṼŴẊÝŽåƀçðéƒĝĥîĵķļɱñöþǫŕšţûṽŵẋýž",
)
FILLER = "öñé ţŵö ţĥŕéé ƒöûŕ ƒîṽé šîẋ šéṽéñ éîĝĥţ ñîñé ţéñ "
PLAIN = re.compile(r"(?<![0-9A-Za-z])[A-Za-z]{2,}(?![0-9A-Za-z])")


def pseudo(text: str) -> str:
    """The text in that language, {placeholders} kept; what has no letters (a comma, a unit's °) stays as it is."""
    parts = PLACEHOLDER.split(text)
    letters = sum(map(str.isalpha, "".join(parts[::2])))
    if not letters:
        return text
    extra = math.ceil(0.4 * letters)
    filler = (FILLER * (extra // len(FILLER) + 1))[:extra].strip()
    accented = [part if at % 2 else part.translate(LETTERS) for at, part in enumerate(parts)]
    before, after = (text[: len(text) - len(text.lstrip())], text[len(text.rstrip()) :])
    return f"{before}[{''.join(accented).strip()} {filler}]{after}"


def in_pseudo(catalogue: dict[str, str]) -> dict[str, str]:
    return {key: pseudo(text) for key, text in catalogue.items()}


def plain_words(text: str, names: frozenset[str] | set[str]) -> list[str]:
    """Words of plain letters that are none of these names (people, a clinic, an item of a file)."""
    for name in sorted(names, key=len, reverse=True):
        text = text.replace(name, "")
    return PLAIN.findall(text)
