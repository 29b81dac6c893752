"""Data of every version so far comes up with today's code: a backup of its demo club, restored and looked at.

What the migrations have made of its tables by then is what today's models say, as other tests have it made at once.

A new version adds a file to `tests/club/run/versions`: `python3 manage.py backup` of a fresh demo, named by the day.
"""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import connection
from django.urls import reverse

from club.members.models import User
from club.run.audits import house_audit
from club.run.demo import SIGN_INS
from club.run.restore import archive_open, archive_restore
from inventory.batches.models import Batch

pytestmark = [pytest.mark.long, pytest.mark.django_db(transaction=True)]

VERSIONS = sorted((Path(__file__).parent / "versions").glob("*.backup"))
PAGES = ("desk:home", "batches:list", "recipes:list", "jars:home", "equipment:list", "classes:list", "reminders:health")


# What each says of a table: its columns, constraints, indexes and triggers. Their order is nothing to either, nor are
# names of indexes and keys: a table keeps those when it gets another name. How wide the ids of Django's own table are
# hangs on the day it was made.
SQLITE = """SELECT type, tbl_name, sql FROM sqlite_master WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite_%'"""
POSTGRESQL = r"""
    SELECT 'column', table_name, concat_ws(' ', column_name, data_type, character_maximum_length, is_nullable,
        column_default, identity_generation, collation_name)
    FROM information_schema.columns WHERE table_schema = 'public' AND table_name <> 'auth_group_permissions'
    UNION ALL SELECT 'constraint', conrelid::regclass::text,
        concat_ws(' ', CASE WHEN contype IN ('c', 'u') THEN conname END, pg_get_constraintdef(oid))
    FROM pg_constraint WHERE connamespace = 'public'::regnamespace
    UNION ALL SELECT 'index', tablename, regexp_replace(indexdef, 'INDEX \S+ ON', 'INDEX ON')
    FROM pg_indexes WHERE schemaname = 'public'
    UNION ALL SELECT 'trigger', tgrelid::regclass::text, pg_get_triggerdef(pg_trigger.oid) || prosrc
    FROM pg_trigger JOIN pg_proc ON pg_proc.oid = tgfoid WHERE NOT tgisinternal
"""


def tables() -> Counter[tuple[str, str, str]]:
    """Every part of every table, as the database itself describes it."""
    with connection.cursor() as cursor:
        cursor.execute(SQLITE if connection.vendor == "sqlite" else POSTGRESQL)
        rows = cursor.fetchall()
    if connection.vendor == "postgresql":
        return Counter(rows)
    return Counter((kind, table, part) for kind, table, sql in rows for part in parts(sql))


def parts(sql: str) -> list[str]:
    """A statement of SQLite, cut at the commas that are in no parentheses but those of the table."""
    found, depth = [""], 0
    for piece in re.findall(r"'(?:[^']|'')*'|[(),]|[^'(),]+", sql.removesuffix(")")):
        depth += (piece == "(") - (piece == ")")
        if piece == "," and depth == 1:
            found.append("")
        else:
            found[-1] += piece
    return [" ".join(part.split()) for part in found]


@pytest.mark.parametrize("file", VERSIONS, ids=lambda file: file.stem)
def test_data_of_an_older_version_comes_up_with_this_code_in_place_of_a_damaged_file(file, sign_in):
    from_models = tables()
    if connection.vendor == "sqlite":
        connection.close()
        with open(connection.settings_dict["NAME"], "r+b") as database:
            database.write(b"\0" * 9_000)
    with archive_open(file) as archive:
        done = archive_restore(archive, replace=True, now=archive.made_at)
    assert done.migrated
    assert tables() == from_models
    call_command("makemigrations", check_changes=True, dry_run=True, verbosity=0)
    assert house_audit() == dict.fromkeys(done.audits, [])
    organiser = sign_in(User.objects.get(email=SIGN_INS[0][0]))
    batch = Batch.objects.latest("pk")
    addresses = [*(reverse(page) for page in PAGES), batch.get_absolute_url()]
    assert {address: organiser.get(address).status_code for address in addresses} == dict.fromkeys(addresses, 200)
