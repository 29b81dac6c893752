"""What ledgers share and no room's own test looks at: how an audit tells books apart, and what a trigger is made of."""

from __future__ import annotations

from collections import Counter

import pytest

from club.core.ledger import RefusalTrigger, RefusalTriggers, disagreements, keep_rows


def test_an_audit_names_each_key_that_is_not_what_its_rows_make_it():
    moved: Counter[object] = Counter({"a": 3, "b": 2, "c": 0})
    kept: Counter[object] = Counter({"a": 3, "b": 1, "d": 4})
    assert disagreements("lids", moved=moved, kept=kept) == [
        "lids b: 1 kept, 2 by the movements",
        "lids d: 4 kept, 0 by the movements",
    ]
    assert disagreements("lids", moved=moved, kept=Counter({"a": 3, "b": 2})) == []


def test_rows_are_kept_from_change_and_deletion_in_each_table():
    guards = RefusalTriggers(*keep_rows("one", "two", message="It stays.", function="stays"))
    assert guards.names == ["one_no_update", "one_no_delete", "two_no_update", "two_no_delete"]
    assert [sql.split(" FOR EACH")[0] for sql in guards.create_statements("sqlite")] == [
        "CREATE TRIGGER one_no_update BEFORE UPDATE ON one",
        "CREATE TRIGGER one_no_delete BEFORE DELETE ON one",
        "CREATE TRIGGER two_no_update BEFORE UPDATE ON two",
        "CREATE TRIGGER two_no_delete BEFORE DELETE ON two",
    ]


@pytest.mark.parametrize(("vendor", "comparison"), [("sqlite", "IS NOT"), ("postgresql", "IS DISTINCT FROM")])
def test_a_condition_knows_null_on_either_database(vendor, comparison):
    guard = RefusalTrigger("stays", "one", "UPDATE", "It stays.", when="NEW.a {differs} OLD.a")
    assert f"NEW.a {comparison} OLD.a" in RefusalTriggers(guard).create_statements(vendor)[0]


def test_triggers_of_one_function_make_and_drop_it_once():
    guards = RefusalTriggers(*keep_rows("one", "two", message="It stays.", function="stays"))
    made, dropped = guards.create_statements("postgresql"), guards.drop_statements("postgresql")
    assert sum("FUNCTION stays() RETURNS" in sql for sql in made) == 1
    assert dropped[-1] == "DROP FUNCTION IF EXISTS stays()"
    assert len(dropped) == len(guards.names) + 1
