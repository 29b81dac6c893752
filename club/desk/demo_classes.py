"""The demo club's classes, planned through the services: one to come with its gear held, one that cannot be yet."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from typing import Any

from club.classes.models import ClassSession
from club.classes.services.gear import gear_gather
from club.classes.services.sessions import SessionFields, StationFields, session_make, session_publish, station_add
from club.desk.demo_class_day import class_day_lay_down
from club.desk.demo_seats import seats_lay_down
from club.members.choices import Role
from club.members.models import Kitchen, User
from club.members.services import skill_waive
from inventory.equipment.models import club_day
from inventory.jars import services as jars
from inventory.jars.services.stock import lid_lot_get_or_add
from recipes.models import Revision

SATURDAY = 5


def classes_lay_down(
    told: Mapping[str, Any], people: Mapping[str, User], kitchens: Mapping[str, Kitchen], now: datetime
) -> list[ClassSession]:
    keeper = next(user for user in people.values() if user.has_role(Role.KEEPER))
    for one in told.get("shelf", []):
        _shelf(one, keeper, kitchens["hall"])
    for one in told.get("waived", []):
        by, person = people[one["by"]], people[one["person"]]
        skill_waive(by=by, person=person, skill=one["skill"], reason=one["reason"], now=now)
    return [_class(one, people, kitchens, now) for one in told.get("class", [])]


def _class(
    told: Mapping[str, Any], people: Mapping[str, User], kitchens: Mapping[str, Kitchen], now: datetime
) -> ClassSession:
    """Planned some days ago, then signed up for, then held where the file says so."""
    planned = now - timedelta(days=told.get("made_days_ago", 0))
    session = _session(told, people, kitchens, planned, in_days=told["in_days"] + told.get("made_days_ago", 0))
    seats_lay_down(told.get("seat", []), session, people, now)
    return class_day_lay_down(session, now=now) if told.get("held") else session


def _session(
    told: Mapping[str, Any],
    people: Mapping[str, User],
    kitchens: Mapping[str, Kitchen],
    now: datetime,
    *,
    in_days: int,
) -> ClassSession:
    by = people[told["by"]]
    fields = SessionFields(
        title=told["title"],
        hall=kitchens["hall"],
        starts=time.fromisoformat(told["starts"]),
        ends=time.fromisoformat(told["ends"]),
        instructors=[people[key] for key in told.get("teach", [told["by"]])],
        about=told.get("about", ""),
        what_to_bring=told.get("bring", ""),
        price_note=told.get("price", ""),
        skill=told.get("skill", ""),
        minimum_people=told.get("minimum", 2),
    )
    day = saturday_from(club_day(now) + timedelta(days=in_days))
    session = session_make(by=by, fields=fields, day=day, token=uuid.uuid4(), now=now)
    for station in told.get("station", []):
        station_add(by=by, session=session, fields=_station(station), now=now)
    if told.get("gather"):
        gear_gather(by=by, session=session, now=now)
    return session_publish(by=by, session=session, now=now) if told.get("publish") else session


def _station(told: Mapping[str, Any]) -> StationFields:
    return StationFields(
        revision=Revision.objects.get(current_of__slug=told["recipe"]),
        burners_w=tuple(told["burners_w"]),
        pots=told.get("pots", 1),
        jar_size=told["jar"],
        pack=told.get("pack", ""),
        canner=told["canner"],
        capacity=told["jars"],
        seats=told["seats"],
        name=told.get("name", ""),
    )


def _shelf(told: Mapping[str, Any], keeper: User, hall: Kitchen) -> None:
    """Empties bought into the hall, lids of a lot, or a supply."""
    if "jar" in told:
        jars.jars_move(
            by=keeper,
            reason="bought",
            size=told["jar"],
            count=told["count"],
            source=jars.outside_place("bought"),
            target=jars.kitchen_place(hall),
            token=uuid.uuid4(),
        )
    elif "lids" in told:
        lot = lid_lot_get_or_add(by=keeper, code=told["lids"])
        jars.lids_buy(by=keeper, lot=lot, count=told["count"], token=uuid.uuid4())
    else:
        supply = jars.supply_add(by=keeper, name=told["supply"], unit=told["unit"])
        jars.supply_buy(by=keeper, supply=supply, count=told["count"], token=uuid.uuid4())


def saturday_from(day: date) -> date:
    """That day, when it is a Saturday, or the next one."""
    return day + timedelta(days=(SATURDAY - day.weekday()) % 7)
