"""Database triggers: a revision that has a number is neither changed nor deleted, whoever asks and however.

The state may still go from published to withdrawn, and nowhere else. Django copies a table when it alters one on
SQLite and its triggers are lost with the old table: a later migration that touches `Revision` must end with
`RunPython(guards.install, guards.remove)`. A test looks for the triggers in the migrated database.
"""

from __future__ import annotations

from typing import Any

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


def install(apps: Any, schema_editor: Any) -> None:
    for statement in create_statements(schema_editor.connection.vendor):
        schema_editor.execute(statement)


def remove(apps: Any, schema_editor: Any) -> None:
    for statement in drop_statements(schema_editor.connection.vendor):
        schema_editor.execute(statement)


def create_statements(vendor: str) -> list[str]:
    return {"sqlite": _sqlite, "postgresql": _postgresql}[vendor]()


def drop_statements(vendor: str) -> list[str]:
    if vendor == "sqlite":
        return [f"DROP TRIGGER IF EXISTS {name}" for name in (CHANGE, DELETE)]
    drops = [f"DROP TRIGGER IF EXISTS {name} ON {TABLE}" for name in (CHANGE, DELETE)]
    return [*drops, *(f"DROP FUNCTION IF EXISTS {name}()" for name in (CHANGE, DELETE))]


def _differs(operator: str) -> str:
    changed = [f"NEW.{column} {operator} OLD.{column}" for column in KEPT]
    return " OR ".join([*changed, "(OLD.state = 'withdrawn' AND NEW.state <> 'withdrawn')"])


def _sqlite() -> list[str]:
    return [
        f"CREATE TRIGGER {CHANGE} BEFORE UPDATE ON {TABLE} FOR EACH ROW "
        f"WHEN OLD.number IS NOT NULL AND ({_differs('IS NOT')}) "
        f"BEGIN SELECT RAISE(ABORT, '{CHANGED}'); END",
        f"CREATE TRIGGER {DELETE} BEFORE DELETE ON {TABLE} FOR EACH ROW "
        f"WHEN OLD.number IS NOT NULL BEGIN SELECT RAISE(ABORT, '{DELETED}'); END",
    ]


def _postgresql() -> list[str]:
    return [
        *_postgresql_trigger(CHANGE, "UPDATE", f"({_differs('IS DISTINCT FROM')})", CHANGED, "NEW"),
        *_postgresql_trigger(DELETE, "DELETE", "TRUE", DELETED, "OLD"),
    ]


def _postgresql_trigger(name: str, event: str, when: str, message: str, row: str) -> list[str]:
    """Raised as restrict_violation, so that Django reports an IntegrityError as it does on SQLite."""
    return [
        f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        f"IF OLD.number IS NOT NULL AND {when} THEN "
        f"RAISE EXCEPTION '{message}' USING ERRCODE = 'restrict_violation'; END IF; RETURN {row}; END $$",
        f"CREATE TRIGGER {name} BEFORE {event} ON {TABLE} FOR EACH ROW EXECUTE FUNCTION {name}()",
    ]
