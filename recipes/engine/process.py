"""Looking up a tested process: never computed, only found in the rows of a published table, or refused.

Every refusal says what to do and cites its rule. Bands are compared exactly, in feet as printed: a height above a
band's upper limit by any amount is in the next band.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil, floor
from typing import Any, NamedTuple

from recipes.engine.alternatives import same_item
from recipes.engine.messages import Text
from recipes.engine.physics import altitude_problem
from recipes.engine.quantities import JAR_ML, JAR_SIZES
from recipes.engine.rules import RULES
from recipes.engine.terms import (
    FOOT_M,
    Altitude,
    Canner,
    Caution,
    Method,
    Pack,
    PressureBand,
    ProcessRow,
    Refusal,
    Rule,
    Seen,
    TestedSource,
)

# The band of an altitude.

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
        found.append(Caution("below-sea-level", "BELOW-SEA"))
    for upper in limits:
        if upper is not None and 0 <= upper * FOOT_M - altitude.metres < NEAR_EDGE_M:
            found.append(Caution("near-band-edge", "ALTITUDE-EDGE", {"metres": NEAR_EDGE_M, "limit_ft": upper}))
    return tuple(found)


def _metres(feet: int) -> int:
    # Rounded down, so that the metres never promise more of a band than its feet.
    return floor(feet * FOOT_M)


# The rows of a table that a jar, a pack and a canner come down to. Only rows seen in print count; pack and canner are
# never guessed where more than one would do.

GAUGES = {Canner.DIAL_GAUGE: "dial", Canner.WEIGHTED_GAUGE: "weighted"}


class ProcessChoices(NamedTuple):
    """What the seen rows of a table allow. `jars` also holds smaller jars that a tested one serves."""

    packs: tuple[Pack, ...]
    jars: tuple[str, ...]
    tested_jars: tuple[str, ...]
    canners: tuple[Canner, ...]


def process_choices(
    recipe_rows: Sequence[ProcessRow], *, pack: Pack | None = None, canner: Canner | None = None
) -> ProcessChoices:
    """Packs, jars and canners that the seen rows allow, narrowed to a pack or a canner where one is given."""
    seen = [row for row in recipe_rows if row.seen.is_seen]
    rows = [row for row in seen if pack in (None, row.pack) and (canner is None or canner in canners_of(row))]
    tested = tuple(size for size in JAR_SIZES if any(row.jar == size for row in rows))
    largest = JAR_ML[tested[-1]] if tested else Fraction(0)
    return ProcessChoices(
        packs=tuple(kind for kind in Pack if any(row.pack is kind for row in rows)),
        jars=tuple(size for size in JAR_SIZES if JAR_ML[size] <= largest),
        tested_jars=tested,
        canners=tuple(kind for kind in Canner if any(kind in canners_of(row) for row in rows)),
    )


def canners_of(row: ProcessRow) -> tuple[Canner, ...]:
    if row.method is Method.BOILING_WATER:
        return (Canner.BOILING_WATER,)
    return tuple(canner for canner, bands in gauge_bands(row).items() if bands)


def gauge_bands(row: ProcessRow) -> dict[Canner, tuple[PressureBand, ...]]:
    return {Canner.DIAL_GAUGE: row.dial, Canner.WEIGHTED_GAUGE: row.weighted}


def rows_for(
    rows: Sequence[ProcessRow], *, jar: str, pack: Pack | None, canner: Canner | None, food: str | None = None
) -> tuple[list[ProcessRow], Canner] | Refusal:
    """The rows of one pack and one tested jar for the canner at hand. `food` is one that the rows are told apart by."""
    if jar not in JAR_ML:
        return Refusal("jar-unknown.named", "JAR-SIZE", {"jar": jar, "sizes": JAR_SIZES})
    seen = [row for row in rows if row.seen.is_seen]
    if not seen:
        return Refusal("process-not-seen" if rows else "no-process", "SEEN-ONLY")
    of_food = _of_food(seen, food)
    if isinstance(of_food, Refusal):
        return of_food
    narrowed = _narrowed(of_food, rows, jar=jar, pack=pack, canner=canner)
    if isinstance(narrowed, Refusal) and food is None and len(of_food) < len(seen):
        return _unnamed(seen)  # of another food there may well be such a row
    return narrowed


def _narrowed(
    of_food: list[ProcessRow], rows: Sequence[ProcessRow], *, jar: str, pack: Pack | None, canner: Canner | None
) -> tuple[list[ProcessRow], Canner] | Refusal:
    chosen = _choose_canner(of_food, canner)
    if isinstance(chosen, Refusal):
        return chosen
    for_canner = [row for row in of_food if chosen in canners_of(row)]
    packed = _choose_pack(for_canner, pack)
    if isinstance(packed, Refusal):
        return packed
    fitting = _choose_jar(packed, rows, jar, chosen)
    return fitting if isinstance(fitting, Refusal) else (fitting, chosen)


def _of_food(seen: list[ProcessRow], food: str | None) -> list[ProcessRow] | Refusal:
    """The rows for this food. A row for some foods only is for none that nobody named."""
    named = None if food is None else same_item(food)
    fitting = []
    for row in seen:
        only, never = (set(map(same_item, names)) for names in (row.only_for, row.not_for))
        if (not only and not never) or (named is not None and named not in never and (not only or named in only)):
            fitting.append(row)
    if fitting:
        return fitting
    return _unnamed(seen) if food is None else Refusal("food-not-tested", "ROW-FOODS", {"food": food})


def _unnamed(seen: Sequence[ProcessRow]) -> Refusal:
    names = tuple(dict.fromkeys(name for row in seen for name in (*row.only_for, *row.not_for)))
    return Refusal("food-unnamed", "ROW-FOODS", {"foods": names})


def _choose_canner(seen: Sequence[ProcessRow], canner: Canner | None) -> Canner | Refusal:
    possible = process_choices(seen).canners
    if canner is None and Canner.BOILING_WATER in possible:
        return Canner.BOILING_WATER
    if canner is None:
        return Refusal("canner-unknown", "GAUGE-KIND")
    if canner in possible:
        return canner
    return _canner_refusal(canner, possible)


def _canner_refusal(canner: Canner, possible: Sequence[Canner]) -> Refusal:
    if canner is Canner.BOILING_WATER:
        return Refusal("pressure-only", "LOWACID-METHOD")
    if list(possible) == [Canner.BOILING_WATER]:
        return Refusal("boiling-water-only", "TESTED-ONLY")
    return Refusal("gauge-not-tested", "GAUGE-KIND", {"gauge": GAUGES[canner]})


def _choose_pack(rows: list[ProcessRow], pack: Pack | None) -> list[ProcessRow] | Refusal:
    packs = process_choices(rows).packs
    names = tuple(kind.value for kind in packs)
    if pack is None and len(packs) > 1:
        return Refusal("pack-unknown", "PACK-TESTED", {"packs": names})
    if pack is not None and pack not in packs:
        return Refusal("pack-not-tested", "PACK-TESTED", {"pack": pack.value, "packs": names})
    return [row for row in rows if row.pack is (pack or packs[0])]


def _choose_jar(
    rows: list[ProcessRow], all_rows: Sequence[ProcessRow], jar: str, canner: Canner
) -> list[ProcessRow] | Refusal:
    """The rows of the smallest tested jar that is no smaller than the one asked for."""
    large_enough = [row for row in rows if JAR_ML[row.jar] >= JAR_ML[jar]]
    if large_enough:
        tested = min((row.jar for row in large_enough), key=lambda size: JAR_ML[size])
        return [row for row in large_enough if row.jar == tested]
    unseen = [row for row in all_rows if not row.seen.is_seen and row.pack is rows[0].pack]
    if any(canner in canners_of(row) and JAR_ML[row.jar] >= JAR_ML[jar] for row in unseen):
        return Refusal("process-not-seen.jar", "SEEN-ONLY", {"jar": jar, "tested": process_choices(rows).tested_jars})
    return Refusal("jar-too-large", "JAR-SIZE", {"jar": jar, "tested": process_choices(rows).tested_jars})


# The process for one kitchen.

VENT_MINUTES = 10
STERILISE_BELOW_MINUTES = 10


# Up to so much, high or low, the setting is corrected (PC-GAUGE-SETTING); beyond it the gauge is replaced.
MOST_GAUGE_ERROR_PSI = Fraction(2)
# From here on one source would have the gauge replaced already (PC-GAUGE-TOL): in dispute, so it is said.
DOUBTFUL_GAUGE_ERROR_PSI = Fraction(1)


def gauge_setting(table_psi: int, reads_high: Fraction | None) -> int:
    """What a dial gauge must show where the table says `table_psi`, in whole psi.

    `reads_high` is what the gauge showed above the truth at its last test, in psi; below zero it reads low, None: not
    known, or a weighted gauge. The table's pressure and the measured error, rounded up; never below the table.
    """
    return table_psi + max(0, ceil(reads_high or 0))


class PressureChoice(NamedTuple):
    """Another tested pressure for the same jar, pack and gauge; `setting_psi` is what this gauge must show for it."""

    minutes: int
    pressure_psi: int
    setting_psi: int


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
    reads_high: Fraction | None = None  # psi, of a dial gauge at its last test; None: not known, or no dial gauge
    in_steam: bool = False  # in an atmospheric steam canner, and not under water
    condition: str = ""  # what else the source makes it hang on
    dispute: str = ""  # what another publication prints

    @property
    def setting_psi(self) -> int | None:
        """What the gauge must show: the table's pressure, and what a dial gauge reads high."""
        return None if self.pressure_psi is None else gauge_setting(self.pressure_psi, self.reads_high)

    @property
    def canner(self) -> Canner:
        """The kind of canner that this process is for: its gauge says."""
        if self.method is Method.BOILING_WATER:
            return Canner.STEAM if self.in_steam else Canner.BOILING_WATER
        return Canner.DIAL_GAUGE if self.gauge == "dial" else Canner.WEIGHTED_GAUGE


