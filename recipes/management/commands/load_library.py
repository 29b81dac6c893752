"""manage.py load_library [PATH ...]"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import IntegrityError

from recipes.services import LoadReport, library_load

DEFAULT = Path("fixtures") / "library"


class Command(BaseCommand):
    help = "Load the published library: recipes and process tables, from files that are read and checked first."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "path", nargs="*", type=Path, help="library files, or folders of *.toml (default: fixtures/library)"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            report = library_load(paths=options["path"] or [settings.BASE_DIR / DEFAULT])
        except IntegrityError as error:
            raise CommandError("Somebody else is loading the library; nothing was changed. Run it again.") from error
        if report.problems:
            for problem in report.problems:
                self.stderr.write(str(problem))
            raise CommandError(f"{len(report.problems)} problem(s); nothing was changed.")
        self._say(report, verbose=options["verbosity"] > 1)

    def _say(self, report: LoadReport, *, verbose: bool) -> None:
        self.stdout.write(
            f"Recipes: {len(report.added)} added, {len(report.revised)} revised, {len(report.held_back)} held back, "
            f"{len(report.withdrawn)} withdrawn, {len(report.unchanged)} unchanged."
        )
        self.stdout.write(
            f"Process tables: {len(report.tables_added)} added, {len(report.tables_changed)} changed, "
            f"{len(report.tables_unchanged)} unchanged."
        )
        self.stdout.write(f"{report.changed} changed in all.")
        for slug in report.held_back if verbose else ():
            self.stdout.write(f"held back: {slug}")
        for slug in report.withdrawn:
            self.stdout.write(f"withdrawn, because it is no longer tested: {slug}")
