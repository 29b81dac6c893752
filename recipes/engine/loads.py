"""Canner loads: how many, and which jars go in together.

Jars share a load only when their process is the same in every figure. A load holds full counts of one
size first; what is left of several sizes goes in together, each jar taking its fraction of the canner
(a quart in a canner of seven takes a seventh). One layer only.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from functools import lru_cache
from math import lcm
from typing import NamedTuple

from recipes.engine.process import ProcessFound
from recipes.engine.quantities import JAR_ML, JAR_SIZES
from recipes.engine.rules import EQUIPMENT, NO_SOURCE, day_refusal
from recipes.engine.terms import JarCount, Method, Refusal


class Process(NamedTuple):
    """What a load undergoes. Two jars may share a load when these are equal."""

    method: Method
    minutes: int
    pressure_psi: int | None = None  # None in boiling water

    @classmethod
    def of(cls, found: ProcessFound) -> Process:
        return cls(found.method, found.minutes, found.pressure_psi)


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
            return day_refusal("jar-not-tested", "LOAD-PROCESS", f"There is no tested process for the {size} here.")
        if not canner.holds(size):
            return day_refusal(
                "jar-not-in-canner",
                "LOAD-CAPACITY",
                f"A {size} jar does not go into a canner for {canner.name}. Use smaller jars or a larger canner.",
            )
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
