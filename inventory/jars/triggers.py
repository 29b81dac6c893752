"""Database triggers: what was written in a ledger is neither changed nor deleted, whoever asks and however.

A correction is a new movement. A second pair sees that a balance calls its place inside or outside as the place itself
is, as the rule that no place inside goes below zero hangs on that flag.
"""

from __future__ import annotations

from club.core.ledger import RefusalTrigger, RefusalTriggers, keep_rows

TABLES = ("jars_movement", "jars_lidmovement", "jars_supplymovement", "jars_depositnote")
KEPT = "What is written in a ledger is never changed or deleted; write a correction."
DISAGREES = "A balance calls its place inside or outside as the place itself is."
_IS_INSIDE = "(SELECT kind IN ('kitchen', 'member', 'store') FROM jars_place WHERE id = NEW.place_id)"

GUARDS = RefusalTriggers(
    *keep_rows(*TABLES, message=KEPT, function="jars_ledger_kept"),
    *(
        RefusalTrigger(
            f"jars_balance_agrees_{name}",
            "jars_balance",
            event,
            DISAGREES,
            when=f"NEW.is_inside {{differs}} {_IS_INSIDE}",
            function="jars_balance_agrees",
        )
        for name, event in (("insert", "INSERT"), ("update", "UPDATE OF place_id, is_inside"))
    ),
)
# Under the names that the migrations call.
install, remove = GUARDS.install, GUARDS.remove
