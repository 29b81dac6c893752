"""Which days of a thing or of a kind are taken, and where the next free ones are."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from inventory.equipment.models import Loan, Thing, ThingDay
from inventory.equipment.rules import FURTHEST_AHEAD_DAYS, MOST_TURNAROUND_DAYS
from inventory.equipment.spans import DAY, Span, days_between, free_spans, runs
from inventory.equipment.standing import what_test_wants

TOLD = 3  # free dates offered to somebody who came too late


@dataclass(frozen=True, order=True)
class FreeSpan:
    """A thing and days on which it is free."""

    span: Span
    code: str
    thing_id: int


def taken_days(things: Iterable[Thing], window: Span, today: date) -> dict[int, set[date]]:
    """The taken days of each thing in the window and its cleaning, by thing. Two queries, however many things.

    A thing that should be back and is not takes today, and its cleaning, though nobody holds them.
    """
    by_id = {thing.pk: thing for thing in things}
    last = window.ends + timedelta(days=MOST_TURNAROUND_DAYS)
    taken: defaultdict[int, set[date]] = defaultdict(set)
    rows = ThingDay.objects.filter(thing__in=by_id).between(window.starts, last)
    for thing_id, day in rows.values_list("thing_id", "day"):
        taken[thing_id].add(day)
    for thing_id in Loan.objects.overdue(today).filter(thing__in=by_id).values_list("thing_id", flat=True):
        taken[thing_id].update(days_between(today, today + by_id[thing_id].turnaround_days * DAY))
    return taken


def free_of(things: Iterable[Thing], *, length: int, window: Span, today: date) -> list[FreeSpan]:
    """Every free span of `length` days, one in each gap, the earliest first and then by code."""
    listed = list(things)
    taken = taken_days(listed, window, today)
    return sorted(
        FreeSpan(span, thing.code, thing.pk)
        for thing in listed
        for span in free_spans(
            taken.get(thing.pk, set()), length=length, turnaround=thing.turnaround_days, window=window
        )
    )


def next_free(things: Iterable[Thing], *, length: int, today: date, after: date) -> list[FreeSpan]:
    """What somebody who came too late is told: the next few free spans from `after` on, each begin once."""
    window = Span(max(after, today), today + timedelta(days=FURTHEST_AHEAD_DAYS))
    found: dict[date, FreeSpan] = {}
    for free in free_of(things, length=length, window=window, today=today):
        found.setdefault(free.span.starts, free)
        if len(found) == TOLD:
            break
    return list(found.values())


def free_on(kind: str, span: Span, today: date) -> Iterator[Thing]:
    """Things of a kind that are free on these very days: those whose test is good to the end first, then by code."""
    of_kind = Thing.objects.in_service().filter(kind=kind).with_standing(today)
    things = sorted(of_kind, key=lambda thing: (bool(what_test_wants(thing, span.ends)), thing.code))
    taken = taken_days(things, span, today)
    for thing in things:
        wanted = span.with_turnaround(thing.turnaround_days)
        if not any(day in taken.get(thing.pk, ()) for day in wanted.days()):
            yield thing


def clash_of(thing: Thing, span: Span, today: date) -> list[Span]:
    """The taken days that stand in the way of these, put together."""
    wanted = set(span.with_turnaround(thing.turnaround_days).days())
    return runs(taken_days([thing], span, today).get(thing.pk, set()) & wanted)
