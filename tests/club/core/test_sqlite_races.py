"""On SQLite whoever finds another one writing waits for their turn, and is never told that the database is locked."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable
from typing import Any

import pytest
from django.db import OperationalError, connection, transaction

from club.core.sqlite3 import base
from club.members.models import Kitchen
from tests.helpers import at_once

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "sqlite", reason="PostgreSQL has writers of rows, and locks those"),
]
WRITERS = 20
HELD_S = base.OWN_PATIENCE_MS / 1000 * 1.2  # longer than SQLite itself waits


def in_a_transaction() -> None:
    with transaction.atomic():
        Kitchen.objects.create(name="written in a transaction")
        time.sleep(HELD_S)


def by_itself() -> None:
    Kitchen.objects.create(name="written by itself")


def test_twenty_writers_at_once_all_write():
    calls: list[Callable[[], Any]] = [in_a_transaction if n % 2 else by_itself for n in range(WRITERS)]
    assert at_once(*calls, refusals=OperationalError) == [None] * WRITERS
    assert Kitchen.objects.count() == WRITERS


def test_a_lock_that_is_never_given_up_is_told_in_the_end(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(base, "QUEUE_S", 0.1)
    other = sqlite3.connect(connection.settings_dict["NAME"], isolation_level=None)
    try:
        other.execute("BEGIN IMMEDIATE")
        for write in (in_a_transaction, by_itself):
            with pytest.raises(OperationalError, match="database is locked"):
                write()
        other.execute("ROLLBACK")
        by_itself()
    finally:
        other.close()
    assert Kitchen.objects.count() == 1
