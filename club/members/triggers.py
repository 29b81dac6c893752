"""Database triggers: what was written in the people's ledger is neither changed nor deleted, whoever asks."""

from __future__ import annotations

from club.core.ledger import RefusalTriggers, keep_rows

TABLE = "members_personevent"
KEPT = "What is written in the people''s ledger is never changed or deleted."

GUARDS = RefusalTriggers(*keep_rows(TABLE, message=KEPT, function="members_ledger_kept"))
# Under the names that the migrations call.
install, remove = GUARDS.install, GUARDS.remove
