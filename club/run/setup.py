"""What a site needs before it opens: its tables, the library, the static files. Once or a hundred times, on any number
of machines at once: whoever comes second waits, and finds it done."""

from __future__ import annotations

import contextlib
import fcntl
import io
import os
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from importlib import import_module
from pathlib import Path
from urllib.parse import urlsplit

from django.apps import apps
from django.conf import settings
from django.contrib.auth import get_user_model
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.utils.module_loading import module_has_submodule

from club.core.ledger import RefusalTriggers
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
            if connection.introspection.table_names():
                call_command("migrate", interactive=False, verbosity=0)
            else:
                tables_make()
            if kept is not None:
                note(BACKUP_JOB, at=datetime.now(UTC))
        else:
            applied(connection)
        call_command("load_library", stdout=io.StringIO())
        call_command("collectstatic", interactive=False, verbosity=0)


def tables_make() -> None:
    """The tables of an empty database, whole or not at all, from the models: in a tenth of the time that a hundred
    migrations take. That those make the same tables is tested."""
    with _foreign_keys_at_rest(), transaction.atomic():
        by_migrations = settings.MIGRATION_MODULES
        settings.MIGRATION_MODULES = {config.label: None for config in apps.get_app_configs()}
        try:
            call_command("migrate", interactive=False, verbosity=0, run_syncdb=True)
        finally:
            settings.MIGRATION_MODULES = by_migrations
        guards_install()


@contextlib.contextmanager
def _foreign_keys_at_rest() -> Iterator[None]:
    """SQLite turns them off outside a transaction alone, and makes no tables while they are on."""
    connection.disable_constraint_checking()
    try:
        yield
    finally:
        connection.enable_constraint_checking()


def guards_install() -> None:
    """Beside tables made from the models, what else migrations write: triggers, and that none of them waits."""
    with connection.schema_editor() as editor:
        for guard in every_guard():
            guard.install(None, editor)
    recorder = MigrationRecorder(connection)
    recorder.ensure_schema()
    for migration in MigrationLoader(connection).graph.nodes:
        recorder.record_applied(*migration)


def every_guard() -> Iterator[RefusalTriggers]:
    """The triggers of every room, as its migrations lay them down."""
    for config in apps.get_app_configs():
        if module_has_submodule(config.module, "triggers"):
            room = vars(import_module(f"{config.name}.triggers"))
            yield from (one for one in room.values() if isinstance(one, RefusalTriggers))


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
