"""`python3 manage.py setup`: from the code to an open site, as often as you like."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management import BaseCommand, CommandError, call_command
from django.db import DatabaseError

from club.core.faults import sentence_about
from club.run.backup import BackupError
from club.run.setup import advice, site_prepare


class Command(BaseCommand):
    help = (
        "Make or change the tables, load the library, collect the static files, and look over the settings. Done "
        "before, it does nothing; on several machines at once they take turns. Run it on each machine with each new "
        "version."
    )
    requires_system_checks: list[str] = []  # they come last, when there is a database to look at

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--no-backup",
            action="store_true",
            help="Change the tables without a backup in BACKUP_DIR before it.",
        )

    def handle(self, *args: Any, no_backup: bool, **options: Any) -> None:
        try:
            site_prepare(say=self.stdout.write, backup_dir="" if no_backup else settings.BACKUP_DIR)
        except BackupError as error:
            raise CommandError(f"{error} The tables are as they were.") from error
        except DatabaseError as error:
            raise CommandError(sentence_about(error) or f"The database refuses: {str(error).strip()}") from error
        call_command("check", databases=["default"], stdout=self.stdout, stderr=self.stderr)
        for sentence in advice():
            self.stdout.write(self.style.WARNING(f"- {sentence}"))
        self.stdout.write(self.style.SUCCESS("The tables, the library and the static files are those of this version."))
