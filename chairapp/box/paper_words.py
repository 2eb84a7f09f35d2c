"""The texts of label and prescription by language, from words/LANGUAGE.toml; English stands in for a missing one."""

import tomllib
from functools import cache
from importlib.resources import files
from typing import Any

__all__ = ["PaperWords", "words_in"]


class PaperWords:
    """`language` is the one its own texts are in; call it with a key and what fills its {names}."""

    def __init__(self, language: str, texts: dict[str, str], english: dict[str, str]) -> None:
        self.language = language
        self._texts = texts
        self._english = english

    def __call__(self, key: str, **fill: Any) -> str:
        found = self._texts.get(key) or self._english[key]
        for name, value in fill.items():
            found = found.replace("{" + name + "}", str(value))
        return found

    def role(self, name: str) -> str:
        """The role of a signature; its bare name for one of a newer tablet."""
        return self(f"role.{name}") if f"role.{name}" in self._english else name


def words_in(language: str) -> PaperWords:
    """In this language, `pt-PT` or else `pt`, where there is a file for it; else in English."""
    english = _texts("en") or {}
    for name in (language, language.partition("-")[0]):
        if texts := _texts(name):
            return PaperWords(name, texts, english)
    return PaperWords("en", english, english)


@cache
def _texts(language: str) -> dict[str, str] | None:
    file = files("chairapp.box") / "words" / f"{language}.toml"
    if not language.replace("-", "").isalnum() or not file.is_file():
        return None
    return _flat(tomllib.loads(file.read_text("utf-8")))


def _flat(table: dict[str, Any], before: str = "") -> dict[str, str]:
    flat: dict[str, str] = {}
    for name, value in table.items():
        flat |= _flat(value, f"{before}{name}.") if isinstance(value, dict) else {before + name: value}
    return flat
