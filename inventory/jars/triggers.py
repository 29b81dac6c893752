"""Database triggers: what was written in a ledger is neither changed nor deleted, whoever asks and however.

A correction is a new movement. A second trigger sees that a balance calls its place inside or outside as the place
itself does, as the rule that no place inside goes below zero hangs on that word. Django copies a table when it
alters one on SQLite and its triggers are lost with the old table: a later migration that touches one of these must
end with `RunPython(guards.install, guards.remove)`. A test looks for the triggers in the migrated database.
"""

from __future__ import annotations

from typing import Any

TABLES = ("jars_movement", "jars_lidmovement", "jars_supplymovement", "jars_depositnote")
KEPT = "What is written in a ledger is never changed or deleted; write a correction."
BALANCE = "jars_balance"
AGREES = "jars_balance_agrees"
DISAGREES = "A balance calls its place inside or outside as the place itself is."
_INSIDE = "(SELECT kind IN ('kitchen', 'member', 'store') FROM jars_place WHERE id = NEW.place_id)"


def install(apps: Any, schema_editor: Any) -> None:
    for statement in create_statements(schema_editor.connection.vendor):
        schema_editor.execute(statement)


def remove(apps: Any, schema_editor: Any) -> None:
    for statement in drop_statements(schema_editor.connection.vendor):
        schema_editor.execute(statement)


def names() -> list[str]:
    """The triggers there must be."""
    kept = [f"{table}_no_{event}" for table in TABLES for event in ("update", "delete")]
    return [*kept, f"{AGREES}_insert", f"{AGREES}_update"]


def create_statements(vendor: str) -> list[str]:
    return {"sqlite": _sqlite, "postgresql": _postgresql}[vendor]()


def drop_statements(vendor: str) -> list[str]:
    if vendor == "sqlite":
        return [f"DROP TRIGGER IF EXISTS {name}" for name in names()]
    tables = [*(table for table in TABLES for _event in range(2)), BALANCE, BALANCE]
    drops = [f"DROP TRIGGER IF EXISTS {name} ON {table}" for name, table in zip(names(), tables, strict=True)]
    return [*drops, "DROP FUNCTION IF EXISTS jars_ledger_kept()", f"DROP FUNCTION IF EXISTS {AGREES}()"]


def _sqlite() -> list[str]:
    kept = [
        f"CREATE TRIGGER {table}_no_{event} BEFORE {event.upper()} ON {table} FOR EACH ROW "
        f"BEGIN SELECT RAISE(ABORT, '{KEPT}'); END"
        for table in TABLES
        for event in ("update", "delete")
    ]
    agrees = [
        f"CREATE TRIGGER {AGREES}_{name} BEFORE {event} ON {BALANCE} FOR EACH ROW "
        f"WHEN NEW.is_inside IS NOT {_INSIDE} BEGIN SELECT RAISE(ABORT, '{DISAGREES}'); END"
        for name, event in _events()
    ]
    return [*kept, *agrees]


def _postgresql() -> list[str]:
    """Raised as restrict_violation, so that Django reports an IntegrityError as it does on SQLite."""
    kept = [
        f"CREATE TRIGGER {table}_no_{event} BEFORE {event.upper()} ON {table} FOR EACH ROW "
        "EXECUTE FUNCTION jars_ledger_kept()"
        for table in TABLES
        for event in ("update", "delete")
    ]
    agrees = [
        f"CREATE TRIGGER {AGREES}_{name} BEFORE {event} ON {BALANCE} FOR EACH ROW EXECUTE FUNCTION {AGREES}()"
        for name, event in _events()
    ]
    return [
        "CREATE OR REPLACE FUNCTION jars_ledger_kept() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        f"RAISE EXCEPTION '{KEPT}' USING ERRCODE = 'restrict_violation'; END $$",
        f"CREATE OR REPLACE FUNCTION {AGREES}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        f"IF NEW.is_inside IS DISTINCT FROM {_INSIDE} THEN "
        f"RAISE EXCEPTION '{DISAGREES}' USING ERRCODE = 'restrict_violation'; END IF; RETURN NEW; END $$",
        *kept,
        *agrees,
    ]


def _events() -> list[tuple[str, str]]:
    return [("insert", "INSERT"), ("update", "UPDATE OF place_id, is_inside")]
