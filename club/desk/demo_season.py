"""The demo club's season: what households go through, jars they opened, and two club orders, through the services."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from club.desk.season_services import household_set, jars_used, wish_set
from club.members.choices import Role
from club.members.models import Kitchen, User
from inventory.jars import services
from inventory.jars.models import ClubOrder, Supply
from inventory.jars.services import LineFields, Received, Terms
from recipes.models import Recipe


def season_lay_down(
    told: Mapping[str, Any], people: Mapping[str, User], kitchens: Mapping[str, Kitchen], now: datetime
) -> None:
    """After the batches, whose jars are opened here."""
    keeper = next(user for user in people.values() if user.has_role(Role.KEEPER))
    for one in told.get("household", []):
        _household(one, people[one["by"]], kitchens[one["kitchen"]])
    for one in told.get("yearly", []):
        _yearly(one, people[one["by"]], kitchens[one["kitchen"]])
    for one in told.get("opened", []):
        _opened(one, people[one["by"]], kitchens[one["kitchen"]], now)
    for one in told.get("order", []):
        _order(one, people, keeper, now)


def _household(told: Mapping[str, Any], by: User, kitchen: Kitchen) -> None:
    household_set(
        by=by,
        kitchen=kitchen,
        evening_minutes=told["evening_minutes"],
        lids_at_home=told.get("lids", 0),
        is_counted=told.get("counted", False),
    )


def _yearly(told: Mapping[str, Any], by: User, kitchen: Kitchen) -> None:
    recipe = Recipe.objects.get(slug=told["recipe"]) if "recipe" in told else None
    kind, produce, canner = (told.get(name, "") for name in ("kind", "produce", "canner"))
    what = {"kind": kind, "produce": produce, "canner": canner}
    wish_set(by=by, kitchen=kitchen, recipe=recipe, jar_size=told["jar"], jars=told["jars"], **what)


def _opened(told: Mapping[str, Any], by: User, kitchen: Kitchen, now: datetime) -> None:
    jars_used(
        by=by,
        kitchen=kitchen,
        what=told.get("what", "emptied"),
        recipe_id=Recipe.objects.get(slug=told["recipe"]).pk,
        size=told["jar"],
        count=told["count"],
        token=uuid.uuid4(),
        now=now - timedelta(days=told["days_ago"]),
    )


def _order(told: Mapping[str, Any], people: Mapping[str, User], keeper: User, now: datetime) -> None:
    """An order as far as it has come: taking wishes, or arrived and partly fetched."""
    opened = now - timedelta(days=told["opened_days_ago"])
    order = services.order_open(
        by=people[told["by"]],
        title=told["title"],
        supplier=told.get("supplier", ""),
        note=told.get("note", ""),
        closes_at=opened + timedelta(days=told["open_days"]),
        token=uuid.uuid4(),
        terms=Terms(**told.get("terms", {})),
        lines=[_line(line, keeper) for line in told["line"]],
        now=opened,
    )
    lines = list(order.lines.order_by("pk"))
    for wish in told.get("wish", []):
        asked = {line.pk: units for line, units in zip(lines, wish["units"], strict=True)}
        at = opened + timedelta(hours=wish["after_hours"])
        services.order_wishes_set(by=people[wish["member"]], order=order, wishes=asked, now=at)
    if "arrived_days_ago" in told:
        _arrive(told, order, people, keeper, now - timedelta(days=told["arrived_days_ago"]))


def _line(told: Mapping[str, Any], keeper: User) -> LineFields:
    fields = dict(told)
    if "supply" in fields:
        fields["supply"] = _supply(fields["supply"], keeper)
    return LineFields(**fields)


def _supply(told: Mapping[str, Any], keeper: User) -> Supply:
    return services.supply_add(by=keeper, name=told["name"], unit=told["unit"], low_level=told.get("low", 0))


def _arrive(told: Mapping[str, Any], order: ClubOrder, people: Mapping[str, User], keeper: User, at: datetime) -> None:
    services.order_place(by=keeper, order=order, now=at - timedelta(days=5))
    lines = zip(order.lines.order_by("pk"), told["received"], told["lids"], strict=True)
    received = {line.pk: Received(units, lid_code=code) for line, units, code in lines}
    services.order_arrive(by=keeper, order=order, received=received, token=uuid.uuid4(), now=at)
    for one in told.get("paid", []):
        member, cents = people[one["member"]], one["cents"]
        services.order_payment_note(by=keeper, order=order, member=member, cents=cents, token=uuid.uuid4(), now=at)
    for key in told.get("fetched", []):
        services.order_pick_up(by=keeper, order=order, member=people[key], token=uuid.uuid4(), now=at)
