"""Taking a backup back: everything about the file is looked at first, then it is all taken in, or nothing is.

On PostgreSQL all happens in one transaction. On SQLite the rows go into a new file beside the old one, which takes its
place in one step when every audit has passed. Either database takes in what the other one wrote: the tables are made
by the migrations that the backup had, filled, and then brought up to this code by the migrations that came since.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import shutil
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from datetime import datetime, timedelta
from itertools import islice, zip_longest
from pathlib import Path
from typing import Any, BinaryIO

from django.contrib.contenttypes.models import ContentType
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.db import DatabaseError, DataError, IntegrityError, connection, models, transaction
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as lazy

from club.core.faults import Fault, fault_of, sentence_about
from club.core.sealing import SealedTextField, Unreadable
from club.members.models import User
from club.reminders.models import LIVE, Reminder
from club.run.audits import house_audit
from club.run.backup import (
    FORMAT,
    KEYS,
    MANIFEST,
    NO_ROOM,
    PROGRAM,
    ROWS_AT_ONCE,
    BackupError,
    Manifest,
    Table,
    applied,
    code_version,
    columns_of,
    last_id,
    lines_of,
    names_of,
    snapshot,
    tables_at,
)
from club.run.envelope import Damaged, OpeningReader, WrongPassphrase, is_closed

# What a file may ask of whoever reads it. A photograph has less than a megabyte, a plan less than a tenth of one.
MOST_MEMBERS = 1_000
MOST_MANIFEST_BYTES = 4 * 2**20
MOST_LINE_BYTES = 32 * 2**20
# Rows of one kind pack some ten to forty times smaller; more than this is a file made to fill a machine.
MOST_PACKED, SMALL_BYTES = 250, 2**20
# A clock may be a little behind the one that the backup was made by.
CLOCK_SLACK = timedelta(hours=1)
LOCK_PATIENCE = "10s"

NOT_OURS = lazy("%(path)s is no backup of Kettlehall. Name a file that `manage.py backup` wrote.")
CUT_OFF = lazy(
    "%(path)s is cut off or damaged (%(what)s): nothing was taken from it. Copy it again from where it was kept, or "
    "take an older backup."
)
FULL = lazy("There is no room on the disk: nothing was changed. Make room and restore again.")


class Archive:
    """An open backup. What it says of itself was compared with what is in it only after `verify`."""

    def __init__(self, path: Path, file: BinaryIO) -> None:
        self.path = path
        try:
            self.zip = zipfile.ZipFile(file)
        except (zipfile.BadZipFile, Damaged, ValueError, OverflowError) as error:
            raise self.cut_off("its list of contents") from error
        members = self.zip.infolist()
        self.members = {one.filename: one for one in members}
        if MANIFEST not in self.members:
            raise BackupError(NOT_OURS % {"path": path})
        if len(members) > MOST_MEMBERS or len(self.members) < len(members):
            raise self.refused(_("it lists more than a backup has"))
        for name in (MANIFEST, KEYS):
            if name in self.members and self.members[name].file_size > MOST_MANIFEST_BYTES:
                raise self.refused(_("its %(name)s is larger than one is") % {"name": name})
        self.manifest = self._read_manifest()

    def cut_off(self, what: str) -> BackupError:
        return BackupError(CUT_OFF % {"path": self.path, "what": what})

    def refused(self, why: str) -> BackupError:
        text = _("%(path)s was not made by `manage.py backup` as it is now: %(why)s. Nothing was taken from it.")
        return BackupError(text % {"path": self.path, "why": why})

    def _read_manifest(self) -> Manifest:
        try:
            read: dict[str, Any] = json.loads(self.zip.read(MANIFEST))
            program, form = read["program"], read["format"]
        except (ValueError, KeyError, TypeError, RecursionError, zipfile.BadZipFile, zlib.error, Damaged) as error:
            raise self.cut_off(MANIFEST) from error
        if program != PROGRAM:
            raise BackupError(NOT_OURS % {"path": self.path})
        if form != FORMAT:
            raise BackupError(
                _(
                    "This backup has format %(form)s, and this code (%(code)s) reads format %(ours)s. Restore it with "
                    "the version that made it (%(made)s), and back it up anew with one that has both."
                )
                % {"form": form, "code": code_version(), "ours": FORMAT, "made": read.get("code", "?")}
            )
        try:
            tables = [Table(**{one.name: table[one.name] for one in fields(Table)}) for table in read["tables"]]
            told = {one.name: read[one.name] for one in fields(Manifest)} | {"tables": tables}
            manifest = Manifest(**told)
            datetime.fromisoformat(manifest.made_at)
            is_well_formed = all(
                isinstance(one.rows, int) and isinstance(one.bytes, int) and isinstance(one.columns, list)
                for one in tables
            ) and all(len([str(part) for part in one]) == 2 for one in manifest.migrations)
        except (KeyError, TypeError, ValueError) as error:
            raise self.cut_off(MANIFEST) from error
        if not is_well_formed:
            raise self.cut_off(MANIFEST)
        return manifest

    @property
    def made_at(self) -> datetime:
        return datetime.fromisoformat(self.manifest.made_at)

    def verify(self) -> None:
        """Read all of it once: every name, size, count and digest is what the manifest says."""
        expected = {MANIFEST, *(table.member for table in self.manifest.tables)}
        if set(self.members) - {KEYS} != expected:
            strange = sorted((set(self.members) - {KEYS}) ^ expected)
            raise self.refused(_("%(name)s is not as the manifest says") % {"name": strange[0][:80]})
        for one in self.members.values():
            packs_too_well = one.file_size > SMALL_BYTES and one.file_size > MOST_PACKED * max(one.compress_size, 1)
            if packs_too_well or one.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
                raise self.refused(_("%(name)s is packed as no backup is") % {"name": one.filename[:80]})
        for table in self.manifest.tables:
            if self.members[table.member].file_size != table.bytes:
                raise self.cut_off(table.member)
            digest, rows = hashlib.sha256(), 0
            for line in self.lines(table):
                digest.update(line)
                rows += 1
            if digest.hexdigest() != table.sha256 or rows != table.rows:
                raise self.cut_off(table.member)

    def lines(self, table: Table) -> Iterator[bytes]:
        try:
            with self.zip.open(table.member) as member:
                while line := member.readline(MOST_LINE_BYTES):
                    if not line.endswith(b"\n"):
                        raise self.cut_off(table.member)
                    yield line
        except (zipfile.BadZipFile, zlib.error, EOFError, Damaged, NotImplementedError, RuntimeError) as error:
            raise self.cut_off(table.member) from error

    def secret(self) -> str:
        """The secret of the site that was backed up; empty when it was left out."""
        if KEYS not in self.members:
            return ""
        return str(json.loads(self.zip.read(KEYS))["SECRET_KEY"])


@contextlib.contextmanager
def archive_open(path: Path, *, passphrase: str = "") -> Iterator[Archive]:
    """BackupError for what is no backup, is damaged, or wants another passphrase."""
    try:
        file = path.open("rb")
    except OSError as error:
        told = {"path": path, "why": error.strerror}
        raise BackupError(
            _("%(path)s cannot be read (%(why)s). Look at the name, and who may read it.") % told
        ) from None
    with file:
        opened: Any = file
        if is_closed(file):
            if not passphrase:
                raise BackupError(
                    _("This backup is closed with a passphrase. Give it: --passphrase-file, or BACKUP_PASSPHRASE.")
                )
            try:
                opened = OpeningReader(file, passphrase)
            except WrongPassphrase:
                raise BackupError(
                    _("The passphrase does not open this backup. Look for the one it was made with.")
                ) from None
            except Damaged:
                raise BackupError(CUT_OFF % {"path": path, "what": _("its beginning or its end")}) from None
        elif file.read(2) != b"PK":
            raise BackupError(NOT_OURS % {"path": path})
        yield Archive(path, opened)


# Before anything is touched.


def require_fitting(archive: Archive, *, replace: bool, now: datetime) -> None:
    """BackupError where the backup is from newer code or from the future, or the database is not for it."""
    manifest = archive.manifest
    told = {"made": manifest.code, "code": code_version(), "at": f"{archive.made_at:%Y-%m-%d %H:%M} UTC"}
    known = MigrationLoader(None).graph.nodes
    if _numbers(manifest.code) > _numbers(code_version()) or any(
        tuple(one) not in known for one in manifest.migrations
    ):
        raise BackupError(
            _(
                "This backup was made by Kettlehall %(made)s, which is newer than this code (%(code)s). Install that "
                "version, and restore with it."
            )
            % told
        )
    if archive.made_at > now + CLOCK_SLACK:
        raise BackupError(
            _(
                "This backup was made on %(at)s, which this machine's clock has not reached. Set the clock right "
                "first, for reminders go by it."
            )
            % told
        )
    try:
        there = set(connection.introspection.table_names())
        if there and "django_migrations" not in there:
            raise BackupError(_("This database holds another program's tables. Make an empty one for Kettlehall."))
        if there:
            applied(connection)
        holds_people = User._meta.db_table in there and _holds_people()
    except DatabaseError as error:
        if replace and connection.vendor == "sqlite":
            return  # a damaged file is what a backup is for
        text = _("The database cannot be read (%(why)s). Where its file is damaged, restore with --replace.")
        raise BackupError(text % {"why": str(error).strip()}) from error
    if holds_people and not replace:
        raise BackupError(
            _(
                "There are people in this database, and nothing was changed. With --replace all that is in it gives "
                "way to the backup; make a backup of it first."
            )
        )


def _numbers(version: str) -> tuple[int, ...]:
    return tuple(int(part) for part in version.split(".") if part.isdigit())


def _holds_people() -> bool:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT count(*) FROM {User._meta.db_table}")
        return bool(cursor.fetchone()[0])


# Where the rows go.


def _has_just_these(migrations: list[list[str]]) -> bool:
    """Whether the database's tables are those of the backup already, so that they only need to be emptied."""
    with contextlib.suppress(DatabaseError):  # a damaged file
        return set(MigrationRecorder(connection).applied_migrations()) == {(app, name) for app, name in migrations}
    return False


