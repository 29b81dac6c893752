"""The jar room's tables: the ledger of jars, lids by lot, supplies, deposits, and club orders."""

from __future__ import annotations

from inventory.jars.models.ledger import (
    KEEP,
    Balance,
    BalanceQuerySet,
    CountTaken,
    Deposit,
    DepositNote,
    Movement,
    Place,
    ShelfCount,
)
from inventory.jars.models.orders import RUN, ClubOrder, OrderEntry, OrderLine, OrderPayment, OrderPickup
from inventory.jars.models.stock import (
    KitchenStock,
    LidLot,
    LidMovement,
    LidStock,
    Supply,
    SupplyLot,
    SupplyMovement,
    code_key,
    is_low,
)

__all__ = [
    "KEEP",
    "RUN",
    "Balance",
    "BalanceQuerySet",
    "ClubOrder",
    "CountTaken",
    "Deposit",
    "KitchenStock",
    "DepositNote",
    "LidLot",
    "LidMovement",
    "LidStock",
    "Movement",
    "OrderLine",
    "OrderPayment",
    "OrderPickup",
    "OrderEntry",
    "Place",
    "ShelfCount",
    "Supply",
    "SupplyLot",
    "SupplyMovement",
    "code_key",
    "is_low",
]
