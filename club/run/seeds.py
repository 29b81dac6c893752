"""Long made-up seasons for benchmarks, laid down in bulk under the same constraints as real ones."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from itertools import islice
from uuid import UUID

from django.db import transaction

from club.core.clock import at_hour, club_day
from club.members.models import User
from inventory.equipment.choices import FACTS, TESTED_KINDS, Condition, HoldState, Kind, Occasion, Verdict
from inventory.equipment.models import ConditionNote, Hold, InstrumentTest, Loan, Thing, ThingDay
from inventory.equipment.rules import DAY, days_between, lapses_on
from inventory.jars.choices import OUTSIDE, PlaceKind, Reason
from inventory.jars.models import Balance, Movement, Place
from inventory.jars.rules import CHIPPED, EMPTY, FULL
from inventory.jars.services import outside_place
from recipes.engine.quantities import JAR_SIZES

# Equipment and loans.

OUT_ONE_IN = 4  # one in so many is out now, and of those one in as many is late
LONGEST_LOAN = 4  # days
HANDED_OVER_AT, RETURNED_AT = time(10, 0), time(17, 0)


class SeedRefused(Exception):
    """A season of loans is laid down only where there is no equipment yet."""


@transaction.atomic
def equipment_seed(*, things: int, loans: int, people: Sequence[User], now: datetime, seed: int = 4) -> None:
    """So many pieces of equipment and, shared evenly among them, loans going back in time; one in four is out now.

    The same numbers and seed give the same season. SeedRefused where there is equipment already.
    """
    if Thing.objects.exists():
        raise SeedRefused("There are things here already: a season is laid down on an empty register only.")
    if not people:
        raise SeedRefused("There are no people to lend to.")
    dice = random.Random(seed)
    made = Thing.objects.bulk_create(_equipment(things, now), batch_size=500)
    InstrumentTest.objects.bulk_create(_tests(made, people[0], now), batch_size=500)
    for number, thing in enumerate(made):
        share = loans * (number + 1) // things - loans * number // things
        _lend(thing, share, people, now, dice)


def _equipment(count: int, now: datetime) -> list[Thing]:
    """The kinds in turn, numbered within each."""
    kinds, rows = list(Kind.values), []
    for n in range(count):
        kind = kinds[n % len(kinds)]
        code = f"{FACTS[kind].prefix}-{n // len(kinds) + 1:04d}"
        rows.append(Thing(code=code, code_key=code.replace("-", ""), kind=kind, name=f"Seeded {code}", created_at=now))
    return rows


def _tests(things: Sequence[Thing], by: User, now: datetime) -> list[InstrumentTest]:
    """A good one for each instrument, sixty days ago."""
    tested = club_day(now) - timedelta(days=60)
    return [
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


def _lend(thing: Thing, count: int, people: Sequence[User], now: datetime, dice: random.Random) -> None:
    """The loans of one thing, from today backwards, each with its hold, its days and two notes."""
    holds, loans = [], []
    today = club_day(now)
    is_out = count > 0 and dice.randrange(OUT_ONE_IN) == 0
    ends = today + (dice.randint(1, 5) * DAY if dice.randrange(OUT_ONE_IN) else -2 * DAY) if is_out else today - 2 * DAY
    for n in range(count):
        starts = min(ends, today) - dice.randrange(LONGEST_LOAN) * DAY
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
        placed_at=at_hour(starts, HANDED_OVER_AT),
    )


def _loan(hold: Hold, keeper: User, is_open: bool, dice: random.Random) -> Loan:
    loan = Loan(
        thing=hold.thing,
        hold=hold,
        token=UUID(int=dice.getrandbits(128), version=4),
        person=hold.person,
        due_on=hold.ends,
        handed_over_at=at_hour(hold.starts, HANDED_OVER_AT),
        handed_over_by=keeper,
        condition_out=Condition.GOOD,
    )
    if not is_open:
        loan.returned_at = at_hour(hold.ends, RETURNED_AT)
        loan.taken_back_by, loan.condition_in = keeper, Condition.GOOD
    return loan


def _notes(loan: Loan) -> list[ConditionNote]:
    common = {"thing": loan.thing, "by": loan.handed_over_by, "condition": Condition.GOOD}
    notes = [ConditionNote(at=loan.handed_over_at, occasion=Occasion.HANDED_OVER, **common)]
    if loan.returned_at is not None:
        notes.append(ConditionNote(at=loan.returned_at, occasion=Occasion.RETURNED, **common))
    return notes


# Movements of the jar ledger, a million where asked, and every balance with them. What is written is what the services
# would have written, one movement at a time: the audit finds nothing amiss.

PORTION = 5_000
# How often each reason comes; what cannot happen for want of jars is a purchase instead.
OFTEN = {
    Reason.FILLED: 28,
    Reason.EMPTIED: 25,
    Reason.LENT: 14,
    Reason.RETURNED: 14,
    Reason.MOVED: 9,
    Reason.GIVEN: 4,
    Reason.BROKEN: 3,
    Reason.CHIPPED: 1,
    Reason.BOUGHT: 2,
}
Key = tuple[int, str, str, int | None]  # place, size, state, lot


@dataclass
class _Ledger:
    by: User
    places: Sequence[Place]
    people: Sequence[Place]
    lots: Sequence[int]
    dice: random.Random
    accounts: dict[str, Place]
    balances: Counter[Key] = field(default_factory=Counter)

    def movement(self, at: datetime) -> Movement:
        """One movement that the balances allow, and the balances after it."""
        reason = self.dice.choices(list(OFTEN), weights=list(OFTEN.values()))[0]
        size = self.dice.choice(JAR_SIZES)
        source, target = self._ends(reason, self.dice.choice(self.places), size)
        there = self.balances[source]
        if reason == Reason.BOUGHT or there < 1:
            reason, source, target = self._purchase(source, size)
            count = self.dice.randint(12, 48)
        else:
            count = self.dice.randint(1, min(12, there))
        self.balances[source] -= count
        self.balances[target] += count
        return self._row(reason, source, target, count, at)

    def _ends(self, reason: Reason, place: Place, size: str) -> tuple[Key, Key]:
        empty: Key = (place.pk, size, EMPTY, None)
        person: Key = (self.dice.choice(self.people).pk, size, EMPTY, None)
        if reason in (Reason.FILLED, Reason.EMPTIED) and self.lots:
            full: Key = (place.pk, size, FULL, self.dice.choice(self.lots))
            return (empty, full) if reason == Reason.FILLED else (full, empty)
        targets: dict[Reason, Key] = {
            Reason.LENT: person,
            Reason.MOVED: (self.dice.choice([one for one in self.places if one != place]).pk, size, EMPTY, None),
            Reason.GIVEN: (self.accounts[PlaceKind.GIVEN_AWAY].pk, size, EMPTY, None),
            Reason.BROKEN: (self.accounts[PlaceKind.BROKEN].pk, size, EMPTY, None),
            Reason.CHIPPED: (place.pk, size, CHIPPED, None),
        }
        return (person, empty) if reason == Reason.RETURNED else (empty, targets.get(reason, person))

    def _purchase(self, wanted: Key, size: str) -> tuple[Reason, Key, Key]:
        bought: Key = (self.accounts[PlaceKind.BOUGHT].pk, size, EMPTY, None)
        return Reason.BOUGHT, bought, (wanted[0], size, EMPTY, None)

    def _row(self, reason: Reason, source: Key, target: Key, count: int, at: datetime) -> Movement:
        return Movement(
            size=source[1],
            count=count,
            source_id=source[0],
            source_state=source[2],
            target_id=target[0],
            target_state=target[2],
            batch_id=source[3] or target[3],
            reason=reason,
            by=self.by,
            at=at,
            token=UUID(int=self.dice.getrandbits(128), version=4),
        )


@transaction.atomic
def ledger_seed(
    *,
    movements: int,
    by: User,
    places: Sequence[Place],
    people: Sequence[Place],
    lots: Sequence[int] = (),
    until: datetime,
    seed: int = 1,
) -> int:
    """Lay down `movements` among `places` (kitchens and the store, two at least) and `people` (members' places, one
    at least) over the year before `until`; `lots` are the batches that jars are filled from. Returns how many.

    Starts from the balances there are and leaves every one right. For an empty or a trial site: it invents.
    """
    accounts = {kind: outside_place(kind) for kind in sorted(OUTSIDE)}
    rows = Balance.objects.values_list("place", "size", "state", "batch", "count")
    balances: Counter[Key] = Counter({(place, size, state, lot): count for place, size, state, lot, count in rows})
    ledger = _Ledger(by, places, people, lots, random.Random(seed), accounts, balances)
    step = timedelta(days=365) / max(movements, 1)
    began = until - timedelta(days=365)
    for first in range(0, movements, PORTION):
        portion = range(first, min(first + PORTION, movements))
        Movement.objects.bulk_create(ledger.movement(began + step * number) for number in portion)
    _write_balances(ledger.balances)
    return movements


def _write_balances(balances: Counter[Key]) -> None:
    inside = dict(Place.objects.values_list("pk", "kind"))
    known = {(row.place_id, row.size, row.state, row.batch_id): row for row in Balance.objects.all()}
    changed, new = [], []
    for key, count in balances.items():
        if key in known:
            known[key].count = count
            changed.append(known[key])
        else:
            place, size, state, lot = key
            is_inside = inside[place] in {PlaceKind.STORE, PlaceKind.KITCHEN, PlaceKind.MEMBER}
            new.append(Balance(place_id=place, is_inside=is_inside, size=size, state=state, batch_id=lot, count=count))
    Balance.objects.bulk_update(changed, ["count"], batch_size=500)
    Balance.objects.bulk_create(new, batch_size=PORTION)
