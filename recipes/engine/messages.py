"""What the engine says: a key with its parameters, put into words from the catalogue of a language.

A catalogue is `data/messages.LANGUAGE.csv`, one text a key. `{name}` in a text stands for a parameter, `{name:,}` and
the like for a number so written, `{name:or}` for several joined by the text `between.or`. The key up to its first dot
is the code of a refusal or a caution; what follows the dot tells the texts of one code apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import NamedTuple

from recipes.engine.data import rows

ENGLISH = "en"


@dataclass(frozen=True)
class Text:
    """A text of the catalogue and its parameters: plain values, amounts, other texts, or several of these."""

    key: str
    params: Mapping[str, object] = field(default_factory=dict)

    def __str__(self) -> str:
        return in_language(self, ENGLISH)


class TextError(ValueError):
    """Something that cannot be read or cannot be; `text` says why, and the exception's own words are English."""

    def __init__(self, text: Text | str, /, **params: object) -> None:
        self.text = text if isinstance(text, Text) else Text(text, params)
        super().__init__(str(self.text))


def words_of(reason: object, language: str | None = None) -> str:
    """A refusal, a caution, an error or a text in a language; what somebody has worded already stays as it is."""
    text = getattr(reason, "text", reason)
    return in_language(text, language or ENGLISH) if isinstance(text, Text) else str(getattr(reason, "message", reason))


def in_language(text: Text, language: str) -> str:
    """The text in a language; in English where that language has none. Raises `KeyError` for an unknown key."""
    language = language if text.key in texts(language) else ENGLISH
    return texts(language)[text.key].format(**{name: _Part(value, language) for name, value in text.params.items()})


@cache
def texts(language: str) -> dict[str, str]:
    """The catalogue of a language ("en", "fr-ca"); empty where there is none."""
    try:
        return {row["key"]: row["text"] for row in rows(f"messages.{language}.csv")}
    except FileNotFoundError:
        return {}


class _Part(NamedTuple):
    """A parameter as `str.format` writes it."""

    value: object
    language: str

    def __repr__(self) -> str:
        return repr(self.value)

    def __format__(self, how: str) -> str:
        if isinstance(self.value, Text):
            return in_language(self.value, self.language)
        if isinstance(self.value, tuple):
            between = in_language(Text(f"between.{how}"), self.language)
            return between.join(format(_Part(each, self.language)) for each in self.value)
        return format(self.value, how)
