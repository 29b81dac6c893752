"""`python3 manage.py backup FILE`: the whole house in one file."""

from __future__ import annotations

import getpass
import sys
from argparse import ArgumentParser
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import BaseCommand, CommandError

from club.reminders.models import BACKUP_JOB
from club.run.backup import (
    EVERY,
    BackupError,
    backup_keep,
    backup_write,
    note,
    passphrase_by_settings,
    passphrase_in,
)


class Command(BaseCommand):
    help = (
        "Write all data of the house into one file: every row of every table, pictures among them, of one moment, "
        "while people go on writing. Without FILE into the folder BACKUP_DIR, where the last of each of 7 days and "
        "4 weeks stay."
    )
    requires_system_checks: list[str] = []  # noqa: RUF012  (a site that is half broken wants a backup all the more)

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", nargs="?", type=Path, metavar="FILE")
        parser.add_argument(
            "--passphrase-file", type=Path, help="Close it with the passphrase in this file's first line."
        )
        parser.add_argument("--encrypt", action="store_true", help="Close it with a passphrase that is asked for.")
        parser.add_argument(
            "--with-keys",
            action="store_true",
            help="The site's SECRET_KEY too: links in old mails and sign-ins then go on working on another machine.",
        )

    def handle(
        self,
        *args: Any,
        file: Path | None,
        passphrase_file: Path | None,
        encrypt: bool,
        with_keys: bool,
        **options: Any,
    ) -> None:
        try:
            passphrase = passphrase_for_backup(passphrase_file, ask=encrypt)
            began, next_at = datetime.now(UTC), None
            if file is not None:
                backup_write(file, passphrase=passphrase, with_keys=with_keys)
            elif settings.BACKUP_DIR:
                file = backup_keep(Path(settings.BACKUP_DIR), passphrase=passphrase, with_keys=with_keys)
                next_at = began + EVERY
            else:
                raise CommandError("Name a file to write, or set BACKUP_DIR to a folder for backups.")
            note(BACKUP_JOB, at=began, next_at=next_at)
        except BackupError as error:
            raise CommandError(str(error)) from error
        size = file.stat().st_size / 1e6
        self.stdout.write(f"Backed up to {file}: {size:.1f} MB{', closed with a passphrase' if passphrase else ''}.")
        if with_keys and not passphrase:
            self.stderr.write("The site's secret is in it, open for whoever reads the file: keep it as you keep a key.")


def passphrase_for_backup(file: Path | None, *, ask: bool) -> str:
    """From the file named, from the keyboard, or from the settings; empty where the file stays open."""
    if file is not None:
        return passphrase_in(file)
    if not ask:
        return passphrase_by_settings()
    if not sys.stdin.isatty():
        raise BackupError("--encrypt asks at a terminal. Without one, give --passphrase-file.")
    first = getpass.getpass("Passphrase: ")
    if not first or first != getpass.getpass("Once more: "):
        raise BackupError("The two are not the same, or empty: nothing was written.")
    return first
