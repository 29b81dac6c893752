"""Reading one table of a document field by field, and noting all that is wrong with it.

A reader never raises: it notes a `Problem` with the field's path and hands back a harmless value of the
right type, so that one pass finds everything. Whoever starts the reading raises when any was noted.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from typing import TypeVar

LONGEST_TEXT = 2000
LONGEST_NUMBER = 40
LARGEST_NUMBER = 10**6
FORMATS = {1: "kettlehall-library-1", 2: "kettlehall-library-2"}
NEWEST_EDITION = max(FORMATS)

Choice = TypeVar("Choice", bound=StrEnum)

_NUMBER = re.compile(r"([0-9]+) ([0-9]+)/([0-9]+)|([0-9]+)/([0-9]+)|([0-9]+(?:\.[0-9]+)?)")
# Control characters, halves of a letter, and what nobody sees: a name would not be what it looks like.
_UNUSABLE = re.compile(r"[\x00-\x08\x0b-\x1f\x7f\u00ad\u200b\u200e\u200f\u2028-\u202e\u2060-\u2064\ud800-\udfff\ufeff]")


@dataclass(frozen=True)
class Problem:
    """What is wrong with one field. `entry` names the recipe or table in a file, such as `recipe "plum-jam"`."""

    field: str
    message: str
    entry: str = ""

    def __str__(self) -> str:
        return ": ".join(part for part in (self.entry, self.field, self.message) if part)


def shown(value: object) -> str:
    """A value as a message may repeat it: short, and safe whatever was in the file."""
    if isinstance(value, str):
        text = value if len(value) <= 40 else f"{value[:39]}…"
        return '"' + _UNUSABLE.sub("?", text) + '"'
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value) if value.bit_length() < 100 else "a very large number"
    if isinstance(value, float):
        return repr(value)
    kinds = {list: "a list", tuple: "a list", dict: "a table", type(None): "nothing"}
    return kinds.get(type(value), f"a {type(value).__name__}")


def parse_exact(text: str) -> Fraction | None:
    """2, 1/4, 2 1/4 or 2.5 exactly; None for anything else."""
    match = _NUMBER.fullmatch(text) if len(text) <= LONGEST_NUMBER else None
    if match is None:
        return None
    whole, top, bottom, plain_top, plain_bottom, decimal = match.groups()
    if decimal:
        return Fraction(decimal)
    if int(bottom or plain_bottom) == 0 or (whole and int(top) >= int(bottom)):
        return None
    return int(whole) + Fraction(int(top), int(bottom)) if whole else Fraction(int(plain_top), int(plain_bottom))


class Fields:
    """One table of a document: takes each key by name and notes problems under its path."""

    def __init__(
        self, table: Mapping[object, object], path: str, problems: list[Problem], edition: int = NEWEST_EDITION
    ) -> None:
        self._table = table
        self._path = path
        self._problems = problems
        self._known: set[str] = set()
        self.edition = edition

    def path(self, key: str) -> str:
        return f"{self._path}.{key}" if self._path else key

    def note(self, key: str, message: str) -> None:
        self._problems.append(Problem(self.path(key), message))

    def has(self, key: str) -> bool:
        return key in self._table

    def raw(self, key: str) -> object:
        """The value as it stands (None when left out); the key counts as known from here on."""
        self._known.add(key)
        return self._table.get(key)

    def text_or_empty(self, key: str) -> str:
        """The value where it is text, without noting anything."""
        value = self.raw(key)
        return value if isinstance(value, str) else ""

    def has_new(self, key: str) -> bool:
        """Whether a field of the second edition is filled; in a file of the first it is a problem, and is not read."""
        if not self.has(key):
            self._known.add(key)
            return False
        if self.edition >= NEWEST_EDITION:
            return True
        self.raw(key)
        self.note(key, f'This came with the second edition: begin the file with format = "{FORMATS[NEWEST_EDITION]}".')
        return False

    def close(self) -> None:
        """Refuse, by name, every key that nothing asked for."""
        for key in self._table:
            if key not in self._known:
                name = key if isinstance(key, str) else shown(key)
                known = ", ".join(sorted(self._known))
                self.note(shown(name).strip('"'), f"There is no such field here. Known fields: {known}.")

    def _asked(self, key: str, required: bool) -> object:
        value = self.raw(key)
        if value is None and self.has(key):
            self.note(key, "This is empty. Leave the field out, or fill it.")
        elif value is None and required:
            self.note(key, "This field is missing.")
        return value

    def text(self, key: str, *, required: bool = True, most: int = LONGEST_TEXT) -> str:
        value = self._asked(key, required)
        return "" if value is None else self.clean(key, value, blank_ok=not required, most=most)

    def clean(self, key: str, value: object, *, blank_ok: bool = False, most: int = LONGEST_TEXT) -> str:
        if not isinstance(value, str):
            self.note(key, f"This must be text in quotes, not {shown(value)}.")
        elif not value.strip() and not blank_ok:
            self.note(key, "This text is empty.")
        elif len(value) > most:
            self.note(key, f"This text is longer than {most} characters.")
        elif _UNUSABLE.search(value):
            self.note(key, "This text holds a control character, an unseen one or a broken letter.")
        else:
            return value.strip()
        return ""

    def texts(self, key: str, *, required: bool = True) -> tuple[str, ...]:
        items = self._list(key, required)
        return tuple(self.clean(f"{key}[{i}]", item, blank_ok=False) for i, item in enumerate(items))

    def choice(self, key: str, kind: type[Choice], *, default: Choice | None = None) -> Choice:
        """One member of the enum; a left-out field takes `default`, and is a problem when there is none."""
        value = self._asked(key, required=default is None)
        fallback = default or next(iter(kind))
        if value is None:
            return fallback
        if not isinstance(value, str) or value not in kind._value2member_map_:
            self.note(key, f"This must be {one_of(kind)}, not {shown(value)}.")
            return fallback
        return kind(value)

    def one_of(self, key: str, allowed: Iterable[str], *, required: bool = True) -> str:
        allowed = tuple(allowed)
        value = self._asked(key, required)
        if value is None:
            return ""
        if not isinstance(value, str) or value not in allowed:
            self.note(key, f"This must be {one_of(allowed)}, not {shown(value)}.")
            return ""
        return value

    def fraction(self, key: str) -> Fraction:
        """A required number above 0."""
        return self.optional_fraction(key, required=True) or Fraction(1)

    def optional_fraction(self, key: str, *, required: bool = False) -> Fraction | None:
        value = self._asked(key, required)
        if value is None:
            return None
        if isinstance(value, float):
            self.note(key, f'A number with a point is not exact here: write it in quotes, such as "{value:.6g}".')
            return None
        exact = self._exact(value)
        if exact is None or not 0 < exact <= LARGEST_NUMBER:
            self.note(key, f'This must be a number above 0, such as "2 1/4", "3/8" or "2.5", not {shown(value)}.')
            return None
        return exact

    def _exact(self, value: object) -> Fraction | None:
        if isinstance(value, int) and not isinstance(value, bool):
            return Fraction(value)
        return parse_exact(value) if isinstance(value, str) else None

    def span(self, key: str, *, zero_ok: bool = False) -> tuple[Fraction, Fraction] | None:
        """A figure, or a list of its low and its high end; None where the field is left out."""
        value = self._asked(key, required=False)
        if value is None:
            return None
        ends = value if isinstance(value, (list, tuple)) else [value, value]
        if len(ends) != 2:
            self.note(key, f"This must be one number, or a list of two, the lower first, not {shown(value)}.")
            return None
        exact = [None if isinstance(end, float) else self._exact(end) for end in ends]
        low, high = exact
        if low is None or high is None or not (low > 0 or (zero_ok and low == 0)) or not 0 < high <= LARGEST_NUMBER:
            self.note(key, f'This must be a number above 0, or two such as ["1 1/2", 2], not {shown(value)}.')
            return None
        if high < low:
            self.note(key, "The high end of a range must not be below the low one.")
            return None
        return low, high

    def whole(self, key: str, most: int) -> int:
        """A required whole number from 1 to `most`."""
        value = self._asked(key, required=True)
        if isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= most:
            return value
        if value is not None:
            self.note(key, f"This must be a whole number from 1 to {most}, not {shown(value)}.")
        return 1

    def choices(self, key: str, allowed: Iterable[str], *, required: bool = False) -> tuple[str, ...]:
        """A list of words out of `allowed`, each once."""
        allowed = tuple(allowed)
        found: list[str] = []
        for i, item in enumerate(self._list(key, required)):
            if not isinstance(item, str) or item not in allowed:
                self.note(f"{key}[{i}]", f"This must be {one_of(allowed)}, not {shown(item)}.")
            elif item in found:
                self.note(f"{key}[{i}]", f"{item} stands here twice.")
            else:
                found.append(item)
        return tuple(found)

    def entries(self, key: str) -> list[tuple[str, object]]:
        """Each item of a required list with its key, such as ("steps[2]", ...), whatever it is."""
        return [(f"{key}[{i}]", item) for i, item in enumerate(self._list(key, required=True))]

    def below(self, key: str, table: Mapping[object, object]) -> Fields:
        """A table that stands under `key`."""
        return Fields(table, self.path(key), self._problems, self.edition)

    def flag(self, key: str) -> bool:
        value = self._asked(key, required=False)
        if value is not None and not isinstance(value, bool):
            self.note(key, f"This must be true or false, not {shown(value)}.")
        return value is True

    def table(self, key: str, *, required: bool = True) -> Fields | None:
        value = self._asked(key, required)
        if value is None:
            return None
        if not isinstance(value, Mapping):
            self.note(key, f"This must be a table of fields, not {shown(value)}.")
            return None
        return Fields(value, self.path(key), self._problems, self.edition)

    def tables(self, key: str, *, required: bool = True) -> list[Fields]:
        found = []
        for i, item in enumerate(self._list(key, required)):
            if isinstance(item, Mapping):
                found.append(Fields(item, f"{self.path(key)}[{i}]", self._problems, self.edition))
            else:
                self.note(f"{key}[{i}]", f"This must be a table of fields, not {shown(item)}.")
        return found

    def _list(self, key: str, required: bool) -> list[object]:
        value = self._asked(key, required)
        if value is None:
            return []
        if not isinstance(value, (list, tuple)):
            self.note(key, f"This must be a list, not {shown(value)}.")
            return []
        if required and not value:
            self.note(key, "This list is empty.")
        return list(value)


def one_of(allowed: Iterable[str]) -> str:
    """ "a, b or c", for a message; an empty choice is shown as two quotes."""
    names = [str(name) or '""' for name in allowed]
    return f"{', '.join(names[:-1])} or {names[-1]}" if len(names) > 1 else names[0]
