"""A backup: one file with every row of the house, of one moment, in a form that belongs to no database.

It is a zip file, closed with a passphrase where one is given (`club/run/envelope.py`):

    tables/<table>.jsonl    a row a line, a JSON array in the order of the manifest's columns, by primary key
    keys.json               the site's own secret, only when asked for
    manifest.json           what made it and when, the migrations that were applied, and of each table its columns, its
                            rows, its size, its SHA-256 and the last number that it gave out

Moments are UTC in ISO 8601, decimals text, pictures base64 (they lie in the database), JSON columns JSON. Tables are
read through the migrations' own picture of them, so that newer code backs up an older database before it migrates it.
"""

from __future__ import annotations

import base64
import contextlib
import errno
import hashlib
import importlib.metadata
import json
import logging
import os
import re
import subprocess
import sys
import tomllib
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from itertools import islice
from pathlib import Path
from typing import IO, Any
from uuid import UUID

from django.apps.registry import Apps
from django.conf import settings
from django.db import DEFAULT_DB_ALIAS, DatabaseError, connections, models, transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.loader import MigrationLoader
from django.db.models.functions import Collate
from django.utils.translation import gettext as _

from club.core.places import HOME, IS_INSTALLED
from club.core.sealing import as_stored
from club.reminders.models import BACKUP_JOB, PeriodicJob
from club.run.envelope import ClosingWriter

log = logging.getLogger(__name__)

PROGRAM, FORMAT = "kettlehall", 1
MANIFEST, KEYS = "manifest.json", "keys.json"
SNAPSHOT = "snapshot"
ROWS_AT_ONCE = 500
NO_ROOM = (errno.ENOSPC, errno.EFBIG, errno.EDQUOT)


class BackupError(Exception):
    """No backup was made, or none can be restored; the message says why and what to do."""


@dataclass(frozen=True)
class Table:
    """What the manifest says of a table. `last_id` is the last number it gave out, where it numbers its rows."""

    model: str
    table: str
    columns: list[str]
    rows: int
    bytes: int
    sha256: str
    last_id: int | None

    @property
    def member(self) -> str:
        return f"tables/{self.table}.jsonl"


@dataclass(frozen=True)
class Manifest:
    program: str
    format: int
    code: str  # the version of the code that made it
    made_at: str  # the moment of the snapshot
    club: str
    database: str  # of which kind it was
    migrations: list[list[str]]
    tables: list[Table]

    @property
    def rows(self) -> int:
        return sum(table.rows for table in self.tables)


def code_version() -> str:
    if IS_INSTALLED:
        return importlib.metadata.version("kettlehall")
    read: str = tomllib.loads((HOME / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"]
    return read


# The tables as the migrations made them.


def applied(connection: BaseDatabaseWrapper) -> tuple[MigrationLoader, list[tuple[str, str]]]:
    """The migrations that this database has. BackupError where newer code than this one made it."""
    loader = MigrationLoader(connection)
    known = sorted(loader.applied_migrations)
    if unknown := [f"{app} {name}" for app, name in known if (app, name) not in loader.graph.nodes]:
        raise BackupError(
            _("This database was made by newer code than this one (it has %(what)s). Use that version of Kettlehall.")
            % {"what": ", ".join(unknown[:3])}
        )
    return loader, known


def tables_at(loader: MigrationLoader, migrations: list[tuple[str, str]]) -> list[type[models.Model]]:
    """The models after these migrations, in an order that is always the same."""
    apps: Apps = loader.project_state(migrations).apps
    found = [one for one in apps.get_models(include_auto_created=True) if one._meta.managed and not one._meta.proxy]
    return sorted(found, key=lambda model: model._meta.db_table)


def columns_of(model: type[models.Model]) -> list[models.Field[Any, Any]]:
    return [field for field in model._meta.local_concrete_fields if not field.generated]


def names_of(model: type[models.Model]) -> list[str]:
    return [str(field.column) for field in columns_of(model)]


def _moment(value: datetime) -> str:
    return value.astimezone(UTC).isoformat(timespec="microseconds")


def _as_base64(value: bytes) -> str:
    return base64.b64encode(value).decode("ascii")


_PLAIN: dict[type, Callable[[Any], object]] = {
    datetime: _moment,
    date: date.isoformat,
    time: time.isoformat,
    Decimal: str,
    UUID: str,
    bytes: _as_base64,
    memoryview: _as_base64,
}
_dumps = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), sort_keys=True, default=None).encode


def _plain(value: object) -> object:
    """What JSON has no word for is written in one that every database reads back; the rest is as it is."""
    make = _PLAIN.get(type(value))
    return make(value) if make else value


