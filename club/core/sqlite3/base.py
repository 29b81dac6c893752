"""Django's SQLite, whose writers queue: whoever finds another one writing tries again, until it is their turn.

SQLite's own waiting looks again after ever longer pauses, so that under many writers whoever waited longest is the
least likely to be next, and in the end is told "database is locked". Here everybody looks again after pauses of the
same length on average. A statement outside a transaction, such as the one that begins one, has done nothing when it
is refused, so it may be tried again as often as one likes; inside one (each takes the write lock when it begins, see
`SQLITE_OPTIONS`) none is refused.
"""

from __future__ import annotations

import random
import sqlite3
import time
from collections.abc import Callable
from typing import Any

from django.db.backends.sqlite3 import base

OWN_PATIENCE_MS = 50  # SQLite's, whose first pauses are short
PAUSE_S = (0.001, 0.012)
QUEUE_S = 60.0  # longer than 20 writers need who press at once, each for as long as the slowest press takes


def _is_busy(error: sqlite3.OperationalError) -> bool:
    return getattr(error, "sqlite_errorcode", 0) & 0xFF == sqlite3.SQLITE_BUSY


class QueueingCursor(base.SQLiteCursorWrapper):
    """The one place where a statement waits for its turn."""

    def execute(self, query: str, params: Any = None) -> Any:
        return self._in_turn(super().execute, query, params)

    def executemany(self, query: str, param_list: Any) -> Any:
        if not self.connection.in_transaction:  # a list that is read once cannot be tried again
            param_list = list(param_list)
        return self._in_turn(super().executemany, query, param_list)

    def _in_turn(self, run: Callable[[str, Any], Any], query: str, params: Any) -> Any:
        until = None
        while True:
            try:
                return run(query, params)
            except sqlite3.OperationalError as error:
                if not _is_busy(error) or self.connection.in_transaction:
                    raise
                now = time.monotonic()
                until = now + QUEUE_S if until is None else until
                if now > until:
                    raise
            time.sleep(random.uniform(*PAUSE_S))  # noqa: S311 (nobody's secret)


class DatabaseWrapper(base.DatabaseWrapper):
    def get_new_connection(self, conn_params: Any) -> Any:
        """Opened with the settings' own patience: the first one may make the write-ahead log."""
        connection = super().get_new_connection(conn_params)
        connection.execute(f"PRAGMA busy_timeout = {OWN_PATIENCE_MS}")
        return connection

    def create_cursor(self, name: str | None = None) -> Any:
        return self.connection.cursor(factory=QueueingCursor)
