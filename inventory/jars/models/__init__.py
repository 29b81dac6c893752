"""The jar room's tables: the ledger of jars, lids by lot, supplies, deposits, and club orders."""

from __future__ import annotations

from inventory.jars.models.deposits import Deposit, DepositNote
from inventory.jars.models.ledger import Balance, CountTaken, Movement, Place
from inventory.jars.models.lids import LidLot, LidMovement, LidStock, code_key
from inventory.jars.models.orders import ClubOrder, OrderLine, OrderPayment, OrderPickup, OrderWish
from inventory.jars.models.supplies import Supply, SupplyLot, SupplyMovement

__all__ = [
    "Balance",
    "ClubOrder",
    "CountTaken",
    "Deposit",
    "DepositNote",
    "LidLot",
    "LidMovement",
    "LidStock",
    "Movement",
    "OrderLine",
    "OrderPayment",
    "OrderPickup",
    "OrderWish",
    "Place",
    "Supply",
    "SupplyLot",
    "SupplyMovement",
    "code_key",
]
