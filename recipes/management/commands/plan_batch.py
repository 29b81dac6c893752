"""manage.py plan_batch (SLUG | --table FOOD [--variant WORDS]) (--pots N | --jars N | --fruit AMOUNT) --altitude HEIGHT

With --empties the jars are chosen from those at hand; with --burners, --canners, --cooks, --stove and --capacity the
day is planned on that gear, and with --finish back from a time of the day.

Exit status: 0 with a plan, 3 when it is refused, 2 for bad input.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from recipes.engine import USUAL_STOVE, AltitudeError, Plan, altitude_from_text, plan_as_dict
from recipes.engine.quantities import JAR_SIZES
from recipes.engine.terms import Altitude, Canner, Pack
from recipes.management import REFUSED, bad_input, revision_named, table_named
from recipes.planning import CAPACITIES, STOVES, PlanInput, PlanInputError, plan_for, plan_from_table, read_plan_input
from recipes.presentation import day_summary, minute_format, plan_text


class Command(BaseCommand):
    help = "Print the plan of a batch: amounts, process for the altitude, cautions, and every refusal with its source."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("slug", nargs="?", help="short name of the recipe, as in the address of its page")
        parser.add_argument("--table", help='a food of the process tables, planned by the jar: "asparagus"')
        parser.add_argument("--variant", help='which of several tables of the food: "without bones", "pressure"')
        parser.add_argument("--pots", help="how many pots to cook")
        parser.add_argument("--jars", help="how many jars to fill")
        parser.add_argument("--fruit", help='how much prepared fruit there is, such as "4.5 kg"')
        parser.add_argument("--altitude", help='height of the kitchen, such as "1040 m" or "3400 ft"')
        parser.add_argument("--jar", help=f"jar: {', '.join(JAR_SIZES)} (default: that of the recipe's stated yield)")
        parser.add_argument("--pack", help=f"pack: {', '.join(Pack)}")
        parser.add_argument("--canner", help=f"canner at hand: {', '.join(Canner)}")
        parser.add_argument(
            "--reads-high",
            help="by how many psi a dial gauge read high at its last test, such as 2 (--reads-high=-1: low)",
        )
        parser.add_argument(
            "--empties", help='empty jars at hand, such as "half-pint=12,pint=4" (default: no end of one)'
        )
        parser.add_argument("--liquid", help='what covers the food, where the recipe leaves it open: "light", "water"')
        parser.add_argument(
            "--instead", help='alternatives of the recipe to take, such as "citric acid"; several with ;'
        )
        parser.add_argument("--food", help='which of the recipe\'s foods, where processes differ: "blueberries"')
        parser.add_argument("--burners", help="how many burners there are (default: 4)")
        parser.add_argument("--canners", help="how many canners there are (default: 1)")
        parser.add_argument("--cooks", help="how many people cook (default: 1)")
        parser.add_argument("--stove", help=f"{', '.join(STOVES)} (default: {USUAL_STOVE})")
        sizes = " or ".join(CAPACITIES)
        parser.add_argument("--capacity", help=f'{sizes}, or jars in one layer, such as "half-pint=12,pint=7"')
        parser.add_argument("--finish", help='when the last jar should be out, such as "16:30"')
        parser.add_argument("--picture", help="file to draw the day into, as SVG")
        parser.add_argument("--revision", help="number of the revision (default: the current one)")
        parser.add_argument("--json", action="store_true", help="print JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        if (options["slug"] is None) == (options["table"] is None):
            raise bad_input("Name a recipe by its slug, or a food of the process tables with --table.")
        wanted, altitude = _plan_input(options), _altitude(options["altitude"])
        if options["table"]:
            table = table_named(options["table"], options["variant"] or "")
            made = plan_from_table(table=table, altitude=altitude, **wanted)
        else:
            made = plan_for(revision=revision_named(options["slug"], options["revision"]), altitude=altitude, **wanted)
        if options["picture"]:
            _draw(made, Path(options["picture"]))
        as_json = options["json"]
        self.stdout.write(json.dumps(plan_as_dict(made), indent=2, ensure_ascii=False) if as_json else plan_text(made))
        if not made.ok:
            sys.exit(REFUSED)


def _plan_input(options: dict[str, Any]) -> PlanInput:
    try:
        return read_plan_input(options)
    except PlanInputError as error:
        raise bad_input(
            "\n".join(f"--{field.replace('_', '-')}: {message}" for field, message in error.problems.items())
        ) from error


def _altitude(text: str | None) -> Altitude:
    if text is None:
        raise bad_input('--altitude: say how high the kitchen lies, such as --altitude "1040 m".')
    try:
        return altitude_from_text(text)
    except AltitudeError as error:
        raise bad_input(f"--altitude: {error}") from error


def _draw(made: Plan, path: Path) -> None:
    if made.day is None:
        raise bad_input("--picture: this plan has no timeline to draw.")
    from recipes.charts import timeline_svg  # the drawing library takes longer to load than the plan to make

    title = f"{made.recipe.title}: {day_summary(made)}"
    try:
        path.write_text(timeline_svg(made.day, title=title, when=minute_format(made), paper="white"), encoding="utf-8")
    except OSError as error:
        raise bad_input(f"--picture: {error}") from error