@contextlib.contextmanager
def _new_file(*, like_the_old: bool) -> Iterator[None]:
    """SQLite: `connection` is a new file inside the block, and the database's own file after it. The last one stays
    beside it, with `.before-restore` behind its name. The new one has no tables, or those of the old one."""
    name = Path(connection.settings_dict["NAME"])
    draft = name.with_name(f"{name.name}.restoring")
    _unlink(draft)
    tables = _tables_of_sqlite() if like_the_old else []
    connection.close()
    connection.settings_dict["NAME"] = str(draft)
    try:
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA synchronous=OFF")  # nobody relies on it yet; it is brought to the disk as a whole
            for statement, values in tables:
                cursor.execute(statement, values)
        yield
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        connection.close()
        with draft.open("rb") as whole:
            os.fsync(whole.fileno())
        connection.settings_dict["NAME"] = str(name)
        if name.exists():
            _lay_aside(name)
        draft.chmod(0o600)
        os.replace(draft, name)
    finally:
        connection.close()
        connection.settings_dict["NAME"] = str(name)
        _unlink(draft)


def _tables_of_sqlite() -> list[tuple[str, list[Any]]]:
    """What makes the same tables, indexes and triggers again, and the note of which migrations made them."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT sql FROM sqlite_master WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite\\_%%' ESCAPE '\\' "
            "ORDER BY CASE type WHEN 'table' THEN 0 WHEN 'index' THEN 1 ELSE 2 END, rowid"
        )
        made: list[tuple[str, list[Any]]] = [(sql.replace("%", "%%"), []) for (sql,) in cursor.fetchall()]
        cursor.execute("SELECT id, app, name, applied FROM django_migrations")
        insert = "INSERT INTO django_migrations (id, app, name, applied) VALUES (%s, %s, %s, %s)"
        return made + [(insert, list(row)) for row in cursor.fetchall()]


def _lay_aside(name: Path) -> None:
    """All that was written into the old file is in the file itself, and no log of it is left for the new one."""
    aside = f"{name.name}.before-restore"
    _unlink(name.with_name(aside))
    with contextlib.suppress(DatabaseError), connection.cursor() as cursor:  # it may be damaged
        cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    for ending in ("-wal", "-shm"):
        with contextlib.suppress(FileNotFoundError):
            os.replace(name.with_name(name.name + ending), name.with_name(aside + ending))
    shutil.copy2(name, name.with_name(aside))


def _unlink(database: Path) -> None:
    for ending in ("", "-wal", "-shm", "-journal"):
        database.with_name(database.name + ending).unlink(missing_ok=True)


@contextlib.contextmanager
def _one_transaction(*, like_the_old: bool) -> Iterator[None]:
    """PostgreSQL: the house's own tables are gone or empty inside the block, and back as they were if it fails."""
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute(f"SET LOCAL lock_timeout = '{LOCK_PATIENCE}'")
            there = set(connection.introspection.table_names(cursor))
            if there:
                ours = {model._meta.db_table for model in tables_at(*applied(connection))}
                if not like_the_old:
                    ours.add("django_migrations")
                named = ", ".join(connection.ops.quote_name(table) for table in sorted(ours & there))
                cursor.execute(f"TRUNCATE {named}" if like_the_old else f"DROP TABLE {named}")
        yield


