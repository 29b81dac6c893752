"""When produce is ripe: the published calendars, what an organiser corrected, and what the club's own books saw.

Weeks are ISO weeks of a year, 1 to 52; a span may go over New Year. The calendars are `fixtures/library/harvest.csv`,
each line with its source; a line that is from memory says so. Nothing about safety hangs on them. Pure but for it.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache

from club.core.places import FIXTURES

FILE = FIXTURES / "library" / "harvest.csv"
WEEKS = 52
A_YEAR = 2025  # whose weeks the printed days are put into: the first day of it lies in week 1


def week_of(day: date) -> int:
    """The ISO week; the 53rd, which few years have, counts as the 52nd."""
    return min(day.isocalendar().week, WEEKS)


@dataclass(frozen=True)
class Weeks:
    """From the first to the last week, both within."""

    first: int
    last: int

    def __contains__(self, week: int) -> bool:
        if self.first <= self.last:
            return self.first <= week <= self.last
        return week >= self.first or week <= self.last

    @property
    def days(self) -> tuple[date, date]:
        """The Monday and the Sunday at the ends, in some year; of a span over New Year the second is a year on."""
        ends_in = A_YEAR if self.first <= self.last else A_YEAR + 1
        return date.fromisocalendar(A_YEAR, self.first, 1), date.fromisocalendar(ends_in, self.last, 7)


@dataclass(frozen=True)
class Published:
    """One line of a calendar. `sort` is a sort or part of the year of the produce, "" where it is all of it."""

    region: str
    produce: str
    sort: str
    weeks: Weeks
    printed: str  # "mid Jun to mid Aug"
    source: str
    seen: str


@dataclass(frozen=True)
class Region:
    """Where a calendar was made for, and the climate there."""

    key: str
    name: str
    climate: str

    def __str__(self) -> str:
        return f"{self.name} ({self.climate})"


@cache
def _file() -> tuple[tuple[Region, Published], ...]:
    with FILE.open(encoding="utf-8", newline="") as lines:
        return tuple(
            (
                Region(row["region"], row["name"], row["climate"]),
                Published(
                    region=row["region"],
                    produce=row["produce"],
                    sort=row["sort"],
                    weeks=Weeks(_week(row["first"]), _week(row["last"])),
                    printed=row["printed"],
                    source=row["source"],
                    seen=row["seen"],
                ),
            )
            for row in csv.DictReader(lines)
        )


def _week(month_day: str) -> int:
    return week_of(date.fromisoformat(f"{A_YEAR}-{month_day}")) if month_day < "12-29" else WEEKS


@cache
def regions() -> dict[str, Region]:
    """By their keys, in the order of their names."""
    found = {region.key: region for region, _line in _file()}
    return dict(sorted(found.items(), key=lambda each: each[1].name))


@cache
def published(region: str) -> Mapping[str, tuple[Published, ...]]:
    """The lines of one region by produce; of several for one sort the one that was seen best comes first."""
    order = ("seen-twice", "seen-once", "disputed", "memory")
    found: dict[str, list[Published]] = {}
    for _region, line in _file():
        if line.region == region:
            found.setdefault(line.produce, []).append(line)
    return {
        produce: tuple(sorted(lines, key=lambda line: (line.sort != "", order.index(line.seen), line.weeks.first)))
        for produce, lines in sorted(found.items())
    }


def counted_weeks(lines: Sequence[Published]) -> tuple[Weeks, ...]:
    """The spans a plan goes by: of the produce as a whole, else of all its sorts. A dispute does not widen them."""
    whole = [line for line in lines if not line.sort]
    return (whole[0].weeks,) if whole else tuple(dict.fromkeys(line.weeks for line in lines))


def calendar_word(produce: str, known: Iterable[str]) -> str:
    """The calendar's word for what a recipe names: "sweet corn" is corn; "" where it has none."""
    words = set(known)
    last = produce.rpartition(" ")[2]
    return next((word for word in (produce, last) if word in words), "")


def median_week(seen: Mapping[int, int]) -> int | None:
    """The median of weeks, each with how often it was seen: the lower of two. The year is cut open where the longest
    time without any lies, so that December and January are neighbours."""
    weeks = sorted(week for week, count in seen.items() if count)
    if not weeks:
        return None
    gaps = [((after - week - 1) % WEEKS, after) for week, after in zip(weeks, weeks[1:] + weeks[:1], strict=True)]
    opens = max(gaps)[1] if len(weeks) > 1 else weeks[0]
    ordered = sorted(weeks, key=lambda week: (week - opens) % WEEKS)
    half = (sum(seen[week] for week in ordered) + 1) // 2
    for week in ordered:
        half -= seen[week]
        if half <= 0:
            return week
    return None


