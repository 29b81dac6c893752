"""A long season of things and loans for benchmarks: made up, in bulk, under the same constraints as real ones."""

from __future__ import annotations

import random
from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from itertools import islice
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from club.members.models import User
from inventory.equipment.kinds import FACTS, TESTED_KINDS, Kind
from inventory.equipment.models import ConditionNote, Hold, InstrumentTest, Loan, Thing, ThingDay
from inventory.equipment.queries import club_day
from inventory.equipment.rules import lapses_on
from inventory.equipment.spans import DAY, days_between
from inventory.equipment.words import Condition, HoldState, Occasion, Verdict

OUT_ONE_IN = 4  # so many things are out now, and of those as many are late
LONGEST = 4
HANDED_OVER_AT, RETURNED_AT = time(10, 0), time(17, 0)


class SeedRefused(Exception):
    """A season is laid down only where there are no things yet."""


@transaction.atomic
def things_seed(*, things: int, loans: int, people: Sequence[User], now: datetime, seed: int = 4) -> None:
    """So many things and, shared evenly among them, loans going back in time; one in four is out now.

    The same numbers and seed give the same season. SeedRefused where there are things already.
    """
    if Thing.objects.exists():
        raise SeedRefused("There are things here already: a season is laid down on an empty register only.")
    if not people:
        raise SeedRefused("There are no people to lend to.")
    dice = random.Random(seed)
    made = Thing.objects.bulk_create(_things(things, now), batch_size=500)
    _tests(made, people[0], club_day(now), now)
    for number, thing in enumerate(made):
        share = loans * (number + 1) // things - loans * number // things
        _season(thing, share, people, now, dice)


def _things(count: int, now: datetime) -> list[Thing]:
    kinds, numbers = list(Kind.values), dict.fromkeys(Kind.values, 0)
    rows = []
    for n in range(count):
        kind = kinds[n % len(kinds)]
        numbers[kind] += 1
        code = f"{FACTS[kind].prefix}-{numbers[kind]:04d}"
        rows.append(Thing(code=code, code_key=code.replace("-", ""), kind=kind, name=f"Seeded {code}", created_at=now))
    return rows


def _tests(things: Sequence[Thing], by: User, today: date, now: datetime) -> None:
    tested = today - timedelta(days=60)
    rows = [
        InstrumentTest(
            thing=thing,
            token=UUID(int=(1 << 120) + thing.pk, version=4),
            tested_on=tested,
            reference="seeded",
            readings=[["0", "0"]],
            verdict=Verdict.PASSED,
            lapses_on=lapses_on(tested, measure),
            recorded_by=by,
            recorded_at=now,
        )
        for thing in things
        if thing.kind in TESTED_KINDS and (measure := thing.facts.measure)
    ]
    InstrumentTest.objects.bulk_create(rows, batch_size=500)


def _season(thing: Thing, count: int, people: Sequence[User], now: datetime, dice: random.Random) -> None:
    """The loans of one thing, from today backwards, each with its hold, its days and two notes."""
    holds, loans = [], []
    today = club_day(now)
    is_out = count > 0 and dice.randrange(OUT_ONE_IN) == 0
    ends = today + (dice.randint(1, 5) * DAY if dice.randrange(OUT_ONE_IN) else -2 * DAY) if is_out else today - 2 * DAY
    for n in range(count):
        starts = min(ends, today) - dice.randrange(LONGEST) * DAY
        is_open = is_out and n == 0
        person = people[dice.randrange(len(people))]
        holds.append(_hold(thing, person, starts, ends, is_open, dice))
        loans.append(_loan(holds[-1], people[0], is_open, dice))
        ends = starts - (thing.turnaround_days + 1 + dice.randrange(3)) * DAY
    for hold, made in zip(Hold.objects.bulk_create(holds), loans, strict=True):
        made.hold = hold
    Loan.objects.bulk_create(loans)
    rows = (
        ThingDay(thing=thing, day=day, hold=one) for one in holds for day in days_between(one.starts, one.kept_until)
    )
    while batch := list(islice(rows, 1000)):
        ThingDay.objects.bulk_create(batch)
    ConditionNote.objects.bulk_create(note for loan in loans for note in _notes(loan))


def _hold(thing: Thing, person: User, starts: date, ends: date, is_open: bool, dice: random.Random) -> Hold:
    return Hold(
        thing=thing,
        token=UUID(int=dice.getrandbits(128), version=4),
        person=person,
        starts=starts,
        ends=ends,
        kept_until=ends + thing.turnaround_days * DAY,
        state=HoldState.OUT if is_open else HoldState.BACK,
        placed_by=person,
        placed_at=_moment(starts, HANDED_OVER_AT),
    )


def _loan(hold: Hold, keeper: User, is_open: bool, dice: random.Random) -> Loan:
    loan = Loan(
        thing=hold.thing,
        hold=hold,
        token=UUID(int=dice.getrandbits(128), version=4),
        person=hold.person,
        due_on=hold.ends,
        handed_over_at=_moment(hold.starts, HANDED_OVER_AT),
        handed_over_by=keeper,
        condition_out=Condition.GOOD,
    )
    if not is_open:
        loan.returned_at = _moment(hold.ends, RETURNED_AT)
        loan.taken_back_by, loan.condition_in = keeper, Condition.GOOD
    return loan


def _notes(loan: Loan) -> list[ConditionNote]:
    told = {"thing": loan.thing, "by": loan.handed_over_by, "condition": Condition.GOOD}
    notes = [ConditionNote(at=loan.handed_over_at, occasion=Occasion.HANDED_OVER, **told)]
    if loan.returned_at is not None:
        notes.append(ConditionNote(at=loan.returned_at, occasion=Occasion.RETURNED, **told))
    return notes


def _moment(day: date, hour: time) -> datetime:
    return timezone.make_aware(datetime.combine(day, hour), timezone.get_default_timezone())
