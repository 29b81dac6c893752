"""The mix of jars that takes a volume: least left over, then fewest canner loads, then fewest jars.

Between equal mixes the one with more of the largest jar is taken, then of the next, and so on. Jar sizes are whole
multiples of a quarter-pint, so the search runs over small integers: which sums can be reached is one bit each in a big
integer, and the rest is branch and bound with two relaxations. It is exact, unless it takes more than MOST_TRIES: then
the best found so far is taken. What is left over is the least either way; only there may be a load fewer.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple

from recipes.engine.loads import Capacity, Process, fewest_loads, room_of
from recipes.engine.process import process_for
from recipes.engine.quantities import JAR_ML, JAR_SIZES
from recipes.engine.rules import day_refusal
from recipes.engine.terms import Altitude, Canner, JarCount, Pack, ProcessRow, Refusal

# The search: bounded counts that reach a sum.

MOST_TRIES = 20_000  # counts of one size that are looked at for all pots of a plan; two hundred jars take some fifty
LEAST_TRIES = 200  # for each pot, however many there are
LOADING = 50  # what a whole mix counts for, with its loads


class Option(NamedTuple):
    """A jar that may be filled: its volume in units, how many at most, and what it takes of a canner."""

    size: str
    units: int
    most: int
    group: int  # jars of one group may share a load
    room: int  # of one jar, in the canner's units; 0 where there is no process


class Best(NamedTuple):
    counts: tuple[int, ...]  # in the order of the options
    loads: int


def best_counts(options: Sequence[Option], room: int, target: int, *, most_tries: int = MOST_TRIES) -> Best:
    """Counts whose units come nearest to the target from below, with fewest loads, then fewest jars.

    The options stand largest first, so that the first of equal answers has more of the larger jars.
    """
    search = _Search(options, room, target, most_tries)
    search.visit(0, search.reached[0].bit_length() - 1, 0)
    return Best(search.best, search.fewest[0])


class _Search:
    """Depth first over the options, most of the largest jar first; cut off where two relaxations say no better."""

    def __init__(self, options: Sequence[Option], room: int, target: int, most_tries: int) -> None:
        self.options, self.room, self.tries_left = options, room, most_tries
        self.reached = _reached(options, target)
        # From each option on: the others in order of the room that they take for their volume.
        self.cheapest = [
            sorted(options[first:], key=lambda option: option.room / option.units) for first in range(len(options))
        ]
        self.last_of_group = {option.group: index for index, option in enumerate(options)}
        self.counts = [0] * len(options)
        self.best: tuple[int, ...] = ()
        self.fewest = (1 << 60, 1 << 60)  # loads, jars

    def visit(self, index: int, units: int, jars: int) -> None:
        """Try every count of the option at `index`, with so many units still to fill."""
        if index == len(self.options):
            self.tries_left -= LOADING
            key = (self.loads(), jars)
            if key < self.fewest:
                self.fewest, self.best = key, tuple(self.counts)
            return
        option, onward = self.options[index], self.reached[index + 1]
        for count in range(min(option.most, units // option.units), -1, -1):
            self.tries_left -= 1
            if self.tries_left < 0 and self.best:
                break
            left = units - count * option.units
            if not onward >> left & 1:
                continue
            self.counts[index] = count
            fewest_jars = jars + count + self.jars_at_least(index + 1, left)
            least_loads = self.loads_at_least(index + 1, left)
            if (least_loads, fewest_jars) < self.fewest:
                self.visit(index + 1, left, jars + count)
        self.counts[index] = 0

    def jars_at_least(self, index: int, units: int) -> int:
        """Fill up with the largest jars, the last one in part."""
        jars = 0
        for option in self.options[index:]:
            if units <= option.most * option.units:
                return jars - (-units // option.units)
            jars += option.most
            units -= option.most * option.units
        return jars

    def loads_at_least(self, index: int, units: int) -> int:
        """Whole loads of the groups already counted out, and for the others the room that they need at least."""
        rooms = self.rooms_by_group(index)
        closed = [rooms[group] for group in rooms if self.last_of_group[group] < index]
        open_rooms = [rooms[group] for group in rooms if self.last_of_group[group] >= index]
        apart = sum(-(-taken // self.room) for taken in open_rooms)
        together = sum(open_rooms)
        for option in self.cheapest[index] if index < len(self.options) else ():
            most = option.most * option.units
            if units <= most:
                together -= -(units * option.room) // option.units
                break
            together += option.most * option.room
            units -= most
        return sum(-(-taken // self.room) for taken in closed) + max(apart, -(-together // self.room))

    def rooms_by_group(self, index: int) -> dict[int, int]:
        rooms: dict[int, int] = {}
        for option, count in zip(self.options[:index], self.counts, strict=False):
            rooms[option.group] = rooms.get(option.group, 0) + count * option.room
        return rooms

    def loads(self) -> int:
        """The true number of loads of the counts as they stand."""
        groups: dict[int, dict[int, int]] = {}
        for option, count in zip(self.options, self.counts, strict=True):
            if count and option.room:
                rooms = groups.setdefault(option.group, {})
                rooms[option.room] = rooms.get(option.room, 0) + count
        return sum(fewest_loads(rooms, self.room) for rooms in groups.values())


def _reached(options: Sequence[Option], target: int) -> list[int]:
    """For each option on to the last: bit n is set when exactly n units can be filled with them."""
    within = (1 << target + 1) - 1
    reached = [1]
    for option in reversed(options):
        bits, left, step = reached[-1], option.most, 1
        while left:  # counts by doubling: 1, 2, 4 ... and what remains
            step = min(step, left)
            bits |= bits << step * option.units
            left -= step
            step *= 2
        reached.append(bits & within)
    return reached[::-1]


# The mix.

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
