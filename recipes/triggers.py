"""Database triggers: a revision that has a number is neither changed nor deleted, whoever asks and however.

The state may still go from published to withdrawn, and nowhere else.
"""

from __future__ import annotations

from club.core.ledger import RefusalTrigger, RefusalTriggers

TABLE = "recipes_revision"
CHANGE = "recipes_revision_no_change"
DELETE = "recipes_revision_no_delete"
CHANGED = "A numbered revision never changes; write a new one."
DELETED = "A numbered revision is never deleted; withdraw it."

KEPT = (
    "id",
    "recipe_id",
    "number",
    "content",
    "digest",
    "seen_statement",
    "from_library",
    "author_id",
    "reviewer_id",
    "published_at",
)
_DIFFERS = " OR ".join(
    [
        *(f"NEW.{column} {{differs}} OLD.{column}" for column in KEPT),
        "(OLD.state = 'withdrawn' AND NEW.state <> 'withdrawn')",
    ]
)

GUARDS = RefusalTriggers(
    RefusalTrigger(CHANGE, TABLE, "UPDATE", CHANGED, when=f"OLD.number IS NOT NULL AND ({_DIFFERS})"),
    RefusalTrigger(DELETE, TABLE, "DELETE", DELETED, when="OLD.number IS NOT NULL"),
)
# Under the names that the migrations call.
install, remove = GUARDS.install, GUARDS.remove