class Process(NamedTuple):
    """What a canner load undergoes. Two jars may share a load when these are equal."""

    method: Method
    minutes: int
    pressure_psi: int | None = None  # None in boiling water
    setting_psi: int | None = None  # what the gauge must show for it

    @classmethod
    def of(cls, found: ProcessFound) -> Process:
        return cls(found.method, found.minutes, found.pressure_psi, found.setting_psi)

    @property
    def needs_sterile_jars(self) -> bool:
        """Whether empty jars are sterilised first: boiling water for less than 10 minutes (STERIL-NEEDED)."""
        return self.method is Method.BOILING_WATER and self.minutes < STERILISE_BELOW_MINUTES


def process_for(
    recipe_rows: Sequence[ProcessRow],
    *,
    jar: str,
    pack: Pack | None,
    canner: Canner | None,
    altitude: Altitude | None,
    reads_high: Fraction | None = None,
    food: str | None = None,
) -> ProcessFound | Refusal:
    """The tested process for this jar, pack, canner and altitude, or why there is none.

    The steps, each of which may refuse: 1 a known altitude; 2 rows seen in print, for this food; 3 a canner they are
    for; 4 one pack; 5 the jar or the next larger tested one; 6 the band of the altitude; 7 a dial gauge that
    `reads_high` (psi above the truth at its last test) by more than it may, or a steam canner for longer than it may.
    """
    if (problem := altitude_refusal(altitude)) is not None:
        return problem
    assert altitude is not None  # noqa: S101 - refused above
    with_water = Canner.BOILING_WATER if canner is Canner.STEAM else canner
    narrowed = rows_for(recipe_rows, jar=jar, pack=pack, canner=with_water, food=food)
    if isinstance(narrowed, Refusal):
        return narrowed
    rows, used_canner = narrowed
    if canner is Canner.STEAM:
        return _in_steam(_boiling_water(rows[0], jar, altitude))
    if used_canner is Canner.BOILING_WATER:
        return _boiling_water(rows[0], jar, altitude)
    return _pressure(rows, jar, used_canner, altitude, reads_high if used_canner is Canner.DIAL_GAUGE else None)


