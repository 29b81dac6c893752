"""The demo club's things, their tests and loans, laid down through the services with the clock turned back."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from club.members.choices import Role
from club.members.models import Kitchen, User
from inventory.equipment import services
from inventory.equipment.choices import Measure
from inventory.equipment.models import Thing, club_day
from inventory.equipment.rules import Reading

BOUGHT_DAYS_AGO = 400


def things_lay_down(
    told: Mapping[str, Any], people: Mapping[str, User], kitchens: Mapping[str, Kitchen], now: datetime
) -> None:
    keeper = next(user for user in people.values() if user.has_role(Role.KEEPER))
    things = {one["code"]: _thing(one, keeper, kitchens, now) for one in told.get("thing", [])}
    for one in told.get("loan", []):
        _loan(one, things[one["thing"]], people[one["to"]], keeper, now)
    for one in told.get("hold", []):
        first = club_day(now) + timedelta(days=one["in_days"])
        last = first + timedelta(days=one["days"] - 1)
        by, purpose = people[one["by"]], one.get("purpose", "")
        services.hold_place(by=by, thing=things[one["thing"]], starts=first, ends=last, purpose=purpose, now=now)
    for one in told.get("wait", []):
        today = club_day(now)
        services.waiting_join(
            by=people[one["by"]],
            kind=one["kind"],
            days=one["days"],
            not_before=today,
            not_after=today + timedelta(days=one["within_days"]),
            now=now,
        )


def _thing(told: Mapping[str, Any], keeper: User, kitchens: Mapping[str, Kitchen], now: datetime) -> Thing:
    fields = services.ThingFields(
        kind=told["kind"],
        name=told["name"],
        code=told["code"],
        capacity=told.get("jars", {}),
        home=kitchens["hall"],
        place=told.get("place", ""),
        deposit_cents=told.get("deposit_cents", 0),
        care=told.get("care", ""),
    )
    thing = services.thing_add(by=keeper, fields=fields, now=now - timedelta(days=BOUGHT_DAYS_AGO))
    for test in told.get("tests", []):
        at = now - timedelta(days=test["days_ago"])
        record = services.gauge_test_record if thing.facts.measure is Measure.PSI else services.calibration_record
        record(
            by=keeper,
            thing=thing,
            tested_on=club_day(at),
            readings=[Reading(Decimal(reference), Decimal(shown)) for reference, shown in test["readings"]],
            reference=test["against"],
            now=at,
        )
    if "repair" in told:
        services.thing_repair(by=keeper, thing=thing, note=told["repair"], now=now - timedelta(days=3))
    return thing


def _loan(told: Mapping[str, Any], thing: Thing, person: User, keeper: User, now: datetime) -> None:
    out_at = now - timedelta(days=told["out_days_ago"])
    loan = services.loan_hand_over(
        by=keeper,
        thing=thing,
        person=person,
        due_on=club_day(out_at) + timedelta(days=told["for_days"]),
        condition="good",
        deposit_cents=thing.deposit_cents,
        purpose=told.get("purpose", ""),
        now=out_at,
    )
    if "back_days_ago" in told:
        services.loan_return(
            by=keeper,
            loan=loan,
            condition=told.get("condition", "good"),
            missing_parts=told.get("missing", ""),
            now=now - timedelta(days=told["back_days_ago"]),
        )
