"""The search behind `jars`: bounded counts that reach a sum, for fewest loads, then fewest jars.

Exact, unless it takes more than MOST_TRIES: then the best found so far is taken. What is left over is the least either
way; only there may be a load fewer.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from recipes.engine.loads import fewest_loads

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
