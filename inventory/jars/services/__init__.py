"""Every write to the jar room. Each is one transaction, keyword-only, and checks who asks before what is asked."""

from __future__ import annotations

from inventory.jars.services.audit import LedgerAudit, ledger_audit
from inventory.jars.services.common import NotEnough
from inventory.jars.services.counting import counts_take, counts_try
from inventory.jars.services.filling import jars_fill, jars_settle
from inventory.jars.services.lid_lots import CODE_LENGTH, MAKER_LENGTH, lid_lot_get_or_add
from inventory.jars.services.lids import lids_buy, lids_correct, lids_spoil, lids_use
from inventory.jars.services.moving import deposit_settle, jars_correct, jars_move
from inventory.jars.services.order_arrivals import Received, order_arrive
from inventory.jars.services.order_handing import order_payment_note, order_pick_up
from inventory.jars.services.order_wishes import order_wishes_set
from inventory.jars.services.orders import (
    LineFields,
    Terms,
    order_cancel,
    order_close,
    order_line_add,
    order_line_remove,
    order_open,
    order_place,
    order_terms_change,
)
from inventory.jars.services.places import kitchen_place, outside_place, person_place, store_place
from inventory.jars.services.supplies import supply_add, supply_buy, supply_correct, supply_spoil, supply_use

__all__ = [
    "CODE_LENGTH",
    "MAKER_LENGTH",
    "LineFields",
    "Received",
    "Terms",
    "LedgerAudit",
    "NotEnough",
    "counts_take",
    "counts_try",
    "deposit_settle",
    "jars_correct",
    "jars_fill",
    "jars_move",
    "jars_settle",
    "kitchen_place",
    "ledger_audit",
    "lid_lot_get_or_add",
    "lids_buy",
    "lids_correct",
    "lids_spoil",
    "lids_use",
    "order_arrive",
    "order_cancel",
    "order_close",
    "order_line_add",
    "order_line_remove",
    "order_open",
    "order_payment_note",
    "order_pick_up",
    "order_place",
    "order_terms_change",
    "order_wishes_set",
    "outside_place",
    "person_place",
    "store_place",
    "supply_add",
    "supply_buy",
    "supply_correct",
    "supply_spoil",
    "supply_use",
]
