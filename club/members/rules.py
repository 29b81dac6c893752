"""Altitudes as people type and read them. The engine reads the text; here it becomes what the database holds."""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction

from recipes.engine import altitude_from_text
from recipes.engine.terms import Altitude

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
    return f"{_tenths_up(altitude.metres)} m ({_tenths_up(altitude.feet)} ft)"


def altitude_as_typed(altitude: Altitude, *, prefer_feet: bool) -> tuple[str, str]:
    """Number and unit ("m" or "ft") that say this altitude exactly, for a form to show again.

    Feet only where they are preferred and exact to four decimals; metres always are.
    """
    in_feet = altitude.feet * STORED_STEPS_PER_METRE
    if prefer_feet and in_feet.denominator == 1:
        return _plain(Decimal(in_feet.numerator).scaleb(-4)), "ft"
    in_metres = altitude.metres * STORED_STEPS_PER_METRE
    return _plain(Decimal(math.ceil(in_metres)).scaleb(-4)), "m"


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
