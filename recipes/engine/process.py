"""Looking up a tested process: never computed, only found in the rows of a published table, or refused.

Every refusal says what to do and cites its rule. Bands are compared exactly, in feet as printed: a height
above a band's upper limit by any amount is in the next band.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil
from typing import NamedTuple

from recipes.engine.atmosphere import altitude_problem
from recipes.engine.process_bands import edge_caution, find_band
from recipes.engine.process_rows import GAUGES, ProcessChoices, gauge_bands, process_choices, rows_for
from recipes.engine.rules import RULES, refusal
from recipes.engine.terms import (
    Altitude,
    Canner,
    Caution,
    Method,
    Pack,
    ProcessRow,
    Refusal,
    Rule,
    Seen,
    TestedSource,
)

__all__ = [
    "PressureChoice",
    "ProcessChoices",
    "ProcessFound",
    "altitude_refusal",
    "needs_sterile_jars",
    "process_choices",
    "process_for",
    "sterilise_minutes",
]

VENT_MINUTES = 10
STERILISE_BELOW_MINUTES = 10


class PressureChoice(NamedTuple):
    """Another tested pressure for the same jar, pack and gauge."""

    minutes: int
    pressure_psi: int


@dataclass(frozen=True)
class ProcessFound:
    """One tested process for one kitchen. Boiling water has no pressure, gauge or venting."""

    method: Method
    minutes: int
    pressure_psi: int | None
    gauge: str | None  # "dial" or "weighted"
    band: str  # "1,001 to 6,000 ft (305 to 1,828 m)"
    pack: Pack
    jar: str
    tested_jar: str  # the jar the row was tested in: `jar` or the next larger one
    headspace_in: Fraction
    source: TestedSource
    seen: Seen
    vent_minutes: int
    rule: Rule
    cautions: tuple[Caution, ...] = ()
    others: tuple[PressureChoice, ...] = ()
    note: str = ""


def process_for(
    recipe_rows: Sequence[ProcessRow],
    *,
    jar: str,
    pack: Pack | None,
    canner: Canner | None,
    altitude: Altitude | None,
) -> ProcessFound | Refusal:
    """The tested process for this jar, pack, canner and altitude, or why there is none.

    The steps, each of which may refuse: 1 a known altitude; 2 rows seen in print; 3 a canner they are for;
    4 one pack; 5 the jar or the next larger tested one; 6 the band of the altitude.
    """
    if (problem := altitude_refusal(altitude)) is not None or altitude is None:
        return problem or refusal("altitude-unknown", "ALTITUDE-NEEDED", "The altitude is not known.")
    narrowed = rows_for(recipe_rows, jar=jar, pack=pack, canner=canner)
    if isinstance(narrowed, Refusal):
        return narrowed
    rows, used_canner = narrowed
    if used_canner is Canner.BOILING_WATER:
        return _boiling_water(rows[0], jar, altitude)
    return _pressure(rows, jar, used_canner, altitude)


def altitude_refusal(altitude: Altitude | None) -> Refusal | None:
    """Why no process may be shown at this altitude, or None."""
    if altitude is None:
        return refusal(
            "altitude-unknown",
            "ALTITUDE-NEEDED",
            "This kitchen's altitude is not known, so no time or pressure can be given. Find it on a map or "
            "with a phone, and enter it in metres or feet.",
        )
    if (problem := altitude_problem(altitude)) is not None:
        return refusal("altitude-out-of-range", "ALTITUDE-RANGE", problem)
    return None


def needs_sterile_jars(found: ProcessFound) -> bool:
    """Whether empty jars are sterilised first: boiling water for less than 10 minutes (STERIL-NEEDED)."""
    return found.method is Method.BOILING_WATER and found.minutes < STERILISE_BELOW_MINUTES


def sterilise_minutes(altitude: Altitude) -> int:
    """Minutes to boil empty jars: 10, and one more for each 1,000 ft begun above 1,000 ft (STERIL-TIME)."""
    return 10 + max(0, ceil((altitude.feet - 1000) / 1000))


def _boiling_water(row: ProcessRow, jar: str, altitude: Altitude) -> ProcessFound | Refusal:
    limits = [band.upper_ft for band in row.minutes_bands]
    place = find_band(limits, altitude)
    if place is None:
        return refusal(
            "altitude-above-table",
            "ALTITUDE-BANDS",
            f"The tested times end at {limits[-1]:,} ft. Take the jars to a lower kitchen, or freeze the food.",
        )
    minutes = row.minutes_bands[place.index].minutes
    return _found(row, jar, minutes, None, None, place.text, edge_caution(limits, altitude))


def _pressure(rows: list[ProcessRow], jar: str, canner: Canner, altitude: Altitude) -> ProcessFound | Refusal:
    """Of several tested pressures, the first by rule PRESSURE-CHOICE; the others are named beside it."""
    found = []
    for row in sorted(rows, key=lambda row: _choice_order(row, canner)):
        bands = gauge_bands(row)[canner]
        place = find_band([band.upper_ft for band in bands], altitude)
        psi = bands[place.index].psi if place else None
        if place is not None and psi is not None and row.minutes is not None:
            cautions = edge_caution([band.upper_ft for band in bands], altitude)
            found.append(_found(row, jar, row.minutes, psi, GAUGES[canner], place.text, cautions))
    if not found:
        return _no_pressure(rows, canner)
    others = tuple(PressureChoice(other.minutes, other.pressure_psi or 0) for other in found[1:])
    return replace(found[0], others=others)


def _choice_order(row: ProcessRow, canner: Canner) -> tuple[bool, int, tuple[int, ...]]:
    bands = gauge_bands(row)[canner]
    return any(band.psi is None for band in bands), -(row.minutes or 0), tuple(band.psi or 0 for band in bands)


def _no_pressure(rows: Sequence[ProcessRow], canner: Canner) -> Refusal:
    bands = [band for row in rows for band in gauge_bands(row)[canner]]
    highest = max((band.upper_ft or 0 for band in bands if band.psi is not None), default=0)
    other = " Use a weighted gauge." if canner is Canner.DIAL_GAUGE and any(row.weighted for row in rows) else ""
    return refusal(
        "altitude-above-table",
        "GAUGE-KIND",
        f"For a {GAUGES[canner]} gauge this is tested up to {highest:,} ft, and this kitchen is higher.{other}",
    )


def _found(
    row: ProcessRow,
    jar: str,
    minutes: int,
    psi: int | None,
    gauge: str | None,
    band: str,
    cautions: tuple[Caution, ...],
) -> ProcessFound:
    return ProcessFound(
        method=row.method,
        minutes=minutes,
        pressure_psi=psi,
        gauge=gauge,
        band=band,
        pack=row.pack,
        jar=jar,
        tested_jar=row.jar,
        headspace_in=row.headspace_in,
        source=row.source,
        seen=row.seen,
        vent_minutes=VENT_MINUTES if row.method is Method.PRESSURE else 0,
        rule=RULES["TESTED-ONLY"],
        cautions=cautions,
        note=row.note,
    )
