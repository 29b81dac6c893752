"""Jars: which of them take a volume, and which go into the canner together.

Jars share a load only when their process is the same in every figure. A load holds full counts of one size first; what
is left of several sizes goes in together, each jar taking its fraction of the canner (a quart in a canner of seven
takes a seventh). One layer only.

The mix of jars leaves least over, then needs fewest canner loads, then fewest jars; between equal mixes the one with
more of the largest jar is taken, then of the next, and so on. Jar sizes are whole multiples of a quarter-pint, so the
search runs over small integers: which sums can be reached is one bit each in a big integer, and the rest is branch and
bound with two relaxations. It is exact, unless it takes more than MOST_TRIES: then the best found so far is taken. What
is left over is the least either way; only there may be a load fewer.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from functools import lru_cache
from math import lcm
from typing import NamedTuple

from recipes.engine.process import Process
from recipes.engine.quantities import JAR_ML, JAR_SIZES
from recipes.engine.rules import EQUIPMENT, NO_SOURCE
from recipes.engine.terms import JarCount, Refusal

# Canner loads.


class Capacity(NamedTuple):
    """How many jars of each size stand in one layer of a canner; a size not named does not go in."""

    name: str
    jars: tuple[JarCount, ...]
    source: str

    def holds(self, size: str) -> int:
        return next((jar.count for jar in self.jars if jar.size == size), 0)


class Load(NamedTuple):
    """Jars that are processed together. `filled` is the part of the canner that they take, at most 1."""

    process: Process
    jars: tuple[JarCount, ...]
    filled: Fraction


def capacity(name: str, source: str, **jars: int) -> Capacity:
    """A canner of these counts; `half_pint=12` stands for the size "half-pint"."""
    counts = {size.replace("_", "-"): count for size, count in jars.items()}
    if unknown := counts.keys() - JAR_ML.keys():
        raise ValueError(f"no such jar: {', '.join(sorted(unknown))}")
    if min(counts.values(), default=0) < 1:
        raise ValueError("a canner holds at least one jar of each size that it names")
    return Capacity(name, tuple(JarCount(size, counts[size]) for size in JAR_SIZES if size in counts), source)


# The guide prints quarts and pints. Other sizes: as many as of the next larger size that is printed, half-pints
# apart; a half-gallon is too tall for either.
SEVEN_QUART = capacity(
    "seven quarts",
    f"quarts and pints: {EQUIPMENT}; other sizes: {NO_SOURCE}",
    quarter_pint=12,
    half_pint=12,
    twelve_ounce=9,
    pint=9,
    pint_and_half=7,
    quart=7,
)
FOUR_QUART = capacity(
    "four quarts",
    f"quarts: {EQUIPMENT}; other sizes: {NO_SOURCE}",
    quarter_pint=8,
    half_pint=8,
    twelve_ounce=7,
    pint=7,
    pint_and_half=4,
    quart=4,
)


MOST_LOADS = 60  # of one plan, as rule ONE-DAY has it; one for each of the most pots that a plan holds
MOST_FITS = 400  # ways to load what is left of several sizes that are tried; usual canners need far fewer


def canner_loads(
    jars: Mapping[str, int], processes: Mapping[str, Process], canner: Capacity
) -> tuple[Load, ...] | Refusal:
    """The fewest loads for these jars, largest sizes first. `processes` names the process of each size."""
    sizes = [size for size in reversed(JAR_SIZES) if jars.get(size, 0) > 0]
    for size in sizes:
        if size not in processes:
            return Refusal("jar-not-tested", "LOAD-PROCESS", {"jar": size})
        if not canner.holds(size):
            return Refusal("jar-not-in-canner", "LOAD-CAPACITY", {"jar": size, "canner": canner.name})
    found: list[Load] = []
    for process in dict.fromkeys(processes[size] for size in sizes):
        group = [JarCount(size, jars[size]) for size in sizes if processes[size] == process]
        found += _loads_of_one_process(process, group, canner)
    return tuple(found)


def loads_at_least(jars: Mapping[str, int], processes: Mapping[str, Process], canner: Capacity) -> int:
    """The loads that these jars need at the very least, by their room alone; what does not go in counts for none.

    One division for each process, however many jars there are.
    """
    room, each = room_of(canner)
    taken: dict[Process, int] = {}
    for size, count in jars.items():
        if size in each and size in processes:
            taken[processes[size]] = taken.get(processes[size], 0) + each[size] * count
    return sum(-(-needed // room) for needed in taken.values())


def room_of(canner: Capacity) -> tuple[int, dict[str, int]]:
    """The canner's room in the smallest whole units that count every jar, and the room of one jar by size."""
    room = lcm(*(jar.count for jar in canner.jars))
    return room, {jar.size: room // jar.count for jar in canner.jars}


def fewest_loads(counts: Mapping[int, int], room: int) -> int:
    """The loads that jars of one process need, from how many there are by the room that one takes."""
    full, rest = 0, []
    for each in sorted(counts, reverse=True):
        loads, over = divmod(counts[each], room // each)
        full += loads
        if over:
            rest.append((each, over))
    return full + len(share_out(tuple(rest), room)) if len(rest) > 1 else full + len(rest)


@lru_cache(maxsize=4096)
def share_out(rest: tuple[tuple[int, int], ...], room: int) -> tuple[tuple[int, ...], ...]:
    """The fewest loads for (room of one jar, count), largest first; each load as counts in the same order.

    After MOST_FITS tries the jars are put in largest first, each where it fits: every load is as sound, and there may
    be one more than was needed. Only canners of odd sizes come to that.
    """
    each, counts = tuple(kind[0] for kind in rest), tuple(kind[1] for kind in rest)
    loads, packing = -(-_sum(each, counts) // room), _Packing(each, room)
    try:
        while (found := packing.fit(counts, loads)) is None:
            loads += 1
    except _TooManyWays:
        return _largest_first(each, counts, room)
    return found


class _TooManyWays(Exception):
    """A search that would take too long."""


class _Packing:
    """The exact search for one canner, with what it has found so far and how much it has tried."""

    def __init__(self, each: tuple[int, ...], room: int) -> None:
        self.each, self.room, self.tries = each, room, 0
        self.known: dict[tuple[tuple[int, ...], int], tuple[tuple[int, ...], ...] | None] = {}

    def fit(self, counts: tuple[int, ...], loads: int) -> tuple[tuple[int, ...], ...] | None:
        """These jars in so many loads, or None when it cannot be done."""
        if (counts, loads) not in self.known:
            self.known[counts, loads] = self._fit(counts, loads)
        return self.known[counts, loads]

    def _fit(self, counts: tuple[int, ...], loads: int) -> tuple[tuple[int, ...], ...] | None:
        if not any(counts):
            return ()
        to_spare = loads * self.room - _sum(self.each, counts)
        if to_spare < 0:
            return None
        first = next(index for index, count in enumerate(counts) if count)
        for load in self._fillings(self.each, counts, self.room, self.room - to_spare):
            if load[first]:  # the largest jar left goes into some load: take that one now
                left = tuple(count - taken for count, taken in zip(counts, load, strict=True))
                if (others := self.fit(left, loads - 1)) is not None:
                    return (load, *others)
        return None

    def _fillings(self, each: Sequence[int], counts: Sequence[int], room: int, least: int) -> Iterator[tuple[int, ...]]:
        """Every load of these jars that takes at least `least` of the room, most of the largest first."""
        self.tries += 1
        if self.tries > MOST_FITS:
            raise _TooManyWays
        if not each:
            if least <= 0:
                yield ()
            return
        if _sum(each, counts) < least:
            return
        for taken in range(min(counts[0], room // each[0]), -1, -1):
            used = taken * each[0]
            for others in self._fillings(each[1:], counts[1:], room - used, least - used):
                yield (taken, *others)


def _largest_first(each: Sequence[int], counts: Sequence[int], room: int) -> tuple[tuple[int, ...], ...]:
    left, loads = list(counts), []
    while any(left):
        spare, load = room, []
        for index, taken in enumerate(each):
            load.append(min(left[index], spare // taken))
            left[index] -= load[-1]
            spare -= load[-1] * taken
        loads.append(tuple(load))
    return tuple(loads)


def _sum(each: Sequence[int], counts: Sequence[int]) -> int:
    return sum(room * count for room, count in zip(each, counts, strict=True))


def _loads_of_one_process(process: Process, jars: Sequence[JarCount], canner: Capacity) -> Iterator[Load]:
    room, each = room_of(canner)
    rows: dict[int, list[str]] = {}  # sizes that take the same room stand in one row, largest first
    for jar in jars:
        rows.setdefault(each[jar.size], []).extend([jar.size] * jar.count)
    rest = []
    for taken in sorted(rows, reverse=True):
        full, row = room // taken, rows[taken]
        whole = len(row) // full * full
        for start in range(0, whole, full):
            yield _load(process, row[start : start + full], each, room)
        rows[taken] = row[whole:]
        if rows[taken]:
            rest.append((taken, len(rows[taken])))
    for counts in share_out(tuple(rest), room):
        together = []
        for (taken, _), count in zip(rest, counts, strict=True):
            together += rows[taken][:count]
            del rows[taken][:count]
        yield _load(process, together, each, room)


def _load(process: Process, sizes: Sequence[str], each: Mapping[str, int], room: int) -> Load:
    jars = tuple(JarCount(size, sizes.count(size)) for size in dict.fromkeys(sizes))
    return Load(process, jars, Fraction(sum(each[size] for size in sizes), room))


# The search for a mix: bounded counts that reach a sum.

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


class _Search:
    """Counts whose units come nearest to the target from below, with fewest loads, then fewest jars.

    Depth first over the options, which stand largest first, so that the first of equal answers has more of the larger
    jars; cut off where two relaxations say no better.
    """

    def __init__(self, options: Sequence[Option], room: int, target: int, most_tries: int) -> None:
        self.options, self.room, self.tries_left = options, room, most_tries
        self.reached = _reached(options, target)
        # From each option on: the others in order of the room that they take for their volume.
        self.cheapest = [
            sorted(options[first:], key=lambda option: option.room / option.units) for first in range(len(options))
        ]
        self.last_of_group = {option.group: index for index, option in enumerate(options)}
        self.counts = [0] * len(options)
        self.best: tuple[int, ...] = ()  # counts in the order of the options
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
    search = _Search(options, room, target, most_tries)
    search.visit(0, search.reached[0].bit_length() - 1, 0)
    jars = tuple(JarCount(option.size, count) for option, count in zip(options, search.best, strict=True) if count)
    leftover = volume_ml - sum((JAR_ML[jar.size] * jar.count for jar in jars), Fraction(0))
    return JarMix(jars, search.fewest[0], leftover, _part_jar(leftover, jars, empties))


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
        return Refusal("no-jar-tested", "LOAD-PROCESS")
    fitting = [size for size in JAR_SIZES if size in allowed and (allowed[size] is None or canner.holds(size))]
    if not fitting:
        return Refusal("no-jar-fits", "LOAD-CAPACITY", {"canner": canner.name})
    return Refusal("no-empties", "JAR-MIX", {"sizes": tuple(fitting)})


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
