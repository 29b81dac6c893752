"""Lid lots, jars and supplies for tests, moved by the room's own services."""

from __future__ import annotations

from datetime import date
from itertools import count
from typing import Any
from uuid import uuid4

from club.members.choices import Role
from club.members.models import User
from inventory.jars import services
from inventory.jars.models import LidLot, Movement, Place, Supply, SupplyLot
from tests.factories.members import make_person

_numbers = count(1)


def make_lid_lot(code: str = "", maker: str = "", **fields: Any) -> LidLot:
    return LidLot.objects.create(code=code or f"LID-{next(_numbers)}", maker=maker, **fields)


def make_keeper(**fields: Any) -> User:
    return make_person(Role.KEEPER, **fields)


def make_jars(place: Place, how_many: int, *, size: str = "pint", by: User | None = None) -> Movement:
    """So many empties bought into the place."""
    return services.jars_move(
        by=by or make_keeper(),
        reason="bought",
        size=size,
        count=how_many,
        source=services.outside_place("bought"),
        target=place,
        token=uuid4(),
    )


def make_loan(person: User, how_many: int, *, by: User, size: str = "pint", deposit_cents: int = 0) -> Movement:
    """Empties lent from the store to a member; the store buys them first."""
    store = services.store_place()
    make_jars(store, how_many, size=size, by=by)
    return services.jars_move(
        by=by,
        reason="lent",
        size=size,
        count=how_many,
        source=store,
        target=services.person_place(person),
        token=uuid4(),
        deposit_cents=deposit_cents,
    )


def make_supply(name: str = "", *, by: User | None = None, low_level: int = 0, kind: str = "other") -> Supply:
    return services.supply_add(
        by=by or make_keeper(),
        name=name or f"Pectin {next(_numbers)}",
        unit="packets",
        low_level=low_level,
        kind=kind,
    )


def make_stock(supply: Supply, how_many: int, *, by: User | None = None, use_by: date | None = None) -> SupplyLot:
    strength = 50 if supply.is_vinegar else None
    return services.supply_buy(
        by=by or make_keeper(), supply=supply, count=how_many, token=uuid4(), use_by=use_by, strength_tenths=strength
    ).lot