def lines_of(model: type[models.Model], *, using: str) -> Iterator[bytes]:
    """Each row as a line, by primary key: text in the order of its letters' numbers, whatever the database's own is."""
    fields = columns_of(model)
    key: Any = model._meta.pk
    order: Any = key.attname if key.get_internal_type() not in ("CharField", "TextField") else None
    if order is None:
        order = Collate(key.attname, "BINARY" if connections[using].vendor == "sqlite" else "C")
    rows = model._base_manager.using(using).order_by(order).values_list(*map(as_stored, fields))
    for row in rows.iterator(chunk_size=ROWS_AT_ONCE):
        yield _dumps([_plain(value) for value in row]).encode() + b"\n"


def last_id(connection: BaseDatabaseWrapper, model: type[models.Model]) -> int | None:
    """The last number the table gave out, perhaps to a row that is gone; None where it numbers none or gave none."""
    key: Any = model._meta.pk
    if not isinstance(key, models.AutoField):
        return None
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT seq FROM sqlite_sequence WHERE name = %s", [model._meta.db_table])
            row = cursor.fetchone()
        else:
            cursor.execute("SELECT pg_get_serial_sequence(%s, %s)", [f'"{model._meta.db_table}"', key.column])
            cursor.execute(f"SELECT last_value FROM {cursor.fetchone()[0]} WHERE is_called")
            row = cursor.fetchone()
    return int(row[0]) if row and row[0] else None


@contextlib.contextmanager
def snapshot() -> Iterator[BaseDatabaseWrapper]:
    """A connection of its own that sees one moment of the database for as long as it takes; nobody waits for it."""
    connection = connections[DEFAULT_DB_ALIAS].copy(alias=SNAPSHOT)
    if connection.vendor == "sqlite":
        # The write-ahead log gives a reader the state of its first read; the usual IMMEDIATE would keep writers out.
        connection.settings_dict["OPTIONS"]["transaction_mode"] = "DEFERRED"
    connections[SNAPSHOT] = connection
    try:
        with transaction.atomic(using=SNAPSHOT), connection.cursor() as cursor:
            if connection.vendor == "postgresql":
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            if "django_migrations" not in connection.introspection.table_names(cursor):
                raise BackupError(_("There is nothing in this database yet. `manage.py setup` makes its tables."))
            yield connection
    finally:
        connection.close()
        del connections[SNAPSHOT]


# Writing the file.


def _write_table(archive: zipfile.ZipFile, connection: BaseDatabaseWrapper, model: type[models.Model]) -> Table:
    digest, rows, size = hashlib.sha256(), 0, 0
    table = model._meta.db_table
    each = lines_of(model, using=connection.alias)
    with archive.open(f"tables/{table}.jsonl", "w", force_zip64=True) as member:
        while lines := list(islice(each, ROWS_AT_ONCE)):
            block = b"".join(lines)
            member.write(block)
            digest.update(block)
            rows, size = rows + len(lines), size + len(block)
    return Table(model._meta.label, table, names_of(model), rows, size, digest.hexdigest(), last_id(connection, model))


def _write_archive(file: IO[bytes] | ClosingWriter, *, with_keys: bool) -> Manifest:
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as archive, snapshot() as connection:
        made_at = datetime.now(UTC)
        loader, migrations = applied(connection)
        tables = [_write_table(archive, connection, model) for model in tables_at(loader, migrations)]
        manifest = Manifest(
            PROGRAM,
            FORMAT,
            code_version(),
            _moment(made_at),
            settings.CLUB_NAME,
            connection.vendor,
            [list(one) for one in migrations],
            tables,
        )
        if with_keys:
            archive.writestr(KEYS, json.dumps({"SECRET_KEY": settings.SECRET_KEY}))
        archive.writestr(MANIFEST, json.dumps(asdict(manifest), indent=1))
    return manifest


