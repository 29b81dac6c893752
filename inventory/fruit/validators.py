"""What is written of an offer or of a lot in the freezer, checked: one plain value, refused by field."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from club.core.clock import Doubled, WallTimeSkipped, club_day, moment_of
from club.core.text import plain
from club.members.models import Kitchen
from inventory.fruit import rules
from inventory.fruit.choices import FruitState
from inventory.fruit.models import ABOUT_LENGTH, NAME_LENGTH, NOTE_LENGTH, WHERE_LENGTH, FreezerState
from inventory.fruit.produce import CONTAINERS, FROZEN, OTHER, PRODUCE, container_weight, containers_words
from inventory.fruit.suggestions import produce_named

GONE_BY = gettext_lazy("That time has gone by. Choose one ahead.")
TOO_FAR = gettext_lazy("That is too far ahead: offer it nearer the day.")


@dataclass(frozen=True)
class Hours:
    """A day and hours on the club's wall clock."""

    day: date
    starts: time
    ends: time


@dataclass(frozen=True)
class OfferFields:
    """`amount` and `kept` are grams where there is no container, else containers; `each_g` what the giver weighed.

    Empty `use_by` and `closes_at`: as the room estimates them.
    """

    produce: str
    amount: int
    where: str
    windows: tuple[Hours, ...]
    container: str = ""
    each_g: int | None = None
    kept: int = 0
    name: str = ""
    state: str = FruitState.FRESH
    frozen_on: date | None = None
    about_where: str = ""
    use_by: date | None = None
    closes_at: datetime | None = None
    grown: str = ""
    note: str = ""


@dataclass(frozen=True)
class Window:
    hours: Hours
    starts_at: datetime
    ends_at: datetime


def offer_columns(fields: OfferFields, windows: Iterable[Window], now: datetime) -> dict[str, Any]:
    """The columns of Offer. ValidationError by field: produce, name, amount, each_g, kept, state, frozen_on, ..."""
    first = min(one.starts_at for one in windows)
    last = max(one.ends_at for one in windows)
    if fields.produce not in PRODUCE:
        raise ValidationError({"produce": _("Choose one of the list.")})
    name = plain(fields.name, field="name", longest=NAME_LENGTH)
    if fields.produce == OTHER and not name:
        raise ValidationError({"name": _("Say what it is.")})
    return {
        "produce": fields.produce,
        "name": name,
        **details_columns(where=fields.where, about_where=fields.about_where, grown=fields.grown, note=fields.note),
        **_state_columns(fields, club_day(now)),
        **_amount_columns(fields),
        **_use_by_columns(fields, club_day(first), club_day(now)),
        "closes_at": _closes_at(fields, first, last, now),
    }


def details_columns(*, where: str, about_where: str, grown: str, note: str) -> dict[str, str]:
    """What may be changed later: ValidationError by field."""
    place = plain(where, field="where", longest=WHERE_LENGTH)
    if not place:
        raise ValidationError({"where": _("Say where it is to be picked up. Only who gets a share will read it.")})
    return {
        "where": place,
        "about_where": plain(about_where, field="about_where", longest=ABOUT_LENGTH),
        "grown": plain(grown, field="grown", longest=WHERE_LENGTH),
        "note": plain(note, field="note", longest=NOTE_LENGTH),
    }


def windows_checked(windows: tuple[Hours, ...], now: datetime) -> list[Window]:
    """At least one, all ahead, none twice. ValidationError on `windows`."""
    if not windows:
        raise ValidationError({"windows": _("Say when it can be picked up, at least one day with its hours.")})
    if len(windows) > rules.MOST_WINDOWS:
        raise ValidationError({"windows": _("At most %(n)s times to pick up.") % {"n": rules.MOST_WINDOWS}})
    return [_window(one, now) for one in dict.fromkeys(windows)]


def _window(hours: Hours, now: datetime) -> Window:
    _day_check(hours.day, now)
    zone = timezone.get_default_timezone()
    try:
        starts_at, ends_at = (
            moment_of(hours.day, at, zone, doubled=Doubled.FIRST) for at in (hours.starts, hours.ends)
        )
    except WallTimeSkipped:
        text = _("The clocks change on that day and leave this hour out. Choose another.")
        raise ValidationError({"windows": text}) from None
    if ends_at <= starts_at:
        raise ValidationError({"windows": _("The pick-up ends before it begins.")})
    if starts_at <= now:
        raise ValidationError({"windows": GONE_BY})
    if starts_at > now + rules.FURTHEST_AHEAD:
        raise ValidationError({"windows": TOO_FAR})
    return Window(hours, starts_at, ends_at)


def _day_check(day: date, now: datetime) -> None:
    """Before its hours are looked at: at either end of the calendar UTC may have no date for them."""
    if day < club_day(now):
        raise ValidationError({"windows": GONE_BY})
    if day > club_day(now + rules.FURTHEST_AHEAD):
        raise ValidationError({"windows": TOO_FAR})


def _state_columns(fields: OfferFields, today: date) -> dict[str, Any]:
    if fields.state not in FruitState.values:
        raise ValidationError({"state": _("Choose one of the list.")})
    if fields.state != FROZEN:
        return {"state": fields.state, "frozen_on": None}
    if fields.frozen_on is None:
        raise ValidationError({"frozen_on": _("Say since when it is frozen.")})
    if fields.frozen_on > today:
        raise ValidationError({"frozen_on": _("That day has not come yet.")})
    return {"state": fields.state, "frozen_on": fields.frozen_on}


