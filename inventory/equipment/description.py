"""What a thing is described by, declared once: the form, the services and the register all go by `ThingFields`.

A new field is a column of `Thing` with its migration, an entry here with its check and its place in the register, and
what its page shows of it. `ThingForm` has it from both.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import CharField
from django.utils.translation import gettext as _

from club.core.money import cents_typed, money_text, money_words
from club.core.text import plain
from club.members.choices import Skill
from club.members.models import Kitchen
from inventory.equipment.choices import FACTS, NO_SKILL, Kind
from inventory.equipment.models import Thing
from inventory.equipment.rules import (
    CARE_LENGTH,
    CODE_LENGTH,
    MOST_CENTS,
    MOST_JARS,
    MOST_TURNAROUND_DAYS,
    code_key,
    code_written,
)
from recipes.engine.quantities import JAR_SIZES

Cell = str | int | date | None
Halls = Mapping[str, Kitchen]  # by name in small letters

# How each field is checked: the value as it is kept, or a ValidationError.


def _clean_code(text: str) -> str:
    code = code_written(text)
    if code is None:
        raise ValidationError(
            _("A code is made of letters A to Z, digits and dashes, at most %(n)s.") % {"n": CODE_LENGTH}
        )
    return code


def _clean_kind(kind: str) -> str:
    if kind not in Kind.values:
        raise ValidationError(_("There is no kind called %(kind)s.") % {"kind": kind or "''"})
    return kind


def _line(name: str) -> Callable[[str], str]:
    """One line, as long as the column takes."""
    column = Thing._meta.get_field(name)
    assert isinstance(column, CharField)
    assert column.max_length
    return partial(plain, field=name, longest=column.max_length)


def _clean_name(text: str) -> str:
    name = _line("name")(text)
    if not name:
        raise ValidationError(_("Write a name."))
    return name


def _clean_capacity(capacity: Mapping[str, int]) -> dict[str, int]:
    for size, count in capacity.items():
        if size not in JAR_SIZES:
            raise ValidationError(_("%(size)s is no jar size known here.") % {"size": size})
        if not 1 <= count <= MOST_JARS:
            raise ValidationError(_("%(size)s: from 1 to %(most)s jars.") % {"size": size, "most": MOST_JARS})
    return {size: capacity[size] for size in JAR_SIZES if size in capacity}


def _clean_two_layers(sizes: Sequence[str]) -> list[str]:
    if unknown := [size for size in sizes if size not in JAR_SIZES]:
        raise ValidationError(_("%(size)s is no jar size known here.") % {"size": unknown[0]})
    return [size for size in JAR_SIZES if size in sizes]


def _clean_deposit(cents: int) -> int:
    if not 0 <= cents <= MOST_CENTS:
        raise ValidationError(_("A deposit is from 0 to %(most)s.") % {"most": money_text(MOST_CENTS)})
    return cents


def _clean_turnaround(days: int | None) -> int | None:
    if days is not None and not 0 <= days <= MOST_TURNAROUND_DAYS:
        raise ValidationError(_("From 0 to %(most)s days.") % {"most": MOST_TURNAROUND_DAYS})
    return days


def _clean_skill(skill: str) -> str:
    if skill not in ("", NO_SKILL, *Skill.values):
        known = ", ".join((NO_SKILL, *Skill.values))
        raise ValidationError(_("There is no such skill. Leave it empty, or use one of: %(known)s.") % {"known": known})
    return skill


def _clean_care(care: str) -> str:
    text = care.replace("\0", "").replace("\r\n", "\n").strip()
    if len(text) > CARE_LENGTH:
        raise ValidationError(_("At most %(n)s characters.") % {"n": CARE_LENGTH})
    return text


# How a cell of the register is read.


class UnreadableError(ValueError):
    """What a cell should have been."""


def _read_text(text: str, halls: Halls) -> str:
    return text


def _read_kind(text: str, halls: Halls) -> str:
    return _KINDS.get(text.lower(), text)


def _read_number(text: str, halls: Halls) -> int | None:
    if text and not (text.isascii() and text.isdecimal() and len(text) < 7):
        raise UnreadableError(_("A whole number is wanted, not %(text)s.") % {"text": text[:40]})
    return int(text) if text else None


def _read_sizes(text: str, halls: Halls) -> list[str]:
    return [size for size in re.split(r"[,;\s]+", text.lower()) if size]


def _read_hall(text: str, halls: Halls) -> Kitchen | None:
    if text and text.lower() not in halls:
        raise UnreadableError(_("There is no hall called %(name)s.") % {"name": text[:60]})
    return halls.get(text.lower())


def _read_cents(text: str, halls: Halls) -> int:
    cents = cents_typed(text)
    if cents is None:
        raise UnreadableError(_("A sum such as 20 or 20.50 is wanted."))
    return cents


_KINDS = {str(value): value for value in Kind.values} | {str(label).lower(): value for value, label in Kind.choices}


@dataclass(frozen=True)
class Column:
    """A column of the register: its heading, how its text is read and how its field is written."""

    heading: str
    read: Callable[[str, Halls], Any] = _read_text
    write: Callable[[Any], Cell] = lambda value: value  # text or a number already
    key: str = ""  # where a field fills several columns: which entry of it


def described(*columns: Column, clean: Callable[[Any], Any], **default: Any) -> Any:
    """A field of ThingFields, with how it is checked and where it stands in the register."""
    return dataclasses.field(metadata={"columns": columns, "clean": clean}, **default)


@dataclass(frozen=True, kw_only=True)
class ThingFields:
    """What a thing is described by. An empty code asks for the next free one of its kind."""

    code: str = described(Column("code"), clean=_clean_code, default="")
    kind: str = described(Column("kind", _read_kind), clean=_clean_kind)
    name: str = described(Column("name"), clean=_clean_name)
    home: Kitchen | None = described(
        Column("home", _read_hall, lambda home: home.name if home else ""), clean=lambda home: home, default=None
    )
    place: str = described(Column("place"), clean=_line("place"), default="")
    deposit_cents: int = described(
        Column("deposit", _read_cents, lambda cents: money_words(cents) if cents else ""),
        clean=_clean_deposit,
        default=0,
    )
    deposit_note: str = described(Column("deposit_note"), clean=_line("deposit_note"), default="")
    turnaround_own: int | None = described(
        Column("days_for_cleaning", _read_number), clean=_clean_turnaround, default=None
    )
    # "": as its kind; NO_SKILL: none
    skill_own: str = described(Column("skill", lambda text, halls: text.lower()), clean=_clean_skill, default="")
    capacity: Mapping[str, int] = described(
        *(Column(f"jars_{size.replace('-', '_')}", _read_number, key=size) for size in JAR_SIZES),
        clean=_clean_capacity,
        default_factory=dict,
    )
    # Sizes that stand in it two layers deep.
    two_layers: Sequence[str] = described(
        Column("two_layers", _read_sizes, ", ".join), clean=_clean_two_layers, default_factory=list
    )
    care: str = described(Column("care"), clean=_clean_care, default="")


FIELDS = {field.name: field for field in dataclasses.fields(ThingFields)}
# Each column of the register by its heading, with the field it fills.
COLUMNS: dict[str, tuple[str, Column]] = {
    column.heading: (name, column) for name, field in FIELDS.items() for column in field.metadata["columns"]
}
# The headings that a problem of a field is told by.
HEADING_OF = {
    name: columns[0].heading if len(columns) == 1 else "jars_*"
    for name, field in FIELDS.items()
    if (columns := field.metadata["columns"])
}


def fields_of(thing: Thing) -> ThingFields:
    """What a thing is described by as it stands."""
    return ThingFields(**{name: getattr(thing, name) for name in FIELDS})


def code_used(code: str) -> ValidationError:
    return ValidationError({"code": _("Another thing has the code %(code)s, or had it.") % {"code": code}})


def cleaned_fields(fields: ThingFields, *, thing: Thing | None = None, known_codes: bool = False) -> dict[str, Any]:
    """The columns of a thing, or ValidationError with every problem by field.

    `known_codes`: the caller has looked the codes up, so none is asked for here; an import need not ask a thousand
    times.
    """
    problems: dict[str, list[str]] = {}
    cleaned: dict[str, Any] = {}
    for name, field in FIELDS.items():
        try:
            if name == "code" and not known_codes:
                cleaned[name] = _free_code(fields, thing)
            else:
                cleaned[name] = field.metadata["clean"](getattr(fields, name))
        except ValidationError as error:
            problems[name] = error.messages
    if problems:
        raise ValidationError(problems)
    return cleaned


def next_code(beginning: str) -> str:
    """ "BWC-03" after "BWC-02", for the beginning "BWC"; numbers of retired things are not used again."""
    prefix = f"{beginning}-"
    used = Thing.everything.filter(code__startswith=prefix).values_list("code", flat=True)
    numbers = [int(tail) for code in used if (tail := code.removeprefix(prefix)).isdecimal()]
    return f"{prefix}{max(numbers, default=0) + 1:02d}"


def _free_code(fields: ThingFields, thing: Thing | None) -> str:
    """The code as it is written, else the one it has, else the next free one."""
    if fields.kind not in Kind.values:
        return ""  # told as a problem of the kind
    if not fields.code.strip():
        return thing.code if thing else next_code(FACTS[fields.kind].prefix)
    code = _clean_code(fields.code)
    others = Thing.everything.filter(code_key=code_key(code))
    if (others.exclude(pk=thing.pk) if thing else others).exists():
        raise code_used(code)
    return code
