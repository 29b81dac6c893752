"""Things, holds and loans for tests, made by the room's own services with the clock where a test wants it."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from itertools import count
from typing import Any

from club.core.clock import club_day
from club.members.choices import Role
from club.members.models import User
from inventory.equipment import services
from inventory.equipment.choices import Kind
from inventory.equipment.models import Hold, InstrumentTest, Loan, Thing
from inventory.equipment.rules import Reading
from tests.factories.members import make_person, make_skill

# Noon in the club's zone, America/Denver.
NOW = datetime(2026, 9, 14, 18, 0, tzinfo=UTC)
TODAY = date(2026, 9, 14)
_numbers = count(1)


def day(offset: int) -> date:
    return TODAY + timedelta(days=offset)


def make_keeper(**fields: Any) -> User:
    return make_person(Role.KEEPER, **fields)


def make_thing(kind: str = Kind.BOILING_WATER, *, by: User | None = None, now: datetime = NOW, **fields: Any) -> Thing:
    """In service, untested; a code of its own and a day for cleaning where the kind has one."""
    told = {"name": "Enamel canner", "code": f"T-{next(_numbers)}", "capacity": {"pint": 9, "quart": 7}, **fields}
    return services.thing_add(by=by or make_keeper(), fields=services.ThingFields(kind=kind, **told), now=now)


def readings(*pairs: tuple[str, str]) -> list[Reading]:
    return [Reading(Decimal(reference), Decimal(shown)) for reference, shown in pairs]


GOOD = readings(("5", "5"), ("10", "10.5"), ("15", "15.5"))
BAD = readings(("5", "7"), ("10", "12.25"), ("15", "17"))


def make_test(thing: Thing, tested_on: date = TODAY, *, by: User | None = None, **fields: Any) -> InstrumentTest:
    told = {"readings": GOOD, "reference": "the county's gauge", "now": NOW, **fields}
    return services.instrument_test_record(by=by or make_keeper(), thing=thing, tested_on=tested_on, **told)


def make_hold(
    thing: Thing | None = None,
    first: int = 0,
    last: int = 2,
    *,
    by: User | None = None,
    now: datetime = NOW,
    **rest: Any,
) -> Hold:
    """Days are counted from TODAY."""
    thing, by = thing or make_thing(), by or make_person()
    return services.hold_place(by=by, thing=thing, starts=day(first), ends=day(last), now=now, **rest)


def make_loan(
    thing: Thing | None = None,
    person: User | None = None,
    *,
    days: int = 3,
    now: datetime = NOW,
    by: User | None = None,
    **rest: Any,
) -> Loan:
    """Handed over at `now`, due back so many days later, to somebody who learned what the thing asks for."""
    thing, person = thing or make_thing(), person or make_person()
    if thing.skill:
        make_skill(person, thing.skill)
    return services.loan_hand_over(
        by=by or make_keeper(),
        thing=thing,
        person=person,
        due_on=club_day(now) + timedelta(days=days),
        now=now,
        **({"condition": "good"} | rest),
    )
