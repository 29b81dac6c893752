"""What to mind in a plan: the usual cares of each method, and what follows from this wish."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from recipes.engine.plan_terms import PlanRequest
from recipes.engine.process import ProcessFound
from recipes.engine.quantities import format_amount
from recipes.engine.rules import caution
from recipes.engine.scaling import Pots, fruit_printed
from recipes.engine.terms import Caution, JarCount, Method, Role, TestedRecipe
from recipes.engine.wording import format_number

SPREADS = frozenset({"jam", "jelly", "marmalade", "preserve", "preserves", "butter", "conserve"})


def cautions_for(
    recipe: TestedRecipe,
    request: PlanRequest,
    pots: Pots | None,
    process: ProcessFound | None,
    *,
    jars: Sequence[JarCount],
    sterilise: int | None,
    found: Sequence[Caution] = (),
) -> tuple[Caution, ...]:
    """All cautions, the ones that this wish brings first.

    `sterilise` is how long empty jars are boiled, where any must be; `found` is what planning the jars and the day
    has brought up.
    """
    return (
        *_of_process(process, sterilise),
        *_of_pots(recipe, request, pots, jars),
        *found,
        *_of_recipe(recipe),
        *_of_method(recipe, process),
        caution("local-advice", "LOCAL-ADVICE", "Where local food-safety advice says otherwise, follow it."),
    )


def _of_process(process: ProcessFound | None, sterilise: int | None) -> Iterator[Caution]:
    if process is None:
        return
    yield from process.cautions
    if sterilise is not None:
        message = f"Boil the empty jars for {sterilise} minutes first: the process is shorter than 10 minutes."
        yield caution("sterilise-jars", "STERIL-NEEDED", message)
    if process.jar != process.tested_jar:
        message = (
            f"This is the process of a {process.tested_jar} jar, the next larger tested, and serves a {process.jar}."
        )
        yield caution("larger-jar-tested", "JAR-SIZE", message)
    if process.others:
        said = " or ".join(f"{other.pressure_psi} psi for {other.minutes} minutes" for other in process.others)
        yield caution("other-pressures", "PRESSURE-CHOICE", f"Also tested for this jar: {said}. Do not mix them.")
    if process.note:
        yield caution("process-note", "TESTED-ONLY", process.note)


def _of_pots(
    recipe: TestedRecipe, request: PlanRequest, pots: Pots | None, jars: Sequence[JarCount]
) -> Iterator[Caution]:
    if pots is None:
        return
    if pots.scale != 1:
        message = f"Each pot takes {format_number(pots.scale)} of the printed amounts, which the recipe's test allows."
        yield caution("part-pot", "POT-LIMITS", message)
    if pots.count > 1 and recipe.kind in SPREADS:
        yield caution("one-pot-at-a-time", "JAM-NO-DOUBLE", "Cook each pot by itself; never double a spread.")
    if not recipe.stated_yield.seen.is_seen:
        message = "How much one pot fills is not checked in print; have spare jars ready."
        yield caution("yield-unknown", "YIELD-STATED", message)
    made = sum(count.count for count in jars)
    if request.jars is not None and made > request.jars and request.empties is None:
        yield caution("more-jars-than-asked", "POT-LIMITS", f"The pots fill about {made} jars; have them ready.")
    if request.fruit is not None:
        yield from _of_fruit(recipe, pots)


def _of_fruit(recipe: TestedRecipe, pots: Pots) -> Iterator[Caution]:
    message = f"Fruit counts as the recipe measures it; one full pot takes {fruit_printed(recipe)}."
    yield caution("fruit-prepared", "FRUIT-PREPARED", message)
    if pots.spare_fruit is not None:
        spare = format_amount(pots.spare_fruit.value, pots.spare_fruit.unit)
        yield caution(
            "fruit-left-over", "POT-LIMITS", f"{spare} of prepared fruit is left over; do not add it to a pot."
        )


def _of_recipe(recipe: TestedRecipe) -> Iterator[Caution]:
    for message in recipe.cautions:
        yield Caution("recipe", message, "RECIPE", f"{recipe.source.title}, {recipe.source.place}")
    acids = [f"{line.item} {line.prep}".lower() for line in recipe.ingredients if line.role is Role.ACID]
    if any("vinegar" in acid for acid in acids):
        yield caution("vinegar", "VINEGAR-MIN", "Use bought vinegar of at least 5 percent acid, and all of it.")
    if any("bottled" in acid for acid in acids):
        yield caution("bottled-juice", "BOTTLED-JUICE", "Use bottled juice, not fresh: its acidity is even.")


def _of_method(recipe: TestedRecipe, process: ProcessFound | None) -> Iterator[Caution]:
    if recipe.method is Method.FREEZER:
        yield caution("freezer-only", "FREEZER-ONLY", "Keep these jars frozen or cold; never on a shelf.")
        return
    method = process.method if process else recipe.method
    if method is Method.BOILING_WATER:
        yield caution("water-over-jars", "BWC-WATER-OVER", "Keep 1 to 2 inches (3 to 5 cm) of water over the jars.")
        yield caution("full-boil", "BWC-RESTART", "Count from a full boil; if the boil stops, start the time again.")
        yield caution(
            "stand", "BWC-STAND", "When time is up, heat off and lid off, wait 5 minutes, then lift the jars."
        )
    else:
        yield from _of_pressure(process)
    yield caution("cool", "COOL", "Let jars stand untouched for 12 to 24 hours, then check every seal.")


def _of_pressure(process: ProcessFound | None) -> Iterator[Caution]:
    yield caution("vent", "PC-VENT", "Let steam stream from the vent for 10 minutes before closing it.")
    message = "If pressure falls below the mark, bring it back and start the whole time again."
    yield caution("pressure-drop", "PC-RESTART", message)
    if process is None or process.gauge == "dial":
        yield caution("gauge-test", "PC-GAUGE-YEARLY", "A dial gauge must have been tested within the year.")