@contextlib.contextmanager
def _guards_lifted(tables: Sequence[str]) -> Iterator[None]:
    """Without the triggers that refuse a change, in this transaction: they hold again before it ends."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
            laid = cursor.fetchall()
            for name, _sql in laid:
                cursor.execute(f"DROP TRIGGER {connection.ops.quote_name(name)}")
            yield
            connection.check_constraints()
            for _name, sql in laid:
                cursor.execute(sql)
        else:
            named = [connection.ops.quote_name(table) for table in tables]
            for table in named:
                cursor.execute(f"ALTER TABLE {table} DISABLE TRIGGER USER")
            yield
            connection.check_constraints()  # and with it, nothing is left to be checked at the end
            for table in named:
                cursor.execute(f"ALTER TABLE {table} ENABLE TRIGGER USER")


# Taking it in.


def _make_tables(archive: Archive) -> list[type[models.Model]]:
    """The tables as they were when the backup was made, empty."""
    wanted = [(app, name) for app, name in archive.manifest.migrations]
    executor = MigrationExecutor(connection)
    ends = [
        key
        for key in wanted
        if not any(
            child.key in wanted and child.key[0] == key[0] for child in executor.loader.graph.node_map[key].children
        )
    ]
    if set(executor.loader.applied_migrations) != set(wanted):
        executor.migrate(ends)
    if set(MigrationRecorder(connection).applied_migrations()) != set(wanted):
        raise archive.refused(_("its migrations are not those of one version"))
    found = tables_at(executor.loader, wanted)
    have = {(table.table, tuple(table.columns)) for table in archive.manifest.tables}
    if have != {(model._meta.db_table, tuple(names_of(model))) for model in found}:
        raise archive.refused(_("its tables are not those of its migrations"))
    return found


def _fill(archive: Archive, table: Table, model: type[models.Model]) -> None:
    columns = columns_of(model)
    quote = connection.ops.quote_name
    names = ", ".join(map(quote, names_of(model)))
    insert = f"INSERT INTO {quote(table.table)} ({names}) VALUES ({', '.join(['%s'] * len(columns))})"
    lines, done = archive.lines(table), 0
    with connection.cursor() as cursor:
        while some := list(islice(lines, ROWS_AT_ONCE)):
            try:
                cursor.executemany(insert, [_row(columns, line) for line in some])
            except (DataError, IntegrityError, ValidationError, ValueError, TypeError, RecursionError) as error:
                told = {"table": table.table, "first": done + 1, "last": done + len(some), "why": str(error).strip()}
                text = _(
                    "The database refuses rows %(first)d to %(last)d of %(table)s, and nothing was changed: %(why)s"
                )
                raise BackupError(text % told) from error
            done += len(some)
        if table.last_id:
            _number_on(cursor, model, table)


def _row(columns: list[models.Field[Any, Any]], line: bytes) -> list[Any]:
    values = json.loads(line)
    if not isinstance(values, list) or len(values) != len(columns):
        raise ValueError("a row has as many values as columns")
    return [
        field.get_db_prep_save(_value(field, value), connection) for field, value in zip(columns, values, strict=True)
    ]


def _value(field: models.Field[Any, Any], kept: Any) -> Any:
    """What a backup has of a sealed text is sealed already."""
    return Unreadable.of(kept) if isinstance(field, SealedTextField) and kept else field.to_python(kept)


def _number_on(cursor: Any, model: type[models.Model], table: Table) -> None:
    """The next row gets the number after the last one given out, not one that a deleted row had."""
    key: Any = model._meta.pk
    if connection.vendor == "sqlite":
        cursor.execute("DELETE FROM sqlite_sequence WHERE name = %s", [table.table])
        cursor.execute("INSERT INTO sqlite_sequence (name, seq) VALUES (%s, %s)", [table.table, table.last_id])
    else:
        cursor.execute(
            "SELECT setval(pg_get_serial_sequence(%s, %s), %s)", [f'"{table.table}"', key.column, table.last_id]
        )


@dataclass(frozen=True)
class Mail:
    """A reminder that the database knew as sent before it was replaced."""

    email: str
    row: Reminder


def _mail_sent_since(moment: datetime) -> list[Mail]:
    """What left after the backup was made: it must not leave again. None where there is nothing to replace, or it
    cannot be read: damaged, or of another version than the code."""
    try:
        loader = MigrationExecutor(connection).loader
    except DatabaseError:
        return []  # a damaged file, and nobody knows
    if set(loader.graph.nodes) - set(loader.applied_migrations):
        return []
    sent = Reminder.objects.filter(sent_at__gte=moment).exclude(state__in=LIVE).select_related("person")
    return [Mail(one.person.email, one) for one in sent.order_by("pk").iterator()]


def _mail_note(sent: list[Mail]) -> int:
    """Note in the restored outbox what was sent meanwhile; returns of how many."""
    noted = 0
    people = {person.email: person for person in User.objects.filter(email__in={mail.email for mail in sent})}
    for mail in sent:
        if (person := people.get(mail.email)) is None:
            continue
        row = mail.row
        kept = {
            name: getattr(row, name)
            for name in ("due_at", "state", "attempts", "next_try_at", "sent_at", "headline", "path")
        }
        Reminder.objects.update_or_create(
            rule=row.rule,
            subject=row.subject,
            occurrence=row.occurrence,
            person=person,
            defaults={**kept, "lease": None, "leased_until": None},
        )
        noted += 1
    return noted


def _migrations_wait() -> bool:
    executor = MigrationExecutor(connection)
    return bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))


@dataclass(frozen=True)
class Restored:
    manifest: Manifest
    audits: list[str]  # their names; all have passed
    mail_noted: int
    migrated: bool  # brought up from an older version


def archive_restore(archive: Archive, *, replace: bool, now: datetime) -> Restored:
    """Verify, take in, audit. BackupError, and everything is as it was before."""
    archive.verify()
    require_fitting(archive, replace=replace, now=now)
    sent = _mail_sent_since(archive.made_at) if replace else []
    like_the_old = _has_just_these(archive.manifest.migrations)
    begin = _new_file if connection.vendor == "sqlite" else _one_transaction
    try:
        with begin(like_the_old=like_the_old):
            made = {model._meta.db_table: model for model in _make_tables(archive)}
            with transaction.atomic(), _guards_lifted(sorted(made)):
                with connection.cursor() as cursor:
                    if connection.vendor == "postgresql":  # migrations leave some of them to be checked row by row
                        cursor.execute("SET CONSTRAINTS ALL DEFERRED")
                    for name in made:  # what the migrations wrote is in the backup as well
                        cursor.execute(f"DELETE FROM {connection.ops.quote_name(name)}")
                for table in archive.manifest.tables:
                    _fill(archive, table, made[table.table])
            ContentType.objects.clear_cache()
            is_older = _migrations_wait()
            if is_older:
                if connection.vendor == "postgresql":  # a table with checks still to come cannot be altered
                    with connection.cursor() as cursor:
                        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
                call_command("migrate", interactive=False, verbosity=0)
            noted = _mail_note(sent)
            audits = house_audit()
            if problems := [problem for found in audits.values() for problem in found]:
                told = {"count": len(problems), "first": "; ".join(problems[:3])}
                text = _(
                    "The books of this backup do not agree, and nothing was changed. %(count)d problems: %(first)s"
                )
                raise BackupError(text % told)
    except DatabaseError as error:
        raise BackupError(_why_not_restored(error)) from error
    except OSError as error:
        if error.errno in NO_ROOM:
            raise BackupError(str(FULL)) from error
        raise
    return Restored(archive.manifest, list(audits), noted, is_older)


def _why_not_restored(error: DatabaseError) -> str:
    fault = fault_of(error)
    if fault is Fault.FULL:
        return str(FULL)
    if fault is Fault.BUSY:
        return _("Somebody still uses the database. Stop web, worker and beat on every machine, then restore again.")
    why = sentence_about(error) or str(error).strip()
    return _("The database refuses this backup, and nothing was changed: %(why)s") % {"why": why}


# Comparing.


def differences(archive: Archive) -> list[str]:
    """A sentence for each table whose rows are not, one by one, those of the backup."""
    found = []
    with snapshot() as reading:
        models_now = {model._meta.db_table: model for model in tables_at(*applied(reading))}
        for table in archive.manifest.tables:
            model = models_now.pop(table.table, None)
            if model is None or names_of(model) != table.columns:
                found.append(_("%(table)s: not the same table") % {"table": table.table})
                continue
            kept, there = archive.lines(table), lines_of(model, using=reading.alias)
            first, count = None, 0
            for number, (old, new) in enumerate(zip_longest(kept, there), start=1):
                if old != new:
                    first, count = first or number, count + 1
            if count:
                told = {"table": table.table, "count": count, "first": first}
                found.append(_("%(table)s: %(count)d rows differ, the first is number %(first)d") % told)
            if last_id(reading, model) != table.last_id:
                found.append(_("%(table)s: the next row would get another number") % {"table": table.table})
        found += [_("%(table)s: not in the backup") % {"table": name} for name in models_now]
    return found
