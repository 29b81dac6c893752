"""Which rows of a published table a jar, a pack and a canner come down to, or why none.

Only rows seen in print count. Pack and canner are never guessed where more than one would do.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from recipes.engine.rules import refusal
from recipes.engine.terms import Canner, Method, Pack, PressureBand, ProcessRow, Refusal
from recipes.engine.units import JAR_ML, JAR_SIZES

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
    rows: Sequence[ProcessRow], *, jar: str, pack: Pack | None, canner: Canner | None
) -> tuple[list[ProcessRow], Canner] | Refusal:
    """The rows of one pack and one tested jar for the canner at hand."""
    if jar not in JAR_ML:
        return refusal("jar-unknown", "JAR-SIZE", f"There is no jar size {jar!r}. Use one of: {', '.join(JAR_SIZES)}.")
    seen = [row for row in rows if row.seen.is_seen]
    if not seen:
        code, what = ("process-not-seen", "is not checked in print") if rows else ("no-process", "is not known")
        return refusal(code, "SEEN-ONLY", f"A tested process {what}. Do not keep this on a shelf; freeze it instead.")
    chosen = _choose_canner(seen, canner)
    if isinstance(chosen, Refusal):
        return chosen
    for_canner = [row for row in seen if chosen in canners_of(row)]
    packed = _choose_pack(for_canner, pack)
    if isinstance(packed, Refusal):
        return packed
    fitting = _choose_jar(packed, rows, jar, chosen)
    return fitting if isinstance(fitting, Refusal) else (fitting, chosen)


def _choose_canner(seen: Sequence[ProcessRow], canner: Canner | None) -> Canner | Refusal:
    possible = process_choices(seen).canners
    if canner is None and Canner.BOILING_WATER in possible:
        return Canner.BOILING_WATER
    if canner is None:
        return refusal(
            "canner-unknown",
            "GAUGE-KIND",
            "This is processed under pressure, and the pressure hangs on the gauge. Say whether the canner has a "
            "dial gauge or a weighted gauge.",
        )
    if canner in possible:
        return canner
    return _canner_refusal(canner, possible)


def _canner_refusal(canner: Canner, possible: Sequence[Canner]) -> Refusal:
    if canner is Canner.BOILING_WATER:
        return refusal(
            "pressure-only",
            "LOWACID-METHOD",
            "No boiling-water process is tested for this: boiling water cannot make it safe, however long. Use a "
            "pressure canner, or freeze it.",
        )
    if list(possible) == [Canner.BOILING_WATER]:
        return refusal(
            "boiling-water-only",
            "TESTED-ONLY",
            "Only a boiling-water process is tested for this. Use a boiling-water canner, or a pressure canner "
            "as a plain deep pot with its lid not locked.",
        )
    return refusal(
        "gauge-not-tested",
        "GAUGE-KIND",
        f"No pressure for a {GAUGES[canner]} gauge is printed for this. Use another canner.",
    )


def _choose_pack(rows: list[ProcessRow], pack: Pack | None) -> list[ProcessRow] | Refusal:
    packs = process_choices(rows).packs
    names = " or ".join(kind.value for kind in packs)
    if pack is None and len(packs) > 1:
        return refusal("pack-unknown", "PACK-TESTED", f"Say how the jars are packed: {names}. Each has its own time.")
    if pack is not None and pack not in packs:
        return refusal(
            "pack-not-tested", "PACK-TESTED", f"No {pack.value} pack is tested for this; {names} pack is. Use that."
        )
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
        return refusal(
            "process-not-seen",
            "SEEN-ONLY",
            f"The process for a {jar} jar is not checked in print. Use a jar that is: {_jar_names(rows)}.",
        )
    return refusal(
        "jar-too-large",
        "JAR-SIZE",
        f"A {jar} jar is larger than any tested for this. Use {_jar_names(rows)}, or a smaller jar.",
    )


def _jar_names(rows: Sequence[ProcessRow]) -> str:
    return " or ".join(process_choices(rows).tested_jars)
