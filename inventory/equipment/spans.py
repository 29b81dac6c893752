"""Sums with days. Pure: a span, which days of it are taken, and where the next free ones are."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Set
from dataclasses import dataclass
from datetime import date, timedelta

DAY = timedelta(days=1)


@dataclass(frozen=True, order=True)
class Span:
    """Whole days, both ends included."""

    starts: date
    ends: date

    @property
    def length(self) -> int:
        return (self.ends - self.starts).days + 1

    def days(self) -> Iterator[date]:
        return days_between(self.starts, self.ends)

    def with_turnaround(self, days: int) -> Span:
        return Span(self.starts, self.ends + days * DAY)

    @classmethod
    def of(cls, starts: date, length: int) -> Span:
        return cls(starts, starts + (length - 1) * DAY)


def days_between(first: date, last: date) -> Iterator[date]:
    day = first
    while day <= last:
        yield day
        day += DAY


def free_spans(taken: Set[date], *, length: int, turnaround: int, window: Span) -> Iterator[Span]:
    """The first free span of `length` days in each gap between taken days, the earliest first.

    The days for cleaning must be free as well, but may lie behind the end of `window`.
    """
    start = window.starts
    while (span := Span.of(start, length)).ends <= window.ends:
        clash = last_taken(taken, span.with_turnaround(turnaround))
        if clash is None:
            yield span
            following = [day for day in taken if day > start]
            if not following:
                return
            clash = min(following)
        start = clash + DAY


def last_taken(taken: Set[date], span: Span) -> date | None:
    """The last day of the span that is taken; no span that begins on or before it can be free."""
    return max((day for day in span.days() if day in taken), default=None)


def runs(days: Iterable[date]) -> list[Span]:
    """Days put together into spans: the 3rd, 4th, 5th and 9th are two."""
    found: list[Span] = []
    for day in sorted(set(days)):
        if found and found[-1].ends + DAY == day:
            found[-1] = Span(found[-1].starts, day)
        else:
            found.append(Span(day, day))
    return found