def altitude_refusal(altitude: Altitude | None) -> Refusal | None:
    """Why no process may be shown at this altitude, or None."""
    if altitude is None:
        return Refusal("altitude-unknown", "ALTITUDE-NEEDED")
    problem = altitude_problem(altitude)
    return None if problem is None else Refusal(problem.key, "ALTITUDE-RANGE")


def processes_for(
    recipe_rows: Sequence[ProcessRow],
    *,
    jar: str,
    pack: Pack | None,
    canner: Canner | None,
    altitude: Altitude | None,
    any_size: bool,
    reads_high: Fraction | None = None,
    food: str | None = None,
) -> dict[str, ProcessFound] | Refusal:
    """The process of this jar; with `any_size` of all that the same pack and canner allow, largest first."""
    kitchen: dict[str, Any] = {"altitude": altitude, "reads_high": reads_high, "food": food}
    found = process_for(recipe_rows, jar=jar, pack=pack, canner=canner, **kitchen)
    if isinstance(found, Refusal) or not any_size:
        return found if isinstance(found, Refusal) else {jar: found}
    return sizes_allowed(recipe_rows, pack=found.pack, canner=found.canner, **kitchen)


def sizes_allowed(
    recipe_rows: Sequence[ProcessRow],
    *,
    pack: Pack | None,
    canner: Canner | None,
    altitude: Altitude | None,
    reads_high: Fraction | None = None,
    food: str | None = None,
) -> dict[str, ProcessFound]:
    """The process of each jar size that the table allows in this kitchen, largest first; others are left out."""
    kitchen: dict[str, Any] = {"altitude": altitude, "reads_high": reads_high, "food": food}
    found = {
        size: process_for(recipe_rows, jar=size, pack=pack, canner=canner, **kitchen) for size in reversed(JAR_SIZES)
    }
    return {size: process for size, process in found.items() if not isinstance(process, Refusal)}