def _amount_columns(fields: OfferFields) -> dict[str, Any]:
    if fields.amount < 1:
        raise ValidationError({"amount": _("Say how much there is.")})
    if not 0 <= fields.kept < fields.amount:
        raise ValidationError({"kept": _("Keep back less than all of it.")})
    unit_g, source = (1, "") if not fields.container else _weighed(fields)
    if fields.amount > rules.MOST_UNITS * (1 if fields.container else rules.MOST_GRAMS):
        raise ValidationError({"amount": _("That is more than anybody picks. Check the figure.")})
    if fields.amount * unit_g > rules.MOST_GRAMS:
        raise ValidationError({"amount": _("That is more than anybody picks. Check the figure.")})
    return {
        "container": fields.container,
        "unit_g": unit_g,
        "weight_source": source,
        "units": fields.amount,
        "kept": fields.kept,
    }


def _weighed(fields: OfferFields) -> tuple[int, str]:
    """Grams in one container and where that is printed; what the giver weighed goes first."""
    if fields.container not in CONTAINERS:
        raise ValidationError({"amount": _("Choose one of the list.")})
    if fields.each_g is not None:
        if not 1 <= fields.each_g <= rules.MOST_GRAMS:
            raise ValidationError({"each_g": _("Weigh one full container and write that down.")})
        return fields.each_g, _("weighed by the giver")
    printed = container_weight(fields.produce, fields.container, fields.state)
    if printed is None:
        text = _("No table we know says what %(one)s of this weighs. Weigh one and write it here, or offer by weight.")
        raise ValidationError({"each_g": text % {"one": containers_words(fields.container, 1)}})
    return printed.grams, printed.source


def _use_by_columns(fields: OfferFields, first_day: date, today: date) -> dict[str, Any]:
    if fields.use_by is not None:
        return own_use_by(fields.use_by, today)
    estimate = rules.use_by_estimate(fields.produce, fields.state, fields.frozen_on or first_day)
    if estimate < today:
        text = _("It was frozen so long ago that it is past our estimate. If it is good still, say until when.")
        raise ValidationError({"use_by": text})
    return {"use_by": estimate, "has_own_use_by": False}


def own_use_by(use_by: date, today: date) -> dict[str, Any]:
    """The giver's own day; ValidationError on `use_by`."""
    if use_by < today:
        raise ValidationError({"use_by": _("That day has gone by: what is past its day is not offered.")})
    return {"use_by": use_by, "has_own_use_by": True}


def _closes_at(fields: OfferFields, first: datetime, last: datetime, now: datetime) -> datetime:
    if fields.closes_at is None:
        return rules.closing_moment(first, now)
    if fields.closes_at <= now:
        raise ValidationError({"closes_at": _("That time has gone by. Choose one ahead.")})
    if fields.closes_at > last - timedelta(minutes=1):
        raise ValidationError({"closes_at": _("Claims close before the last pick-up ends.")})
    return fields.closes_at


# A lot in the freezer

MOST_FREEZER_GRAMS = 500_000  # a slip of the pen beyond: half a tonne of one lot
MOST_BAGS = 999
OLDEST_FREEZER_YEARS = 10
FREEZER_LENGTHS = {"what": 80, "freezer": 60, "note": 200}


@dataclass(frozen=True)
class FreezerFields:
    """What is said of a lot. `bags` None: nobody counted."""

    kitchen: Kitchen
    what: str
    frozen_on: date
    grams: int
    bags: int | None = None
    state: str = FreezerState.FRUIT
    with_sugar: bool = False
    freezer: str = ""
    note: str = ""


def freezer_columns(fields: FreezerFields, today: date) -> dict[str, object]:
    """The columns of FreezerItem; ValidationError with every problem by its field."""
    problems: dict[str, str] = {}
    texts = {name: " ".join(getattr(fields, name).replace("\0", "").split()) for name in FREEZER_LENGTHS}
    for name, longest in FREEZER_LENGTHS.items():
        if len(texts[name]) > longest:
            problems[name] = _("At most %(n)s characters, please.") % {"n": longest}
    if not texts["what"]:
        problems["what"] = _("Say what it is.")
    if fields.state not in FreezerState.values:
        problems["state"] = _("Choose fruit, juice or purée.")
    if not 1 <= fields.grams <= MOST_FREEZER_GRAMS:
        problems["grams"] = _("Weigh it: from 1 gram to 500 kilograms.")
    if fields.bags is not None and not 1 <= fields.bags <= MOST_BAGS:
        problems["bags"] = _("Count the bags from 1 to 999, or leave it empty.")
    if fields.frozen_on > today:
        problems["frozen_on"] = _("That day has not come yet.")
    elif fields.frozen_on.year < today.year - OLDEST_FREEZER_YEARS:
        problems["frozen_on"] = _("That is more than ten years ago. Check the year.")
    if problems:
        raise ValidationError(problems)
    kept = {name: getattr(fields, name) for name in ("kitchen", "frozen_on", "grams", "bags", "state", "with_sugar")}
    return {**texts, **kept, "produce": produce_named(texts["what"])}
