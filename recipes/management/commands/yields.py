"""manage.py yields [PATH ...]"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from recipes.engine.mass_balance import YieldRow, yield_rows
from recipes.library import SHIPPED, read_library

HEADING = (
    f"{'recipe':36} {'pectin':9} {'stated':>7} {'predicted':>20} {'whole':>6} {'Brix':>5} {'off by':>6}  jar, remarks"
)


class Command(BaseCommand):
    help = "Show every recipe of the library with its stated yield beside the one worked out by mass balance."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "path", nargs="*", type=Path, help="library files, or folders of *.toml (default: fixtures/library)"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        library = read_library(options["path"] or [SHIPPED])
        if library.problems:
            for problem in library.problems:
                self.stderr.write(str(problem))
            raise CommandError(f"{len(library.problems)} problem(s) in the library; nothing is shown.")
        rows = yield_rows(entry.recipe for entry in library.recipes)
        self.stdout.write(HEADING)
        for row in rows:
            self.stdout.write(_line(row))
        self._summary("with added pectin", [row for row in rows if row.pectin in ("powdered", "liquid")])
        self._summary("boiled to an end point", [row for row in rows if row.pectin == "none"])

    def _summary(self, which: str, rows: Sequence[YieldRow]) -> None:
        known = [row for row in rows if row.predicted is not None and not row.is_suspect]
        near = sum(1 for row in known if row.off_by is not None and abs(row.off_by) <= 1)
        widths = [8 * row.predicted.half_width / row.predicted.best for row in known if row.predicted is not None]
        if known:
            self.stdout.write(
                f"{which}: {len(known)} not suspect, {sum(row.is_within for row in known)} within the interval, "
                f"{near} within one jar of it; half-width {sum(widths) / len(known):.2f} jars in 8 on average"
            )


def _line(row: YieldRow) -> str:
    low, high = float(row.stated.low), float(row.stated.high)
    stated = f"{low:g}" if low == high else f"{low:g}-{high:g}"
    start = f"{row.slug:36} {row.pectin or '-':9} {stated:>7}"
    if row.predicted is None or row.brix is None or row.whole_jars is None or row.off_by is None:
        return f"{start} {'-':>20} {'-':>6} {'-':>5} {'-':>6}  {row.stated.jar}. {row.why_not}"
    predicted = f"{row.predicted.best:.2f} ({row.predicted.low:.2f}-{row.predicted.high:.2f})"
    whole = "-".join(str(count) for count in dict.fromkeys(row.whole_jars))
    off_by = f"{float(row.off_by):+g}" if row.off_by else "0"
    remarks = [row.stated.jar, *([] if row.stated.seen.is_seen else [f"stated yield is {row.stated.seen.value}"])]
    remarks += [f"{len(row.estimates)} estimated"] if row.estimates else []
    return f"{start} {predicted:>20} {whole:>6} {row.brix.best:5.1f} {off_by:>6}  {', '.join(remarks)}"
