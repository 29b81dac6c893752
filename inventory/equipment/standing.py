"""How a thing stands today, in a word or two for its tag."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from inventory.equipment.models import Thing
from inventory.equipment.words import ThingState, Verdict


@dataclass(frozen=True)
class Standing:
    """`look` is how the tag is coloured; the words say the same without colour."""

    look: Literal["go", "wait", "stop"]
    words: str | Promise
    until: date | None = None
    is_out: bool = False


def standing(thing: Any, today: date) -> Standing:
    """Of a row of `Thing.objects.with_standing(today)`."""
    if thing.state == ThingState.RETIRED:
        return Standing("stop", _("retired"))
    if thing.out_until is not None:
        if thing.out_until < today:
            return Standing("stop", _("overdue since"), thing.out_until, True)
        return Standing("wait", _("out until"), thing.out_until, True)
    if thing.state == ThingState.IN_REPAIR:
        return Standing("stop", _("in repair"))
    if thing.missing_parts:
        return Standing("stop", _("part missing"))
    if words := what_test_wants(thing, today):
        return Standing("stop", words)
    if thing.is_taken_today:
        return Standing("wait", _("held today"))
    return Standing("go", _("free today"))


def what_test_wants(thing: Any, day: date) -> str | Promise:
    """Why an instrument must not be out on `day`, or nothing. Of a row of `with_standing`."""
    if thing.facts.measure is None:
        return ""
    if thing.test_lapses_on is None:
        return _("not tested yet")
    if thing.test_verdict == Verdict.FAILED:
        return _("failed its test")
    return _("test lapsed") if thing.test_lapses_on <= day else ""


def with_standing(things: Any, today: date) -> list[Thing]:
    rows = list(things)
    for thing in rows:
        thing.standing = standing(thing, today)
    return rows
