"""Text as it is kept."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from club.core.text import plain
from club.members.choices import Skill
from club.members.models import Kitchen
from inventory.equipment.choices import FACTS, NO_SKILL, Kind
from inventory.equipment.models import Thing
from inventory.equipment.rules import CODE_LENGTH, MOST_TURNAROUND_DAYS, code_key, code_written
from recipes.engine.quantities import JAR_SIZES

# What a thing is described by, cleaned field by field, with every problem told at once.

NAME_LENGTH, PLACE_LENGTH, NOTE_LENGTH, CARE_LENGTH = 120, 120, 200, 4000
MOST_JARS = 99
MOST_CENTS = 100_000_00


@dataclass(frozen=True)
class ThingFields:
    """What a thing is described by. An empty code asks for the next free one of its kind."""

    kind: str
    name: str
    code: str = ""
    capacity: Mapping[str, int] = field(default_factory=dict)
    home: Kitchen | None = None
    place: str = ""
    deposit_cents: int = 0
    deposit_note: str = ""
    care: str = ""
    turnaround_own: int | None = None
    skill_own: str = ""  # "": as its kind; NO_SKILL: none


def fields_of(thing: Thing) -> ThingFields:
    """What a thing is described by as it stands."""
    return ThingFields(**{one.name: getattr(thing, one.name) for one in dataclasses.fields(ThingFields)})


def code_used(code: str) -> ValidationError:
    return ValidationError({"code": _("Another thing has the code %(code)s, or had it.") % {"code": code}})


def cleaned_fields(fields: ThingFields, *, thing: Thing | None = None, known_codes: bool = False) -> dict[str, Any]:
    """The columns of a thing, or ValidationError with every problem by field.

    `known_codes`: the caller has looked the codes up, so none is asked for here; an import need not ask a thousand
    times.
    """
    problems: dict[str, list[str]] = {}
    cleaned: dict[str, Any] = {"home": fields.home}
    cleaners = _CLEANERS | ({"code": _code_only} if known_codes else {})
    for name, clean in cleaners.items():
        try:
            cleaned[name] = clean(fields, thing)
        except ValidationError as error:
            problems.setdefault(name, []).extend(error.messages)
    if problems:
        raise ValidationError(problems)
    return cleaned


def next_code(kind: str) -> str:
    """ "BWC-03" after "BWC-02"; numbers of retired things are not used again."""
    prefix = f"{FACTS[kind].prefix}-"
    used = Thing.objects.filter(code__startswith=prefix).values_list("code", flat=True)
    numbers = [int(tail) for code in used if (tail := code.removeprefix(prefix)).isdecimal()]
    return f"{prefix}{max(numbers, default=0) + 1:02d}"


def _code(fields: ThingFields, thing: Thing | None) -> str:
    if fields.kind not in Kind.values:
        return ""  # told as a problem of the kind
    if not fields.code.strip():
        return thing.code if thing else next_code(fields.kind)
    code = _code_only(fields, thing)
    others = Thing.objects.filter(code_key=code_key(code))
    if (others.exclude(pk=thing.pk) if thing else others).exists():
        raise code_used(code)
    return code


def _code_only(fields: ThingFields, thing: Thing | None) -> str:
    code = code_written(fields.code)
    if code is None:
        raise ValidationError(
            _("A code is made of letters A to Z, digits and dashes, at most %(n)s.") % {"n": CODE_LENGTH}
        )
    return code


def _kind(fields: ThingFields, thing: Thing | None) -> str:
    if fields.kind not in Kind.values:
        raise ValidationError(_("There is no kind called %(kind)s.") % {"kind": fields.kind or "''"})
    return fields.kind


def _name(fields: ThingFields, thing: Thing | None) -> str:
    name = plain(fields.name, field="name", longest=NAME_LENGTH)
    if not name:
        raise ValidationError(_("Write a name."))
    return name


def _capacity(fields: ThingFields, thing: Thing | None) -> dict[str, int]:
    for size, count in fields.capacity.items():
        if size not in JAR_SIZES:
            raise ValidationError(_("%(size)s is no jar size known here.") % {"size": size})
        if not 1 <= count <= MOST_JARS:
            raise ValidationError(_("%(size)s: from 1 to %(most)s jars.") % {"size": size, "most": MOST_JARS})
    return {size: fields.capacity[size] for size in JAR_SIZES if size in fields.capacity}


def _deposit(fields: ThingFields, thing: Thing | None) -> int:
    if not 0 <= fields.deposit_cents <= MOST_CENTS:
        raise ValidationError(_("A deposit is from 0 to 100,000."))
    return fields.deposit_cents


def _turnaround(fields: ThingFields, thing: Thing | None) -> int | None:
    if fields.turnaround_own is not None and not 0 <= fields.turnaround_own <= MOST_TURNAROUND_DAYS:
        raise ValidationError(_("From 0 to %(most)s days.") % {"most": MOST_TURNAROUND_DAYS})
    return fields.turnaround_own


def _skill(fields: ThingFields, thing: Thing | None) -> str:
    if fields.skill_own not in ("", NO_SKILL, *Skill.values):
        known = ", ".join((NO_SKILL, *Skill.values))
        raise ValidationError(_("There is no such skill. Leave it empty, or use one of: %(known)s.") % {"known": known})
    return fields.skill_own


def _care(fields: ThingFields, thing: Thing | None) -> str:
    text = fields.care.replace("\0", "").replace("\r\n", "\n").strip()
    if len(text) > CARE_LENGTH:
        raise ValidationError(_("At most %(n)s characters.") % {"n": CARE_LENGTH})
    return text


_CLEANERS: dict[str, Callable[[ThingFields, Thing | None], Any]] = {
    "kind": _kind,
    "code": _code,
    "name": _name,
    "capacity": _capacity,
    "place": lambda fields, thing: plain(fields.place, field="place", longest=PLACE_LENGTH),
    "deposit_cents": _deposit,
    "deposit_note": lambda fields, thing: plain(fields.deposit_note, field="deposit_note", longest=NOTE_LENGTH),
    "care": _care,
    "turnaround_own": _turnaround,
    "skill_own": _skill,
}