def backup_write(path: Path, *, passphrase: str = "", with_keys: bool = False) -> Manifest:
    """Write a backup under a draft's name, readable by this account alone, and name it `path` when it is whole.

    BackupError where that name is taken, the disk is full or cannot be written, or the database is newer than the code.
    """
    if path.exists():
        raise BackupError(
            _("%(path)s is there already, and a backup is never written over. Name another.") % {"path": path}
        )
    draft = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        with open(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            if passphrase:
                closing = ClosingWriter(file, passphrase)
                manifest = _write_archive(closing, with_keys=with_keys)
                closing.finish()
            else:
                manifest = _write_archive(file, with_keys=with_keys)
            file.flush()
            os.fsync(file.fileno())
        os.replace(draft, path)
    except OSError as error:
        raise BackupError(_why_not_written(path, error)) from error
    except DatabaseError as error:
        text = _("The database cannot be read (%(why)s): no backup was made, and older ones are as they were.")
        raise BackupError(text % {"why": str(error).strip()}) from error
    finally:
        draft.unlink(missing_ok=True)
    return manifest


def _why_not_written(path: Path, error: OSError) -> str:
    told = {"path": path.parent, "why": error.strerror or error}
    if error.errno in NO_ROOM:
        return (
            _(
                "There is no room for the backup in %(path)s: none was made, and older ones are as they were. Make "
                "room, or name another disk."
            )
            % told
        )
    return (
        _("The backup could not be written in %(path)s (%(why)s). Look whether the folder is there and yours.") % told
    )


# Backups by themselves: one a day in a folder, kept by a rule, and noted where the health page reads it.

NAME = re.compile(r"^kettlehall-(\d{8}-\d{6})Z\.backup$")
STAMP = "%Y%m%d-%H%M%S"
EVERY = timedelta(hours=24)
TRY_AGAIN = timedelta(hours=1)
DAYS_KEPT, WEEKS_KEPT = 7, 4


def _made(path: Path) -> datetime | None:
    found = NAME.match(path.name)
    return datetime.strptime(found[1], STAMP).replace(tzinfo=UTC) if found else None


def backups_in(folder: Path) -> dict[Path, datetime]:
    """Those with a name of their moment; what else lies there is none of ours."""
    if not folder.is_dir():
        return {}
    return {one: at for one in folder.iterdir() if (at := _made(one))}


def spare(names: dict[Path, datetime], *, newest: Path) -> set[Path]:
    """Those that the rule lets go of: kept are the last of each of 7 days and of 4 weeks that have one.

    It goes by the days that have a backup and not by today, so that a club that was away for a summer, or a clock that
    was set wrong, costs none. The one just made is kept whatever its date is.
    """
    latest_first = sorted(names, key=lambda path: (names[path], path.name), reverse=True)
    kept = {newest}
    by_day, by_week = (dict[object, Path]() for _ in range(2))
    for path in latest_first:
        by_day.setdefault(names[path].date(), path)
        by_week.setdefault(names[path].isocalendar()[:2], path)
    kept.update([*by_day.values()][:DAYS_KEPT], [*by_week.values()][:WEEKS_KEPT])
    return set(names) - kept


def backup_keep(folder: Path, *, passphrase: str = "", with_keys: bool = False) -> Path:
    """A backup in the folder under a name of its moment, and away with those that the rule does not keep."""
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    except OSError as error:
        raise BackupError(_why_not_written(folder / "x", error)) from error
    path = folder / f"kettlehall-{datetime.now(UTC):{STAMP}}Z.backup"
    backup_write(path, passphrase=passphrase, with_keys=with_keys)
    for old in spare(backups_in(folder), newest=path):
        old.unlink(missing_ok=True)
    return path


def passphrase_by_settings() -> str:
    """From BACKUP_PASSPHRASE, or the first line of the file that BACKUP_PASSPHRASE_FILE names; empty without both."""
    if file := os.environ.get("BACKUP_PASSPHRASE_FILE"):
        return passphrase_in(Path(file))
    return os.environ.get("BACKUP_PASSPHRASE", "")


def passphrase_in(file: Path) -> str:
    """The first line of a file. BackupError where it cannot be read or is empty."""
    try:
        first = file.read_text(encoding="utf-8").partition("\n")[0].rstrip("\r")
    except (OSError, UnicodeDecodeError) as error:
        raise BackupError(
            _("No passphrase can be read from %(file)s (%(why)s).") % {"file": file, "why": error}
        ) from None
    if not first:
        raise BackupError(_("The first line of %(file)s is empty: write the passphrase there.") % {"file": file})
    return first


def note(job: str, *, at: datetime, next_at: datetime | None = None) -> None:
    """Keep when it was last done, for the health page; `next_at` is when the daily one is due again."""
    then = {"ended_at": at} | ({"free_at": next_at} if next_at else {})
    PeriodicJob.objects.update_or_create(name=job, defaults=then, create_defaults={"free_at": at} | then)


def turn_taken(now: datetime) -> bool:
    """Whether a daily backup is due and ours to make, of all workers on all hosts.

    One that fails is tried again an hour later, and a new site's first one comes after its first hour. A clock that was
    set back leaves a date that is too far off to be true.
    """
    first = PeriodicJob(name=BACKUP_JOB, free_at=now + TRY_AGAIN)
    PeriodicJob.objects.bulk_create([first], ignore_conflicts=True)
    free = models.Q(free_at__lte=now) | models.Q(free_at__gt=now + EVERY)
    ours = PeriodicJob.objects.filter(free, name=BACKUP_JOB)
    return ours.update(free_at=now + TRY_AGAIN, began_at=now) == 1


def backup_by_schedule(now: datetime) -> None:
    """Make the daily backup when it is due, in a process that gives its memory back. What fails is in the log."""
    if not settings.BACKUP_DIR or not turn_taken(now):
        return
    command = [sys.executable, "-m", "django", "backup"]
    done = subprocess.run(command, cwd=HOME, stdin=subprocess.DEVNULL, capture_output=True, text=True)
    if done.returncode:
        log.error("No backup was made, and it is tried again in an hour: %s", done.stderr.strip()[-2000:])
