"""Club orders for tests, run by the room's own services. Suppliers and prices are invented."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

from club.members.models import User
from inventory.jars import services
from inventory.jars.models import ClubOrder, OrderLine, Supply
from inventory.jars.services import LineFields, Received, Terms
from tests.factories.jars import make_keeper

NOW = datetime(2026, 5, 4, 18, 0, tzinfo=UTC)

LIDS = LineFields(name="Regular lids", unit="box of 12", price_cents=349, kind="lids", pieces=12, grams=180)
PINTS = LineFields(
    name="Pint jars", unit="tray of 12", price_cents=1_499, kind="jars", pieces=12, grams=4_600, jar_size="pint"
)


def pectin_line(supply: Supply, **fields: Any) -> LineFields:
    return LineFields(
        **{"name": "Pectin", "unit": "box", "price_cents": 250, "kind": "supply", "grams": 50, "supply": supply}
        | fields
    )


def make_order(
    *lines: LineFields,
    by: User | None = None,
    title: str = "Lids and jars for the summer",
    now: datetime = NOW,
    days: int = 7,
    **terms: Any,
) -> ClubOrder:
    """Open for wishes for a week from `now`; lids and pints unless told otherwise."""
    return services.order_open(
        by=by or make_keeper(),
        title=title,
        closes_at=now + timedelta(days=days),
        token=uuid4(),
        terms=Terms(**terms),
        lines=lines or (LIDS, PINTS),
        now=now,
    )


def line_of(order: ClubOrder, kind: str) -> OrderLine:
    return order.lines.get(kind=kind)


def wish(order: ClubOrder, member: User, *, now: datetime = NOW, **units: int) -> None:
    """`wish(order, ada, lids=2, jars=1)`"""
    services.order_entries_set(
        by=member, order=order, entries={line_of(order, kind).pk: n for kind, n in units.items()}, now=now
    )


def received_of(order: ClubOrder, **units: int) -> Mapping[int, Received]:
    """What came, by kind; all that was asked for where a kind is not named."""
    told = {}
    for line in order.lines.all():
        asked = sum(line.entries.values_list("quantity", flat=True))
        told[line.pk] = Received(units.get(line.kind, asked), lid_code="BOX 7" if line.kind == "lids" else "")
    return told


def make_ordered(order: ClubOrder, *, by: User, now: datetime = NOW) -> ClubOrder:
    services.order_place(by=by, order=order, now=now)
    order.refresh_from_db()
    return order


def make_arrived(order: ClubOrder, *, by: User, now: datetime = NOW, **units: int) -> ClubOrder:
    make_ordered(order, by=by, now=now)
    services.order_arrive(by=by, order=order, received=received_of(order, **units), token=uuid4(), now=now)
    order.refresh_from_db()
    return order
