"""`python3 manage.py restore FILE`: take a backup back, look whether one can be, or compare."""

from __future__ import annotations

import contextlib
import getpass
import os
import subprocess
import sys
import tempfile
from argparse import ArgumentParser
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.cache import cache
from django.core.management import BaseCommand, CommandError
from django.db import connection

from club.reminders.models import TEST_JOB
from club.run.backup import BackupError, backups_in, note, passphrase_by_settings, passphrase_in
from club.run.envelope import is_closed
from club.run.restore import Archive, archive_open, archive_restore, differences
from club.run.site import SiteError, only_one


class Command(BaseCommand):
    help = (
        "Take back what `backup` wrote, into SQLite or PostgreSQL whichever it came from. All of the file is looked at "
        "first; then everything is taken in and every audit of the books runs, or nothing is changed. Stop the site "
        "before."
    )
    requires_system_checks: list[str] = []  # noqa: RUF012  (the database may be the very thing that is broken)

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "file", nargs="?", type=Path, metavar="FILE", help="With --test may be left out: the newest of BACKUP_DIR."
        )
        parser.add_argument("--passphrase-file", type=Path, help="The passphrase is this file's first line.")
        how = parser.add_mutually_exclusive_group()
        how.add_argument("--replace", action="store_true", help="All that is in the database now gives way to it.")
        how.add_argument("--verify", action="store_true", help="Only look whether the file is whole.")
        how.add_argument("--compare", action="store_true", help="Compare it with the database, row by row.")
        how.add_argument(
            "--test",
            action="store_true",
            help="Restore into a database that is thrown away, with every audit, and note that for the health page.",
        )
        parser.add_argument(
            "--with-keys",
            action="store_true",
            help="Take the SECRET_KEY too, into the file `secret` of the data folder.",
        )

    def handle(self, *args: Any, file: Path | None, passphrase_file: Path | None, **options: Any) -> None:
        try:
            if file is None:
                file = newest_backup() if options["test"] else None
            if file is None:
                raise CommandError("Name the backup to restore: python3 manage.py restore FILE")
            passphrase = passphrase_for(file, passphrase_file)
            with archive_open(file, passphrase=passphrase) as archive:
                if options["verify"] or options["compare"] or options["test"]:
                    archive.verify()
                told = f"{file}: {archive.manifest.rows} rows of {archive.made_at:%Y-%m-%d %H:%M} UTC"
                if options["verify"]:
                    self.stdout.write(f"{told}. Whole: every digest and count is right.")
                elif options["compare"]:
                    self.compare(archive, told)
                elif options["test"]:
                    self.test(file, passphrase, told)
                else:
                    self.restore(archive, told, **options)
        except (BackupError, SiteError) as error:
            raise CommandError(str(error)) from error

    def restore(self, archive: Archive, told: str, *, replace: bool, with_keys: bool, **options: Any) -> None:
        with folder_to_ourselves():
            done = archive_restore(archive, replace=replace, now=datetime.now(UTC))
        with contextlib.suppress(Exception):  # a Redis that is away holds nothing of the old database either
            cache.clear()
        if with_keys and (secret := archive.secret()):
            self.stdout.write(keep_secret(secret))
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("ANALYZE")
        self.stdout.write(f"{told}, restored into {connection.vendor}.")
        if done.migrated:
            self.stdout.write(f"It came from version {archive.manifest.code} and was brought up to this one.")
        if done.mail_noted:
            self.stdout.write(f"{done.mail_noted} mails that went out since stay noted as sent.")
        self.stdout.write(f"Every audit passed ({'; '.join(done.audits)}). The site may open.")

    def compare(self, archive: Archive, told: str) -> None:
        if found := differences(archive):
            raise CommandError(f"{told}. Not as the database is:\n" + "\n".join(found))
        self.stdout.write(f"{told}. The database holds the same, row by row.")

    def test(self, file: Path, passphrase: str, told: str) -> None:
        with tempfile.TemporaryDirectory(prefix="kettlehall-restore-") as folder:
            apart = {name: value for name, value in os.environ.items() if name not in APART}
            apart |= {"KETTLEHALL_DATA": folder, "SECRET_KEY": settings.SECRET_KEY, "BACKUP_PASSPHRASE": passphrase}
            command = [sys.executable, "-m", "django", "restore", str(file.resolve())]
            done = subprocess.run(command, env=apart, cwd=settings.BASE_DIR, capture_output=True, text=True)
        if done.returncode:
            raise CommandError(f"The backup could not be restored, and the site is as it was.\n{done.stderr.strip()}")
        note(TEST_JOB, at=datetime.now(UTC))
        self.stdout.write(f"{told}. It can be restored: taken in apart, every audit passed, and thrown away again.")


def newest_backup() -> Path:
    """BackupError where there is none."""
    if not settings.BACKUP_DIR:
        raise BackupError("Name a backup, or set BACKUP_DIR to the folder that they are kept in.")
    kept = backups_in(Path(settings.BACKUP_DIR))
    if not kept:
        raise BackupError(f"There is no backup in {settings.BACKUP_DIR} yet: python3 manage.py backup")
    return max(kept, key=lambda path: kept[path])


# Of the site's own variables, those that would lead a test of the backup to the site's own data.
APART = {"DATABASE_URL", "REDIS_URL", "BACKUP_PASSPHRASE_FILE"}


@contextlib.contextmanager
def folder_to_ourselves() -> Iterator[None]:
    """No site runs from the data folder meanwhile; on PostgreSQL the database says by itself who is using it."""
    if connection.vendor != "sqlite":
        yield
        return
    settings.DATA_DIR.mkdir(parents=True, exist_ok=True, mode=0o700)
    with only_one(settings.DATA_DIR):
        yield


def passphrase_for(file: Path, given: Path | None) -> str:
    if given is not None:
        return passphrase_in(given)
    if (passphrase := passphrase_by_settings()) or not sys.stdin.isatty():
        return passphrase
    try:
        with file.open("rb") as archive:
            return getpass.getpass("Passphrase: ") if is_closed(archive) else ""
    except OSError:
        return ""  # said in a sentence when it is opened


def keep_secret(secret: str) -> str:
    """Write the secret where a site without SECRET_KEY reads it; returns what to say of it."""
    path = settings.DATA_DIR / "secret"
    draft = path.with_name(f"secret.{os.getpid()}")
    with open(os.open(draft, os.O_CREAT | os.O_WRONLY | os.O_TRUNC, 0o600), "w") as new:
        new.write(secret)
    os.replace(draft, path)
    if os.environ.get("SECRET_KEY"):
        return f"The backup's SECRET_KEY lies in {path}: put it in place of the one in the environment."
    return f"The backup's SECRET_KEY lies in {path}, where the site reads it."
