"""manage.py check_changes SLUG --change "..." [--change "..."] [--revision N] [--json]

Exit status: 0 when nothing is refused, 3 when anything is, 2 for bad input.
"""

from __future__ import annotations

import argparse
import json
import sys
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from recipes.engine.changes import GRAMMAR_HELP, Checked, Ruling, check_changes, checked_as_dict, refuse_all
from recipes.management import REFUSED, bad_input, revision_named
from recipes.models import Revision, RevisionState


class Command(BaseCommand):
    help = "Say of changes to a tested recipe whether they are fine, only change quality, or are refused, and why."

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        return super().create_parser(
            prog_name,
            subcommand,
            epilog=GRAMMAR_HELP,
            formatter_class=argparse.RawDescriptionHelpFormatter,
            **kwargs,
        )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("slug", help="short name of the recipe, as in its page's address")
        parser.add_argument("--change", action="append", metavar="TEXT", help="one change; may be given several times")
        parser.add_argument("--revision", help="number of the revision (default: the current one)")
        parser.add_argument("--json", action="store_true", help="print JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        # A shell may hand over bytes that are no text; what cannot be printed is not repeated.
        changes = [text.encode("utf-8", "replace").decode() for text in options["change"] or []]
        if not changes:
            raise bad_input('Say what to change, such as --change "less sugar".')
        revision = revision_named(options["slug"], options["revision"])
        checked = _checked(revision, changes)
        if options["json"]:
            found = checked_as_dict(revision.tested, checked, revision=revision.number)
            self.stdout.write(json.dumps(found, indent=2, ensure_ascii=False))
        else:
            self.stdout.write(_text(checked))
        if checked.verdict is Ruling.REFUSED:
            sys.exit(REFUSED)


def _checked(revision: Revision, changes: list[str]) -> Checked:
    """Changes wanted together; nothing may be changed about a withdrawn revision, for it is not to be made."""
    if revision.state == RevisionState.WITHDRAWN:
        return refuse_all(changes, "WITHDRAWN")
    return check_changes(revision.tested, changes)


def _text(checked: Checked) -> str:
    lines = []
    for answer in checked.verdicts:
        lines.append(f"{answer.verdict.value.upper()}: {answer.change}")
        if answer.reading:
            lines.append(f"  I read: {answer.reading}.")
        lines.append(f"  {answer.message}")
        if answer.nearest:
            lines.append(f"  Did you mean: {'; '.join(answer.nearest)}?")
        lines.append(f"  Rule {answer.rule}. Source: {answer.source}")
    return "\n".join([*lines, f"Together: {checked.verdict.value}"])
