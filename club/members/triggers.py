"""Database triggers: what was written in the people's ledger is neither changed nor deleted, whoever asks; and a
kitchen's altitude is what the last of its dated rows says, which stay as they are too.
"""

from __future__ import annotations

from club.core.ledger import RefusalTrigger, RefusalTriggers, keep_rows

TABLE = "members_personevent"
KEPT = "What is written in the people''s ledger is never changed or deleted."

GUARDS = RefusalTriggers(*keep_rows(TABLE, message=KEPT, function="members_ledger_kept"))
# Under the names that the migrations call.
install, remove = GUARDS.install, GUARDS.remove

ALTITUDE_TABLE = "members_kitchenaltitude"
ALTITUDE_KEPT = "A dated altitude is never changed or deleted; write another."
DISAGREES = "A kitchen has the altitude that the last of its dated rows says."


def _last(column: str) -> str:
    return f"(SELECT {column} FROM {ALTITUDE_TABLE} WHERE kitchen_id = NEW.id ORDER BY since DESC, id DESC LIMIT 1)"


ALTITUDES = RefusalTriggers(
    *keep_rows(ALTITUDE_TABLE, message=ALTITUDE_KEPT, function="members_altitudes_kept"),
    # No row can name a kitchen that is not there yet: it begins without an altitude.
    RefusalTrigger(
        "members_kitchen_altitude_insert", "members_kitchen", "INSERT", DISAGREES, when="NEW.altitude_m IS NOT NULL"
    ),
    RefusalTrigger(
        "members_kitchen_altitude_update",
        "members_kitchen",
        "UPDATE OF altitude_m, altitude_how",
        DISAGREES,
        when="(NEW.altitude_m {differs} OLD.altitude_m OR NEW.altitude_how <> OLD.altitude_how) AND ("
        f"NEW.altitude_m {{differs}} {_last('altitude_m')} OR NEW.altitude_how {{differs}} {_last('how')})",
    ),
)
