"""Every write of the room. Each is keyword-only, checks who asks before what is asked, and is one transaction.

Refusals: `PermissionDenied`, `ValidationError` (by field where there is one), `Taken` for a clash of days,
`AlreadyDone` for what somebody did before.
"""

from __future__ import annotations

from club.core.errors import AlreadyDone
from inventory.equipment.description import ThingFields
from inventory.equipment.services.common import Taken, lent_check
from inventory.equipment.services.holds import (
    Moved,
    hold_cancel,
    hold_place,
    hold_place_first_free,
    holds_move,
    waiting_accept,
    waiting_join,
    waiting_leave,
    waiting_move_on,
)
from inventory.equipment.services.loans import (
    SheetRefused,
    SheetRow,
    latest_due,
    loan_deposit_settle,
    loan_extend,
    loan_hand_over,
    loan_return,
    loans_audit,
    parts_settle,
    sheet_key_in,
)
from inventory.equipment.services.own import own_canner_add, own_canner_change, own_canner_retire
from inventory.equipment.services.parts import matters_text, parts_look_record
from inventory.equipment.services.testing import gauge_check, instrument_test_record, last_test, reading_check
from inventory.equipment.services.things import (
    ImportReport,
    photo_clear,
    photo_set,
    register_import,
    thing_add,
    thing_change,
    thing_look_over,
    thing_mend,
    thing_repair,
    thing_retire,
)

__all__ = [
    "AlreadyDone",
    "ImportReport",
    "Moved",
    "SheetRefused",
    "SheetRow",
    "Taken",
    "ThingFields",
    "gauge_check",
    "reading_check",
    "hold_cancel",
    "hold_place",
    "hold_place_first_free",
    "holds_move",
    "instrument_test_record",
    "last_test",
    "latest_due",
    "loan_deposit_settle",
    "lent_check",
    "loan_extend",
    "loan_hand_over",
    "loan_return",
    "loans_audit",
    "matters_text",
    "own_canner_add",
    "own_canner_change",
    "own_canner_retire",
    "parts_look_record",
    "parts_settle",
    "photo_clear",
    "photo_set",
    "register_import",
    "sheet_key_in",
    "thing_add",
    "thing_change",
    "thing_look_over",
    "thing_mend",
    "thing_repair",
    "thing_retire",
    "waiting_accept",
    "waiting_join",
    "waiting_leave",
    "waiting_move_on",
]
