"""What a site needs before it opens: its tables, the library, the static files. Once or a hundred times, on any number
of machines at once: whoever comes second waits, and finds it done."""

from __future__ import annotations

import contextlib
import fcntl
import io
import os
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib.auth import get_user_model
from django.core.management import call_command
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor

from club.reminders.models import BACKUP_JOB
from club.reminders.outbox import broker_state
from club.run.backup import applied, backup_keep, code_version, note, passphrase_by_settings
from club.run.site import is_loopback

# Of this program's own among a PostgreSQL server's locks: the letters of "kettle".
LOCK_NUMBER = int.from_bytes(b"kettle", "big")


@contextlib.contextmanager
def one_at_a_time(say: Callable[[str], object]) -> Iterator[None]:
    """In this data folder, and on PostgreSQL in this database from whichever machine. A lock ends with its holder."""
    settings.DATA_DIR.mkdir(parents=True, exist_ok=True, mode=0o700)
    with (settings.DATA_DIR / "setup.lock").open("a") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            say("Somebody else is setting up; waiting for them ...")
            fcntl.flock(lock, fcntl.LOCK_EX)
        if connection.vendor != "postgresql":
            yield
            return
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_try_advisory_lock(%s)", [LOCK_NUMBER])
            if not cursor.fetchone()[0]:
                say("Another machine is setting up; waiting for it ...")
                cursor.execute("SELECT pg_advisory_lock(%s)", [LOCK_NUMBER])
        try:
            yield
        finally:
            with contextlib.suppress(DatabaseError), connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_unlock(%s)", [LOCK_NUMBER])


def site_prepare(*, say: Callable[[str], object], backup_dir: str) -> None:
    """Tables, library, static files. A database with people in it is backed up before its tables are changed, where
    there is a folder for that: BackupError, and nothing is changed, when it cannot be."""
    with one_at_a_time(say):
        executor = MigrationExecutor(connection)
        if executor.migration_plan(executor.loader.graph.leaf_nodes()):
            kept, (_, before) = None, applied(connection)
            if before and backup_dir and _holds_people():
                kept = backup_keep(Path(backup_dir), passphrase=passphrase_by_settings())
                say(
                    f"The tables change. Before that all data was backed up to {kept}. The way back, with the code of "
                    f"before this {code_version()}: python3 manage.py restore {kept} --replace"
                )
            call_command("migrate", interactive=False, verbosity=0)
            if kept is not None:
                note(BACKUP_JOB, at=datetime.now(UTC))
        else:
            applied(connection)
        call_command("load_library", stdout=io.StringIO())
        call_command("collectstatic", interactive=False, verbosity=0)


def _holds_people() -> bool:
    """Asked of the table itself: the columns may be those of an older version."""
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT 1 FROM {get_user_model()._meta.db_table} LIMIT 1")
        return cursor.fetchone() is not None


def advice() -> list[str]:
    """What a site for others still lacks, each in a sentence that says what to do."""
    found = []
    site = urlsplit(settings.SITE_URL)
    if is_loopback(site.hostname or ""):
        found.append(f"SITE_URL is {settings.SITE_URL}: mails would lead nobody here. Set it to the public address.")
    elif site.scheme != "https":
        found.append("SITE_URL is no https:// address: passwords would travel open. Put TLS before the site.")
    if broker_state() != "ok":
        found.append("Redis does not answer: start it, or look at REDIS_URL. Until then no reminder goes out.")
    if "SMTP_HOST" not in os.environ:
        found.append(f"SMTP_HOST is not set: mails are files in {settings.EMAIL_FILE_PATH}, and reach nobody.")
    if not settings.BACKUP_DIR:
        found.append("BACKUP_DIR is not set: no backup is made by itself.")
    if not get_user_model().objects.exists():
        found.append("Nobody can sign in yet. The first organiser: python3 manage.py createsuperuser")
    return found