def mondays_ahead(weeks: Sequence[Weeks], today: date) -> tuple[date, ...]:
    """The Mondays of the next harvest, or of what is left of this one: within a year, up to the first gap."""
    first = today - timedelta(days=today.weekday())
    found: list[date] = []
    for number in range(WEEKS):
        monday = first + timedelta(weeks=number)
        if any(week_of(monday) in span for span in weeks):
            found.append(monday)
        elif found:
            break
    return tuple(found)


# Evenings laid into the weeks of a year.


@dataclass(frozen=True)
class Wish:
    """What is put up of one thing: `evenings` of `minutes` each, on a `canner`, in the weeks of these Mondays."""

    key: int
    evenings: int
    minutes: int
    canner: str
    mondays: tuple[date, ...]


@dataclass(frozen=True)
class WeekLoad:
    """One week: what is laid into it, and the minutes of the canner that takes of the minutes there are."""

    monday: date
    keys: tuple[int, ...]
    minutes: int
    there: int


@dataclass(frozen=True)
class Clash:
    """Several things to be put up between the first week and the last: `evenings` in all, of `there`. `left` is how
    many of them find no day."""

    first: date
    last: date
    keys: tuple[int, ...]
    evenings: int
    there: int
    left: int


@dataclass(frozen=True)
class Laid:
    """`days` are the evenings of each wish, `left` those that found no day; `weeks` those with something to do."""

    days: Mapping[int, tuple[date, ...]]
    left: Mapping[int, int]
    weeks: tuple[WeekLoad, ...]
    clash: Clash | None


def lay_evenings(wishes: Sequence[Wish], *, weekdays: Sequence[int], evening_minutes: int, today: date) -> Laid:
    """One thing an evening, on the weekdays given (Monday is 1), with one canner. What spoils first goes first, which
    finds a day for everything wherever there are days enough for harvests without a gap."""
    open_days = sorted(
        {
            day
            for wish in wishes
            for monday in wish.mondays
            for weekday in weekdays
            if (day := monday + timedelta(days=weekday - 1)) >= today
        }
    )
    left = {wish.key: wish.evenings for wish in wishes}
    days: dict[int, list[date]] = {wish.key: [] for wish in wishes}
    for day in open_days:
        monday = day - timedelta(days=day.weekday())
        ripe = [wish for wish in wishes if left[wish.key] and monday in wish.mondays]
        if ripe:
            chosen = min(ripe, key=lambda wish: (wish.mondays[-1], wish.key))
            left[chosen.key] -= 1
            days[chosen.key].append(day)
    laid = {key: tuple(found) for key, found in days.items()}
    weeks = _loads(wishes, laid, len(weekdays) * evening_minutes)
    short = {key: count for key, count in left.items() if count}
    return Laid(laid, short, weeks, _clash(wishes, left, weekdays, today))


def _loads(wishes: Sequence[Wish], laid: Mapping[int, Sequence[date]], there: int) -> tuple[WeekLoad, ...]:
    by_week: dict[date, list[Wish]] = {}
    for wish in wishes:
        for day in laid[wish.key]:
            by_week.setdefault(day - timedelta(days=day.weekday()), []).append(wish)
    return tuple(
        WeekLoad(monday, tuple(dict.fromkeys(one.key for one in done)), sum(one.minutes for one in done), there)
        for monday, done in sorted(by_week.items())
    )


TIGHT = 2  # a clash is said from one evening in so many on


def _clash(wishes: Sequence[Wish], left: Mapping[int, int], weekdays: Sequence[int], today: date) -> Clash | None:
    """The weeks in which the evenings are shortest: what must be put up between its first and its last, against the
    evenings there are. None where one thing alone is ripe in them, and where more than half of them stay free."""
    ripe = [wish for wish in wishes if wish.evenings and wish.mondays]
    found: list[tuple[float, Clash]] = []
    for first in sorted({wish.mondays[0] for wish in ripe}):
        for last in sorted({wish.mondays[-1] for wish in ripe}):
            within = [wish for wish in ripe if first <= wish.mondays[0] and wish.mondays[-1] <= last]
            if len(within) < 2:
                continue
            there = _evenings_between(first, last, weekdays, today)
            evenings, without = sum(wish.evenings for wish in within), sum(left[wish.key] for wish in within)
            clash = Clash(first, last, tuple(wish.key for wish in within), evenings, there, without)
            if without or evenings * TIGHT >= there:
                found.append((evenings / max(there, 1), clash))
    return max(found, key=lambda each: (each[0], each[1].evenings))[1] if found else None


def _evenings_between(first: date, last: date, weekdays: Sequence[int], today: date) -> int:
    weeks = (last - first).days // 7 + 1
    days = (first + timedelta(weeks=week, days=weekday - 1) for week in range(weeks) for weekday in weekdays)
    return sum(day >= today for day in days)
