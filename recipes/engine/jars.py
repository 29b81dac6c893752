"""The mix of jars that takes a volume: least left over, then fewest canner loads, then fewest jars.

Exact within the bounds of `jar_search`. Jar sizes are whole multiples of a quarter-pint, so the search runs over
small integers: which sums can be reached is one bit each in a big integer, and the rest is branch and bound with two
relaxations.
Between equal mixes the one with more of the largest jar is taken, then of the next, and so on.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple

from recipes.engine.day_rules import day_refusal
from recipes.engine.jar_search import LEAST_TRIES, MOST_TRIES, Option, best_counts
from recipes.engine.loads import Capacity, Process, room_of
from recipes.engine.process import process_for
from recipes.engine.terms import Altitude, Canner, JarCount, Pack, ProcessRow, Refusal
from recipes.engine.units import JAR_ML, JAR_SIZES

UNIT_ML = JAR_ML["quarter-pint"]
JAR_UNITS: dict[str, int] = {size: int(ml / UNIT_ML) for size, ml in JAR_ML.items()}
FOR_REFRIGERATOR = "for the refrigerator"


class PartJar(NamedTuple):
    """The last jar, not full: never processed. `size` None: no empty jar is left that holds it."""

    size: str | None
    ml: Fraction
    use: str = FOR_REFRIGERATOR


class JarMix(NamedTuple):
    """Full jars to process, largest first, the canner loads that they need, and what is left over."""

    jars: tuple[JarCount, ...]
    loads: int
    leftover_ml: Fraction
    part_jar: PartJar | None

    @property
    def counts(self) -> dict[str, int]:
        return {jar.size: jar.count for jar in self.jars}


def sizes_allowed(
    rows: Sequence[ProcessRow], *, pack: Pack | None, canner: Canner | None, altitude: Altitude | None
) -> dict[str, Process]:
    """The process of each jar size that the table allows in this kitchen; sizes that it refuses are left out."""
    found = {
        size: process_for(rows, jar=size, pack=pack, canner=canner, altitude=altitude) for size in reversed(JAR_SIZES)
    }
    return {size: Process.of(process) for size, process in found.items() if not isinstance(process, Refusal)}


def jar_mix(
    volume_ml: Fraction | int,
    allowed: Mapping[str, Process | None],
    canner: Capacity,
    empties: Mapping[str, int] | None = None,
    *,
    most_tries: int = MOST_TRIES,
) -> JarMix | Refusal:
    """The best mix for a volume in millilitres.

    `allowed` names the sizes that may be filled and the process of each (None: kept cold, no process, no load).
    `empties` are the jars on hand by size; None means as many as wanted of every size. Raises `ValueError`
    for a volume below nothing.
    """
    if volume_ml < 0:
        raise ValueError("a volume is not less than nothing")
    target = int(volume_ml / UNIT_ML)
    options, room = _options(target, allowed, canner, empties)
    if not options:
        return _nothing_to_fill(allowed, canner, empties)
    best = best_counts(options, room, target, most_tries=most_tries)
    jars = tuple(JarCount(option.size, count) for option, count in zip(options, best.counts, strict=True) if count)
    leftover = volume_ml - sum((JAR_ML[jar.size] * jar.count for jar in jars), Fraction(0))
    return JarMix(jars, best.loads, leftover, _part_jar(leftover, jars, empties))


def jar_mixes(
    volume_ml: Fraction | int,
    pots: int,
    allowed: Mapping[str, Process | None],
    canner: Capacity,
    empties: Mapping[str, int] | None = None,
) -> tuple[JarMix, ...] | Refusal:
    """The best mix for each of so many pots of the same volume, one after the other from the empties left.

    Each pot is the best for what is on hand when its turn comes, since pots are filled one by one. A pot that comes
    to no empty jar at all is left over whole; it is refused only when that is so of the first.
    """
    left = dict(empties) if empties is not None else None
    found: list[JarMix] = []
    for _ in range(pots):
        mix = jar_mix(volume_ml, allowed, canner, left, most_tries=max(LEAST_TRIES, MOST_TRIES // pots))
        if isinstance(mix, Refusal):
            if not found:
                return mix
            mix = JarMix((), 0, Fraction(volume_ml), PartJar(None, Fraction(volume_ml)))
        found.append(mix)
        _take(left, mix)
    return tuple(found)


def _take(left: dict[str, int] | None, mix: JarMix) -> None:
    if left is None:
        return
    for size, count in mix.counts.items():
        left[size] -= count
    if mix.part_jar is not None and mix.part_jar.size is not None:
        left[mix.part_jar.size] -= 1


def _options(
    target: int, allowed: Mapping[str, Process | None], canner: Capacity, empties: Mapping[str, int] | None
) -> tuple[list[Option], int]:
    """What may be filled, largest jar first, and the room of the canner in the same units."""
    room, each = room_of(canner)
    groups = {process: index for index, process in enumerate(dict.fromkeys(allowed.values()))}
    options = []
    for size in reversed(JAR_SIZES):
        if size not in allowed or (empties is not None and empties.get(size, 0) < 1):
            continue
        process, most = allowed[size], target // JAR_UNITS[size]
        if process is not None and size not in each:
            continue
        most = most if empties is None else min(most, empties[size])
        options.append(Option(size, JAR_UNITS[size], most, groups[process], each[size] if process else 0))
    return options, room


def _nothing_to_fill(
    allowed: Mapping[str, Process | None], canner: Capacity, empties: Mapping[str, int] | None
) -> Refusal:
    if not allowed:
        return day_refusal("no-jar-tested", "LOAD-PROCESS", "No jar size has a tested process here. Freeze the food.")
    fitting = [size for size in JAR_SIZES if size in allowed and (allowed[size] is None or canner.holds(size))]
    if not fitting:
        return day_refusal(
            "no-jar-fits", "LOAD-CAPACITY", f"None of the jars that are tested goes into a canner for {canner.name}."
        )
    return day_refusal(
        "no-empties", "JAR-MIX", f"There is no empty jar that may be filled. Find some of: {', '.join(fitting)}."
    )


def _part_jar(leftover: Fraction, jars: Sequence[JarCount], empties: Mapping[str, int] | None) -> PartJar | None:
    """The smallest jar still empty that holds what is left over; any size does for the refrigerator."""
    if leftover <= 0:
        return None
    used = {jar.size: jar.count for jar in jars}
    for size in JAR_SIZES:
        spare = empties is None or empties.get(size, 0) > used.get(size, 0)
        if spare and JAR_ML[size] >= leftover:
            return PartJar(size, leftover)
    return PartJar(None, leftover)
