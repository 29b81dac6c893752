"""manage.py yields [PATH ...]"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from recipes.engine.yields import WEIGHED, YieldRow, held_out_rows, yield_rows
from recipes.library import SHIPPED, read_library

HEADING = (
    f"{'recipe':36} {'how':8} {'stated':>7} {'predicted':>20} {'whole':>6} {'Brix':>5} {'off by':>6} {'best':>6}"
    "  jar, remarks"
)


class Command(BaseCommand):
    help = (
        "Show every recipe of the library with its stated yield beside the one worked out, by mass balance or by its"
        " class of food, and how many are right. 'off by' is from the interval in whole jars, 'best' from the best"
        " estimate; both in jars of the stated size."
    )

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
        recipes = [entry.recipe for entry in library.recipes]
        rows = yield_rows(recipes)
        self.stdout.write(HEADING)
        for row in rows:
            self.stdout.write(_line(row))
        self._scores(rows, held_out_rows(recipes), {recipe.slug for recipe in recipes if recipe.is_tested})

    def _scores(self, rows: Sequence[YieldRow], held_out: Sequence[YieldRow], tested: set[str]) -> None:
        """A recipe without a printed yield is no truth and counts nowhere; one marked suspect counts in the first."""
        printed = [row for row in rows if row.stated.is_printed]
        known = [row for row in printed if not row.is_suspect]
        self.stdout.write(f"no yield is printed for {len(rows) - len(printed)} of {len(rows)}")
        self._score("every printed yield", printed)
        self._score("of them not marked suspect", known)
        self._score("of them seen in print as tested", [row for row in known if row.slug in tested])
        self._score("weighed, nothing fitted", [row for row in known if row.way == WEIGHED])
        self._score("with added pectin", [row for row in known if row.pectin in ("powdered", "liquid")])
        self._score("boiled to an end point", [row for row in known if row.way == WEIGHED and row.pectin == "none"])
        self._score("by class of food, fitted", [row for row in known if row.way not in (WEIGHED, "")])
        self._score("by class of food, each held out", [row for row in held_out if not row.is_suspect])

    def _score(self, which: str, rows: Sequence[YieldRow]) -> None:
        predicted = [row.predicted for row in rows if row.predicted is not None]
        if not predicted:
            return
        widths = [8 * span.half_width / span.best for span in predicted]
        self.stdout.write(
            f"{which}: {len(rows)}, {len(predicted)} predicted; best estimate in whole jars inside the printed range"
            f" {sum(row.is_best_inside for row in rows)}, within one jar of it"
            f" {sum(row.is_within_a_jar for row in rows)}; printed inside the interval"
            f" {sum(row.is_within for row in rows)}, half-width {sum(widths) / len(widths):.2f} jars in 8 on average"
        )


def _line(row: YieldRow) -> str:
    low, high = float(row.stated.low), float(row.stated.high)
    stated = "-" if not row.stated.is_printed else f"{low:g}" if low == high else f"{low:g}-{high:g}"
    start = f"{row.slug:36} {row.way or '-':8} {stated:>7}"
    if row.predicted is None or row.whole_jars is None or row.off_by is None or row.best_off_by is None:
        return f"{start} {'-':>20} {'-':>6} {'-':>5} {'-':>6} {'-':>6}  {row.stated.jar}. {row.why_not}"
    predicted = f"{row.predicted.best:.2f} ({row.predicted.low:.2f}-{row.predicted.high:.2f})"
    whole = "-".join(str(count) for count in dict.fromkeys(row.whole_jars))
    brix = f"{row.brix.best:.1f}" if row.brix else "-"
    off_by, best = (f"{float(off):+.2g}" if off else "0" for off in (row.off_by, row.best_off_by))
    if not row.stated.is_printed:
        off_by, best = "-", "-"
    remarks = [row.stated.jar, *([row.food_class] if row.food_class else [])]
    remarks += [] if row.stated.seen.is_seen else [f"stated yield is {row.stated.seen.value}"]
    remarks += [f"{len(row.estimates)} estimated"] if row.estimates else []
    return f"{start} {predicted:>20} {whole:>6} {brix:>5} {off_by:>6} {best:>6}  {', '.join(remarks)}"
