"""What the card that is tied to a canner says: its setting, its parts, how it comes back."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from fractions import Fraction

from django.conf import settings
from django.utils.formats import date_format
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from club.core.papers import Card
from inventory.equipment.choices import Kind, Measure, Part, PartState, Verdict
from inventory.equipment.models import InstrumentTest, Thing
from recipes.choices import JARS
from recipes.engine import gauge_setting

BOX = "[\u00a0\u00a0\u00a0]"


def card_of(thing: Thing, today: date) -> Card:
    """`thing` with its tests, looks at its parts and home at hand. A card is of its day: the square leads to the page
    that knows the last test.
    """
    foot = _("%(club)s. Printed %(day)s; the square leads to its page, which knows what was found since.")
    return Card(
        code=thing.code,
        name=thing.name,
        parts=tuple(_parts(thing, today)),
        foot=foot % {"club": settings.CLUB_NAME, "day": _day(today)},
        url=settings.SITE_URL + thing.get_absolute_url(),
    )


def _parts(thing: Thing, today: date) -> Iterator[tuple[str, tuple[str, ...]]]:
    jars = ", ".join(f"{count} × {JARS.get(size, size)}" for size, count in thing.at_once.items())
    yield "", (capfirst(thing.get_kind_display()), *([jars] if jars else []))
    if setting := _setting(thing, today):
        yield _("Setting"), (setting,)
    if names := _part_names(thing):
        yield _("Parts: tick them out and back"), tuple(f"{BOX} {BOX} {name}" for name in names)
    yield _("How it comes back"), tuple(_return(thing))


def _setting(thing: Thing, today: date) -> str:
    """ "" for what has no gauge. A dial gauge goes by its last test alone: without a good one it is not used."""
    if thing.facts.measure != Measure.PSI:
        is_weighted = thing.kind == Kind.WEIGHTED_GAUGE
        return _("The weight that your plan names for your kitchen's altitude.") if is_weighted else ""
    test: InstrumentTest | None = next(iter(thing.tests.all()), None)
    if test is None or test.verdict != Verdict.PASSED or test.lapses_on <= today:
        return _("Dial gauge without a good test: it is not used until one is passed.")
    tested = _("Dial gauge, tested %(tested)s, good until %(lapses)s.")
    tested %= {"tested": _day(test.tested_on), "lapses": _day(test.lapses_on - timedelta(days=1))}
    more = gauge_setting(0, Fraction(test.reads_high))
    if more == 0:
        return f"{tested} {_('It must show at least the tested pressure of your plan.')}"
    high = _("It reads high: it must show the tested pressure of your plan and %(more)s psi more.")
    return f"{tested} {high % {'more': more}}"


def _part_names(thing: Thing) -> list[str]:
    """Those of its kind, but for what the last look found that it has none of."""
    look = next(iter(thing.parts_looks.all()), None)
    found = look.findings if look is not None else {}
    return [str(Part(part).label) for part in thing.facts.parts if found.get(part) != PartState.NONE]


def _return(thing: Thing) -> Iterator[str]:
    where = ", ".join(filter(None, [str(thing.home or ""), thing.place]))
    if where:
        yield _("Clean and dry, with all its parts, to %(place)s.") % {"place": where}
    else:
        yield _("Clean and dry, with all its parts, to the counter.")
    yield _("Say what is missing, bent or worn, also what you only suspect: nobody is blamed.")
    if thing.care:
        yield thing.care


def _day(day: date) -> str:
    return date_format(day, "j M Y")
