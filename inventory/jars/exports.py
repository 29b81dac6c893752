"""Everything the room holds, as tables to take away. Reads only; long ones are read in portions."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet

from inventory.jars.models import (
    Balance,
    Deposit,
    DepositNote,
    LidMovement,
    LidStock,
    Movement,
    OrderEntry,
    OrderPayment,
    SupplyLot,
    SupplyMovement,
)
from inventory.jars.services.counting import COLUMNS, JARS, LIDS, SUPPLY

PORTION = 5_000
# What a workbook takes in a bearable time; a longer table is had as CSV.
MOST_IN_WORKBOOK = 100_000
Cells = tuple[object, ...]


@dataclass(frozen=True)
class Table:
    title: str
    heads: Sequence[str]
    rows: Callable[[], Iterator[Cells]]
    size: Callable[[], int]


def _counts() -> Iterator[Cells]:
    """In the columns that an import reads: what goes out can come in again."""
    there = Balance.objects.there().select_related("place__kitchen", "place__person", "batch").defer("batch__plan")
    for row in there.order_by("pk").iterator(PORTION):
        code = row.batch.lot_code if row.batch else ""
        yield (JARS, row.place_id, str(row.place), row.size, row.state, code, "", "", "", "", row.count)
    for stock in LidStock.objects.select_related("lot").order_by("pk").iterator(PORTION):
        yield (LIDS, "", "", "", "", stock.lot.code, stock.lot.maker, "", "", "", stock.on_hand)
    for lot in SupplyLot.objects.there().select_related("supply").order_by("pk").iterator(PORTION):
        yield (SUPPLY, "", "", "", "", "", "", lot.supply.name, lot.use_by or "", lot.strength_text, lot.count)


def _values(rows: QuerySet[Any], *names: str) -> Callable[[], Iterator[Cells]]:
    return lambda: rows.order_by("pk").values_list(*names).iterator(PORTION)


def _place(side: str) -> tuple[str, ...]:
    return (f"{side}__kind", f"{side}__kitchen__name", f"{side}__person__name", f"{side}_state")


TABLES: dict[str, Table] = {
    "counts": Table("counts", COLUMNS, _counts, Balance.objects.there().count),
    "movements": Table(
        "movements",
        (
            *("no", "at", "by", "reason", "count", "size"),
            *("from", "from kitchen", "from member", "from state"),
            *("to", "to kitchen", "to member", "to state"),
            *("lot", "corrects", "note"),
        ),
        _values(
            Movement.objects.all(),
            *("pk", "at", "by__email", "reason", "count", "size"),
            *_place("source"),
            *_place("target"),
            *("batch__lot_code", "corrects", "note"),
        ),
        Movement.objects.count,
    ),
    "lids": Table(
        "lids",
        ("lot", "maker", "bought on", "bought", "used", "spoilt", "on hand"),
        _values(
            LidStock.objects.all(),
            *("lot__code", "lot__maker", "lot__bought_on", "bought", "used", "spoilt", "on_hand"),
        ),
        LidStock.objects.count,
    ),
    "lid-movements": Table(
        "lid movements",
        ("no", "at", "by", "lot", "maker", "count", "from", "to", "reason", "batch", "corrects", "note"),
        _values(
            LidMovement.objects.all(),
            *("pk", "at", "by__email", "lot__code", "lot__maker", "count", "source", "target", "reason"),
            *("batch__lot_code", "corrects", "note"),
        ),
        LidMovement.objects.count,
    ),
    "supplies": Table(
        "supplies",
        ("supply", "kind", "unit", "low from", "lot", "use by", "strength in tenths of a percent", "count"),
        _values(
            SupplyLot.objects.filter(supply__is_kept=True),
            *("supply__name", "supply__kind", "supply__unit", "supply__low_level", "code", "use_by"),
            *("strength_tenths", "count"),
        ),
        SupplyLot.objects.filter(supply__is_kept=True).count,
    ),
    "supply-movements": Table(
        "supply movements",
        ("no", "at", "by", "supply", "lot", "use by", "change", "reason", "batch", "corrects", "note"),
        _values(
            SupplyMovement.objects.filter(kitchen=None),
            *("pk", "at", "by__email", "lot__supply__name", "lot__code", "lot__use_by", "change", "reason"),
            *("batch__lot_code", "corrects", "note"),
        ),
        SupplyMovement.objects.filter(kitchen=None).count,
    ),
    "deposits": Table(
        "deposits",
        ("member", "email", "size", "jars", "cents"),
        _values(Deposit.objects.all(), "person__name", "person__email", "size", "jars", "cents"),
        Deposit.objects.count,
    ),
    "order-wishes": Table(
        "order wishes",
        ("order", "state", "line", "unit", "price cents", "member", "email", "asked", "gets"),
        _values(
            OrderEntry.objects.all(),
            *("line__order__title", "line__order__state", "line__name", "line__unit", "line__price_cents"),
            *("member__name", "member__email", "quantity", "got"),
        ),
        OrderEntry.objects.count,
    ),
    "order-payments": Table(
        "order payments",
        ("no", "at", "by", "order", "member", "email", "cents", "note"),
        _values(
            OrderPayment.objects.all(),
            *("pk", "at", "by__email", "order__title", "member__name", "member__email", "cents", "note"),
        ),
        OrderPayment.objects.count,
    ),
    "deposit-notes": Table(
        "deposit notes",
        ("no", "at", "by", "member", "size", "jars", "cents", "movement", "note"),
        _values(
            DepositNote.objects.all(),
            *("pk", "at", "by__email", "person__email", "size", "jars", "cents", "movement", "note"),
        ),
        DepositNote.objects.count,
    ),
}


def workbook_tables() -> Iterator[tuple[str, Sequence[str], Iterator[Cells]]]:
    """Every table for one workbook; one that is too long says so in its place."""
    for table in TABLES.values():
        if table.size() > MOST_IN_WORKBOOK:
            yield table.title, ("too long for a workbook: take it as CSV",), iter(())
        else:
            yield table.title, table.heads, table.rows()
