"""What a household puts up this season, from what it goes through in a year and what it has. Pure: no Django, no clock.

Jars are whole and pots are whole: enough pots that, with what stands on the shelf, the year's jars are there. An
evening is as long as the household says, and holds pots of one recipe; one pot at least, however long it takes.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

MONTHS = 12


@dataclass(frozen=True)
class Need:
    """One thing the household goes through: `jars_a_year`, and `on_shelf` of them.

    `jars_a_pot` is None where no tested recipe says (or the recipe is refused). `minutes` are the lengths of a day
    with 1, 2, 3 ... pots, as far as they were reckoned; empty where the day is not known. `fruit_grams` is what a
    pot takes of `produce`, 0 where its weight is not known.
    """

    key: int
    jars_a_year: int
    on_shelf: int = 0
    jars_a_pot: int | None = None
    minutes: tuple[int, ...] = ()
    produce: str = ""
    fruit_grams: int = 0


@dataclass(frozen=True)
class PutUp:
    """What is to be done for one need; `pots` is None where only the jars are known.

    `jars` is what the pots fill, at least `wanted`. `is_long`: one pot takes longer than the household's evening.
    """

    key: int
    wanted: int
    jars: int
    pots: int | None = None
    pots_an_evening: int | None = None
    evenings: int | None = None
    is_long: bool = False
    pots_from_freezer: int = 0
    fruit_to_find_grams: int = 0


@dataclass(frozen=True)
class SeasonPlan:
    """The rows in the order of the needs, and their sums; `evenings` counts the rows whose day is known."""

    rows: tuple[PutUp, ...]

    @property
    def wanted(self) -> int:
        return sum(row.wanted for row in self.rows)

    @property
    def jars(self) -> int:
        return sum(row.jars for row in self.rows)

    @property
    def pots(self) -> int:
        return sum(row.pots or 0 for row in self.rows)

    @property
    def evenings(self) -> int:
        return sum(row.evenings or 0 for row in self.rows)

    @property
    def by_key(self) -> dict[int, PutUp]:
        return {row.key: row for row in self.rows}


def season_plan(needs: Iterable[Need], *, evening_minutes: int, frozen: Mapping[str, int] | None = None) -> SeasonPlan:
    """A row for each need. `frozen` is fruit in the freezer, in grams by produce: whole pots of it are taken first,
    by the needs in their order."""
    left = dict(frozen or {})
    rows = []
    for need in needs:
        row = _put_up(need, evening_minutes, left.get(need.produce, 0))
        if need.produce in left:
            left[need.produce] -= row.pots_from_freezer * need.fruit_grams
        rows.append(row)
    return SeasonPlan(tuple(rows))


def _put_up(need: Need, evening_minutes: int, frozen_grams: int) -> PutUp:
    wanted = max(0, need.jars_a_year - need.on_shelf)
    if not need.jars_a_pot:
        return PutUp(need.key, wanted, jars=wanted)
    pots = -(-wanted // need.jars_a_pot)
    at_once = _pots_an_evening(need.minutes, evening_minutes)
    from_freezer = min(pots, frozen_grams // need.fruit_grams) if need.fruit_grams else 0
    return PutUp(
        key=need.key,
        wanted=wanted,
        jars=pots * need.jars_a_pot,
        pots=pots,
        pots_an_evening=at_once,
        evenings=-(-pots // at_once) if at_once else None,
        is_long=bool(need.minutes) and need.minutes[0] > evening_minutes,
        pots_from_freezer=from_freezer,
        fruit_to_find_grams=(pots - from_freezer) * need.fruit_grams,
    )


def _pots_an_evening(minutes: Sequence[int], evening_minutes: int) -> int | None:
    """The most pots whose day fits; one where even that does not. None where no day is known."""
    if not minutes:
        return None
    return max([count for count, length in enumerate(minutes, start=1) if length <= evening_minutes], default=1)


def short_of(wanted: Mapping[str, int], there: Mapping[str, int]) -> dict[str, int]:
    """What is missing of each, where anything is."""
    missing = {name: count - there.get(name, 0) for name, count in wanted.items()}
    return {name: count for name, count in missing.items() if count > 0}


# The shelf over the year


@dataclass(frozen=True)
class MonthShelf:
    """Full jars at the end of a month, or ahead: at its end, if nothing is put up meanwhile."""

    first: date
    jars: int
    is_ahead: bool


def months_from(first: date, count: int) -> list[date]:
    """The first days of so many months, from that of `first` on; a count below zero goes back, in their order."""
    number = first.year * 12 + first.month - 1
    steps = range(count) if count >= 0 else range(count, 0)
    return [date((number + step) // 12, (number + step) % 12 + 1, 1) for step in steps]


def shelf_past(there: int, changes: Mapping[date, int], today: date) -> list[MonthShelf]:
    """The last twelve months and this one, to date. `changes` are jars more or fewer, by the first day of a month."""
    months = [*months_from(today, -MONTHS), today.replace(day=1)]
    shelf, jars = [], there
    for first in reversed(months):
        shelf.append(MonthShelf(first, max(0, jars), is_ahead=False))
        jars -= changes.get(first, 0)
    return shelf[::-1]


def shelf_ahead(stocks: Sequence[tuple[int, int]], rest: int, today: date) -> list[MonthShelf]:
    """The next twelve months. `stocks` are (on the shelf, used in a year), eaten evenly over the year, each until it
    is gone: our own assumption. `rest` is what nobody said how fast it goes: it stays."""
    months = months_from(today, MONTHS + 1)[1:]
    return [
        MonthShelf(first, rest + sum(_left(there, a_year, n) for there, a_year in stocks), is_ahead=True)
        for n, first in enumerate(months, start=1)
    ]


def _left(there: int, a_year: int, months: int) -> int:
    """Whole jars: one that is begun is gone."""
    return max(0, there - -(-a_year * months // MONTHS))
