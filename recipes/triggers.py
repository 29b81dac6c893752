"""Database triggers: a revision that has a number is neither changed nor deleted, whoever asks and however.

The state may still go from published to withdrawn, and nowhere else. Nor is a withdrawal for safety ever softened.
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
# By itself, as its column came later: a withdrawal for safety stays what it was, word for word. One for editing may
# become one for safety, and its own words may be added to.
WITHDRAWAL = "recipes_withdrawal_no_change"
WITHDRAWN = "A withdrawal for safety is never changed or softened."
_OF_THE_WITHDRAWAL = ("withdrawn_for_editing", "withdrawn_at", "withdrawn_by_id", "withdrawn_reason")
_SOFTENS = " OR ".join(f"NEW.{column} {{differs}} OLD.{column}" for column in _OF_THE_WITHDRAWAL)

WITHDRAWALS = RefusalTriggers(
    RefusalTrigger(
        WITHDRAWAL,
        TABLE,
        "UPDATE",
        WITHDRAWN,
        when=f"OLD.state = 'withdrawn' AND NOT OLD.withdrawn_for_editing AND ({_SOFTENS})",
    )
)
# Under the names that the migrations call.
install, remove = GUARDS.install, GUARDS.remove