def sterilise_minutes(altitude: Altitude) -> int:
    """Minutes to boil empty jars: 10, and one more for each 1,000 ft begun above 1,000 ft (STERIL-TIME)."""
    return 10 + max(0, ceil((altitude.feet - 1000) / 1000))


def _boiling_water(row: ProcessRow, jar: str, altitude: Altitude) -> ProcessFound | Refusal:
    limits = [band.upper_ft for band in row.minutes_bands]
    place = find_band(limits, altitude)
    if place is None:
        return Refusal("altitude-above-table.minutes", "ALTITUDE-BANDS", {"limit_ft": limits[-1]})
    minutes = row.minutes_bands[place.index].minutes
    return _found(row, jar, minutes, None, None, place.text, edge_caution(limits, altitude))


# An atmospheric steam canner heats as boiling water does, for as long as its water lasts.
STEAM_MOST_MINUTES = 45


def _in_steam(found: ProcessFound | Refusal) -> ProcessFound | Refusal:
    """The same boiling-water time in steam (rule STEAM-LONGEST), or why not."""
    if isinstance(found, Refusal):
        return found
    if found.minutes > STEAM_MOST_MINUTES:
        return Refusal("steam-too-long", "STEAM-LONGEST", {"minutes": found.minutes, "most": STEAM_MOST_MINUTES})
    return replace(found, in_steam=True)


def gauge_refusal(reads_high: Fraction) -> Refusal | None:
    """Why a dial gauge that reads so many psi high (below zero: low) is not used, or None."""
    if abs(reads_high) <= MOST_GAUGE_ERROR_PSI:
        return None
    return Refusal("gauge-replaced", "PC-GAUGE-TOL", {"error": gauge_error(reads_high), "most": MOST_GAUGE_ERROR_PSI})


def gauge_error(reads_high: Fraction) -> Text:
    """ "0.5 psi high", "2 psi low"."""
    return Text("part.reads-low" if reads_high < 0 else "part.reads-high", {"psi": f"{float(abs(reads_high)):g}"})


def _pressure(
    rows: list[ProcessRow], jar: str, canner: Canner, altitude: Altitude, reads_high: Fraction | None
) -> ProcessFound | Refusal:
    """Of several tested pressures, the first by rule PRESSURE-CHOICE; the others are named beside it."""
    if reads_high is not None and (worn := gauge_refusal(reads_high)) is not None:
        return worn
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
    others = tuple(
        PressureChoice(other.minutes, psi, gauge_setting(psi, reads_high))
        for other in found[1:]
        if (psi := other.pressure_psi) is not None
    )
    return replace(found[0], others=others, reads_high=reads_high)


def _choice_order(row: ProcessRow, canner: Canner) -> tuple[bool, int, tuple[int, ...]]:
    bands = gauge_bands(row)[canner]
    return any(band.psi is None for band in bands), -(row.minutes or 0), tuple(band.psi or 0 for band in bands)


def _no_pressure(rows: Sequence[ProcessRow], canner: Canner) -> Refusal:
    bands = [band for row in rows for band in gauge_bands(row)[canner]]
    highest = max((band.upper_ft or 0 for band in bands if band.psi is not None), default=0)
    has_weighted = canner is Canner.DIAL_GAUGE and any(row.weighted for row in rows)
    return Refusal(
        "altitude-above-table.use-weighted" if has_weighted else "altitude-above-table.pressure",
        "GAUGE-KIND",
        {"gauge": GAUGES[canner], "limit_ft": highest},
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
        condition=row.condition,
        dispute=row.dispute,
    )
