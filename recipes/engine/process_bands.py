"""Altitude bands as printed in feet: which one a kitchen is in, and how near its limit it lies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import floor

from recipes.engine.rules import caution
from recipes.engine.terms import Altitude, Caution

NEAR_EDGE_M = 30


@dataclass(frozen=True)
class Place:
    """The band of an altitude: its index in the table, and its words."""

    index: int
    text: str


def find_band(limits: Sequence[int | None], altitude: Altitude) -> Place | None:
    """The first band whose upper limit (feet; None is no limit) is not exceeded; None above the last."""
    for index, upper in enumerate(limits):
        if upper is None or altitude.feet <= upper:
            return Place(index, band_text(limits[index - 1] if index else None, upper))
    return None


def band_text(below: int | None, upper: int | None) -> str:
    """ "1,001 to 6,000 ft (305 to 1,828 m)"; `below` is the limit of the band before, None for the first."""
    if upper is None:
        return f"above {below:,} ft (above {_metres(below):,} m)" if below else "every altitude"
    low_ft, low_m = (below + 1, _metres(below) + 1) if below else (0, 0)
    return f"{low_ft:,} to {upper:,} ft ({low_m:,} to {_metres(upper):,} m)"


def edge_caution(limits: Sequence[int | None], altitude: Altitude) -> tuple[Caution, ...]:
    """Cautions for an altitude just under a band's limit, and for one below the sea."""
    found = []
    if altitude.metres < 0:
        message = "This kitchen lies below sea level; the process of the lowest band is used as printed."
        found.append(caution("below-sea-level", "BELOW-SEA", message))
    for upper in limits:
        if upper is not None and 0 <= _gap_m(upper, altitude) < NEAR_EDGE_M:
            message = (
                f"This kitchen is within {NEAR_EDGE_M} m of the limit at {upper:,} ft. If its altitude is only "
                f"roughly known, use the next band up."
            )
            found.append(caution("near-band-edge", "ALTITUDE-EDGE", message))
    return tuple(found)


def _gap_m(upper_ft: int, altitude: Altitude) -> Fraction:
    return Altitude.from_feet(upper_ft).metres - altitude.metres


def _metres(feet: int | None) -> int:
    # Rounded down, so that the metres never promise more of a band than its feet.
    return floor(Altitude.from_feet(feet or 0).metres)
