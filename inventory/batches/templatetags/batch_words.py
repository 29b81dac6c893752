"""Words and moments as the batch pages show them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from math import floor
from uuid import UUID, uuid4

from django import template
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from club.core.clock import zoned_text
from club.core.units import US, both
from club.members.rules import altitude_words
from inventory.batches.choices import Container
from inventory.batches.models import Batch, CannerBeside, SignedLog
from inventory.batches.rules import Need
from recipes.choices import CANNERS, JARS, METHODS, PACKS
from recipes.engine.terms import Altitude
from recipes.presentation import KPA_PER_PSI, pressure_text, setting_text

register = template.Library()

_WORDS = {**dict(Container.choices), **CANNERS, **METHODS, **PACKS, **JARS}


@register.filter
def word(value: object) -> str:
    """The trade's own word for a jar size, pack, method or canner; anything else as it is."""
    return str(_WORDS.get(str(value), value)) if value else ""


_LOOKED_AT = {
    "scum": gettext_lazy("Scum"),
    "cover": gettext_lazy("The food"),
    "smell": gettext_lazy("Smell"),
    "moisture": gettext_lazy("The lid and the pieces"),
}


@register.filter
def word_of_a_look(field: str) -> str:
    """What a field of a look asks about."""
    return str(_LOOKED_AT[field])


@register.filter(name="clock")
def clock_filter(moment: datetime | None) -> str:
    """ "14 Sep 2026, 18:30 MDT": the zone's letters tell the doubled hour of autumn apart."""
    return zoned_text(moment) if moment else ""


@register.filter(expects_localtime=True)
def machine_clock(moment: datetime) -> str:
    """ "2026-09-14T18:30:05-06:00", for the `datetime` of a time element: to the second, as nobody cooks by less."""
    return moment.isoformat(timespec="seconds")


@register.filter
def span(length: timedelta) -> str:
    """ "5 h 20 min"; from two days on whole days alone, rounded down."""
    minutes = int(length / timedelta(minutes=1))
    if length >= timedelta(days=2):
        return _("%(days)s days") % {"days": length.days}
    return _("%(hours)s h %(minutes)s min") % {"hours": minutes // 60, "minutes": minutes % 60}


@register.filter
def pressure(psi: int | None) -> str:
    """A tested pressure in both units, or nothing."""
    return "" if psi is None else pressure_text(psi)


@register.filter
def correction(need: Need, batch: Batch) -> str:
    """ "set 15 where the table says 13: this gauge reads 2 psi high", or nothing."""
    return setting_text(need.setting, need.psi, batch.reads_high)


@register.filter
def correction_beside(row: CannerBeside) -> str:
    """As `correction`, of a canner beside the first."""
    return setting_text(row.setting_psi, row.table_psi, row.reads_high)


@register.filter
def dialled(phone: str) -> str:
    """ "+3531234567" of "+353 1 234 567": what a telephone takes of a number as people write it."""
    digits = "".join(char for char in phone if char.isdecimal())
    return f"+{digits}" if phone.lstrip().startswith("+") else digits


@register.filter
def held(psi: Decimal | None) -> str:
    """A pressure that was read off a gauge, in both units; kilopascals rounded down, so that they never claim more."""
    if psi is None:
        return ""
    kpa = floor(Fraction(psi) * KPA_PER_PSI)
    return both(_("%(kpa)s kPa") % {"kpa": kpa}, _("%(psi)s psi") % {"psi": f"{psi:f}".removesuffix(".0")}, usual=US)


@register.filter(name="altitude")
def altitude_filter(altitude: Altitude) -> str:
    return altitude_words(altitude)


@register.filter
def percent(share: float) -> str:
    """A share of one in percent, to a whole number; the least above nothing is said as such."""
    return "<1" if 0 < share < 0.005 else str(round(100 * share))


@register.simple_tag
def press_token() -> UUID:
    """A new one for each button of a page: the same button sent twice is one press."""
    return uuid4()


@register.filter
def on_the_wall(moment: datetime) -> str:
    """ "14:30:05": for what is counted in minutes, to the second."""
    return f"{timezone.localtime(moment):%H:%M:%S}"


@register.filter
def minutes_words(minutes: int) -> str:
    """ "20 minutes", "12 hours"."""
    if minutes % 60 == 0 and minutes > 60:
        return ngettext("%(n)s hour", "%(n)s hours", minutes // 60) % {"n": minutes // 60}
    return ngettext("%(n)s minute", "%(n)s minutes", minutes) % {"n": minutes}


@register.filter
def of_key(counts: Mapping[str, int], key: str) -> int:
    """How many of it; 0 where it is not named."""
    return counts.get(key, 0)


@register.filter
def signed_figures(row: SignedLog) -> Iterator[tuple[str, str]]:
    """What a signed log says, line by line; what it does not say is left out."""
    yield _("Altitude"), altitude_words(Altitude(metres=Fraction(row.altitude_m)))
    if row.required_minutes is not None:
        needs = Need(row.required_minutes, row.required_psi, row.setting_psi)
        yield _("Tested process"), f"{minutes_words(needs.minutes)} {pressure(needs.setting or needs.psi)}".strip()
    yield _("Cooking began"), zoned_text(row.started_at)
    if row.process_started_at:
        yield _("Process began"), zoned_text(row.process_started_at)
    if row.minutes is not None:
        yield _("Processed"), f"{minutes_words(row.minutes)} {held(row.psi)}".strip()
    for code, psi in row.psi_beside.items():
        yield code, held(Decimal(psi))
    yield _("Jars came out"), zoned_text(row.jars_out_at)
    yield _("Jars filled"), ", ".join(f"{count} × {word(size)}" for size, count in row.jars.items())
    if row.headspace:
        yield _("Headspace"), row.get_headspace_display()
    if row.lid_lot is not None:
        yield _("Lid lot"), str(row.lid_lot)
