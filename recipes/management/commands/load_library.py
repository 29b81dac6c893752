"""manage.py load_library [PATH ...] [--reviewed-by EMAIL [--acid-seen WORDS]] [--withdraw]"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.exceptions import PermissionDenied, ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import IntegrityError

from club.members.models import User
from recipes.library import SHIPPED
from recipes.models import Revision, RevisionState
from recipes.presentation import reach_of
from recipes.services import LoadReport, library_load


class Command(BaseCommand):
    help = (
        "Load the published library, or files of your own: recipes and process tables, read and checked first. "
        "Recipes of your own files become drafts for review, or are published when their reviewer is named."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "path", nargs="*", type=Path, help="library files, or folders of *.toml (default: fixtures/library)"
        )
        parser.add_argument(
            "--reviewed-by", metavar="EMAIL", help="the instructor who compared your own files with their source"
        )

        parser.add_argument(
            "--acid-seen",
            default="",
            metavar="WORDS",
            help="where the reviewer read the acid of these files' mixtures, where no tested recipe here has it",
        )
        parser.add_argument(
            "--withdraw",
            action="store_true",
            help="also withdraw what the library no longer holds as tested, and call back the jars made from it",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        reviewer = self._reviewer(options["reviewed_by"], options["path"])
        if options["acid_seen"].strip() and reviewer is None:
            raise CommandError("--acid-seen is a reviewer's word: say whose with --reviewed-by.")
        try:
            report = library_load(
                paths=options["path"] or [SHIPPED],
                reviewer=reviewer,
                acid_seen=options["acid_seen"],
                may_withdraw=options["withdraw"],
            )
        except IntegrityError as error:
            raise CommandError("Somebody else is loading the library; nothing was changed. Run it again.") from error
        except PermissionDenied as error:
            raise CommandError(f"{reviewer} may not review recipes; nothing was changed.") from error
        except ValidationError as error:
            raise CommandError(" ".join([*error.messages, "Nothing was changed."])) from error
        if report.problems:
            for problem in report.problems:
                self.stderr.write(str(problem))
            raise CommandError(f"{len(report.problems)} problem(s); nothing was changed.")
        self._say(report, verbose=options["verbosity"] > 1)

    def _reviewer(self, email: str | None, paths: list[Path]) -> User | None:
        if email is None:
            return None
        if not paths:
            raise CommandError("--reviewed-by is about files of your own. Name them.")
        reviewer = User.objects.filter(email__iexact=email.strip()).first()
        if reviewer is None:
            raise CommandError(f"Nobody here has the address {email}; nothing was changed.")
        return reviewer

    def _say(self, report: LoadReport, *, verbose: bool) -> None:
        self.stdout.write(
            f"Recipes: {len(report.added)} added, {len(report.revised)} revised, {len(report.held_back)} held back, "
            f"{len(report.withdrawn)} withdrawn, {len(report.unchanged)} unchanged."
        )
        if report.to_review:
            self.stdout.write(f"Drafts that wait for review: {len(report.to_review)}.")
        self.stdout.write(
            f"Process tables: {len(report.tables_added)} added, {len(report.tables_changed)} changed, "
            f"{len(report.tables_unchanged)} unchanged."
        )
        self.stdout.write(f"{report.changed} changed in all.")
        for slug in report.held_back if verbose else ():
            self.stdout.write(f"held back: {slug}")
        for slug in [*report.to_review, *report.still_waiting]:
            self.stdout.write(f"waits for review: {slug}. {report.reasons.get(slug, '')}".rstrip())
        for key in report.tables_to_review:
            self.stdout.write(f"for instructors to read, until a reviewer is named with --reviewed-by: {key}.")
        for slug in report.withdrawn:
            latest = Revision.objects.filter(recipe__slug=slug, state=RevisionState.WITHDRAWN).latest("withdrawn_at")
            self.stdout.write(f"withdrawn, because it is no longer tested: {slug}. {_called_back(latest)}")
        for slug in report.to_withdraw:
            current = Revision.objects.current().get(recipe__slug=slug)
            self.stderr.write(
                f"no longer tested, and held back from new plans: {slug}. "
                f"Run this again with --withdraw to withdraw it. {_called_back(current)}"
            )


def _called_back(revision: Revision) -> str:
    reach = reach_of(revision)
    return f"This calls back {reach.words}." if reach.jars else "No jar comes from it."
