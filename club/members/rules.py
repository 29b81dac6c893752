"""Altitudes as people type and read them: the engine reads the text; here it becomes what the database holds. And
browsers as their owners know them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from django.utils.translation import gettext as _

from club.core.units import both
from club.members.choices import AltitudeDecides
from recipes.engine import altitude_from_text, band_text, find_band, sterilise_minutes
from recipes.engine.terms import Altitude

# Upper limits of the bands in feet; None: no limit. USDA Complete Guide to Home Canning (2015), the process tables of
# its guides 2 to 7: those for boiling water have these limits or fewer of them.
BANDS: dict[AltitudeDecides, tuple[int | None, ...]] = {
    AltitudeDecides.BOILING_WATER: (1000, 3000, 6000, None),
    AltitudeDecides.DIAL: (2000, 4000, 6000, 8000),
    AltitudeDecides.WEIGHTED: (1000, None),
}
STORED_STEPS_PER_METRE = 10_000  # four decimals: every whole foot is exact


def metres_from_text(text: str) -> Decimal:
    """The altitude that `text` ("1040 m", "3400 ft") says, in metres with four decimals.

    Raises the engine's AltitudeError. What four decimals cannot hold is rounded up: a kitchen is never taken
    for lower than it is, because a lower one gets a shorter process.
    """
    steps = math.ceil(altitude_from_text(text).metres * STORED_STEPS_PER_METRE)
    return Decimal(steps).scaleb(-4)


def altitude_words(altitude: Altitude) -> str:
    """Both units, as a safety figure is shown: "1,036.4 m (3,400 ft)". Rounded up to a tenth, never down."""
    return both(f"{_tenths_up(altitude.metres)} m", f"{_tenths_up(altitude.feet)} ft")


def altitude_as_typed(altitude: Altitude, *, prefer_feet: bool) -> tuple[str, str]:
    """Number and unit ("m" or "ft") that say this altitude exactly, for a form to show again.

    Feet only where they are preferred and exact to four decimals; metres always are.
    """
    in_feet = altitude.feet * STORED_STEPS_PER_METRE
    if prefer_feet and in_feet.denominator == 1:
        return _plain(Decimal(in_feet.numerator).scaleb(-4)), "ft"
    in_metres = altitude.metres * STORED_STEPS_PER_METRE
    return _plain(Decimal(math.ceil(in_metres)).scaleb(-4)), "m"


@dataclass(frozen=True)
class Lowered:
    """What another altitude may shorten or weaken, with the bands in words: from which to which."""

    what: AltitudeDecides
    before: str
    after: str


def lowered(before: Altitude, after: Altitude) -> Iterator[Lowered]:
    """Where `after` lies in a lower band than `before`: there a table gives fewer minutes or less pressure."""
    for what, limits in BANDS.items():
        was, now = _band(limits, before), _band(limits, after)
        if now < was:
            yield Lowered(what, _band_words(limits, was), _band_words(limits, now))
    if sterilise_minutes(after) < sterilise_minutes(before):
        yield Lowered(AltitudeDecides.STERILISING, str(sterilise_minutes(before)), str(sterilise_minutes(after)))


def _band(limits: tuple[int | None, ...], altitude: Altitude) -> int:
    place = find_band(limits, altitude)
    return place.index if place else len(limits)


def _band_words(limits: tuple[int | None, ...], index: int) -> str:
    """Above the last limit no table gives anything, and the words are the same as where there is none."""
    return band_text(limits[index - 1] if index else None, limits[index] if index < len(limits) else None)


def _tenths_up(value: Fraction) -> str:
    tenths = math.ceil(value * 10)
    return f"{Decimal(tenths).scaleb(-1):,.1f}".removesuffix(".0")


def _plain(value: Decimal) -> str:
    """Without trailing zeros, but never with just three decimals: the engine refuses "306.324", which some read as
    three hundred thousand, and takes "306.3240".
    """
    whole, _point, decimals = f"{value:.4f}".partition(".")
    kept = decimals.rstrip("0")
    if not kept:
        return whole
    return f"{whole}.{decimals if len(kept) == 3 else kept}"


# The first that is named in what a browser says of itself: many name several for old times' sake. Common practice, no
# source.
BROWSERS = (("Edg", "Edge"), ("OPR", "Opera"), ("Firefox", "Firefox"), ("Chrome", "Chrome"), ("Safari", "Safari"))
SYSTEMS = (
    ("Android", "Android"),
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Windows", "Windows"),
    ("Mac OS", "Mac"),
    ("CrOS", "ChromeOS"),
    ("Linux", "Linux"),
)


def device_words(user_agent: str) -> str:
    """ "Firefox, Android", or that it is unknown."""
    found = [next((name for mark, name in marks if mark in user_agent), "") for marks in (BROWSERS, SYSTEMS)]
    return ", ".join(filter(None, found)) or _("An unknown browser")
