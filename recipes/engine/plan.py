"""One batch from a tested recipe and a wish: the one entry point for pages, classes and the command line.

A wish that cannot be met never raises: the plan carries the refusals, and shows no process that a rule does
not cover. Degrees Brix, canner loads and the day's timeline are filled by modules that come later; until
then their keys in `plan_as_dict` are null and empty lists.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from recipes.engine.atmosphere import altitude_problem, boiling_point_c, jelly_point_c
from recipes.engine.plan_cautions import cautions_for
from recipes.engine.plan_terms import JarCount, Plan, PlanRequest
from recipes.engine.plan_write import plan_as_dict
from recipes.engine.process import (
    ProcessFound,
    altitude_refusal,
    needs_sterile_jars,
    process_for,
    sterilise_minutes,
)
from recipes.engine.rules import refusal
from recipes.engine.scaling import (
    Line,
    Pots,
    amounts_for_pots,
    pots_as_asked,
    pots_for_fruit,
    pots_for_jars,
    volume_per_pot_ml,
)
from recipes.engine.terms import Altitude, Method, Refusal, TestedRecipe
from recipes.engine.units import JAR_ML, JAR_SIZES

__all__ = ["JarCount", "Line", "Plan", "PlanRequest", "plan", "plan_as_dict"]

SEA_LEVEL = Altitude(Fraction(0))
JELLY_ABOVE_F = Fraction(8)  # USDA guide, for a spread whose recipe prints no other


@dataclass
class _Found:
    """What the steps of planning have found so far."""

    jar: str
    jar_serves: bool = False  # whether the jar, pack and canner are tested, whatever the altitude
    pots: Pots | None = None
    process: ProcessFound | None = None
    refusals: list[Refusal] = field(default_factory=list)


def plan(recipe: TestedRecipe, request: PlanRequest, *, revision: int | None = None) -> Plan:
    """The plan for this wish, with every reason against it."""
    found = _Found(jar=request.jar or recipe.stated_yield.jar)
    if recipe.is_tested:
        _find_process(recipe, request, found)
        _find_pots(recipe, request, found)
    else:
        found.refusals.append(
            refusal(
                "recipe-not-tested",
                "SEEN-ONLY",
                "This recipe's amounts or process are not checked in print, so no plan is made from it. Choose a "
                "tested recipe.",
            )
        )
    return _assemble(recipe, request, found, revision)


def _find_process(recipe: TestedRecipe, request: PlanRequest, found: _Found) -> None:
    """The process, or every reason against it: the altitude's, and those that hold at any altitude."""
    if recipe.method is Method.FREEZER:
        found.jar_serves = found.jar in JAR_ML
        if not found.jar_serves:
            found.refusals.append(
                refusal("jar-unknown", "JAR-SIZE", f"There is no such jar size. Use one of: {', '.join(JAR_SIZES)}.")
            )
        if request.altitude is not None and (problem := altitude_refusal(request.altitude)) is not None:
            found.refusals.append(problem)
        return
    problem = altitude_refusal(request.altitude)
    looked_up = process_for(
        recipe.process,
        jar=found.jar,
        pack=request.pack,
        canner=request.canner,
        altitude=SEA_LEVEL if problem else request.altitude,
    )
    found.refusals += [reason for reason in (problem, looked_up) if isinstance(reason, Refusal)]
    found.jar_serves = isinstance(looked_up, ProcessFound)
    if problem is None and isinstance(looked_up, ProcessFound):
        found.process = looked_up


def _find_pots(recipe: TestedRecipe, request: PlanRequest, found: _Found) -> None:
    wishes = [wish for wish in (request.pots, request.jars, request.fruit) if wish is not None]
    pots: Pots | Refusal
    if len(wishes) != 1:
        code = "wish-unclear" if wishes else "wish-missing"
        pots = refusal(code, "WISH", "Say one thing to plan from: how many pots, how many jars, or how much fruit.")
    elif request.pots is not None:
        pots = pots_as_asked(request.pots)
    elif request.fruit is not None:
        pots = pots_for_fruit(recipe, request.fruit)
    elif found.jar in JAR_ML:
        pots = pots_for_jars(recipe, request.jars, found.jar)
    else:
        return  # the jar size is refused already
    if isinstance(pots, Refusal):
        found.refusals.append(pots)
    else:
        found.pots = pots


def _assemble(recipe: TestedRecipe, request: PlanRequest, found: _Found, revision: int | None) -> Plan:
    altitude = request.altitude
    possible = altitude if altitude is not None and altitude_problem(altitude) is None else None
    above_f = recipe.endpoint_f_above_boiling or JELLY_ABOVE_F
    volume = _volume_ml(recipe, found)
    jars, leftover = _fill_jars(found, volume)
    sterile = needs_sterile_jars(found.process) if found.process else None
    return Plan(
        recipe=recipe,
        revision=revision,
        source=recipe.source,
        altitude=altitude,
        boiling_point_c=boiling_point_c(possible) if possible else None,
        jelly_point_c=jelly_point_c(possible, above_f) if possible else None,
        pots=found.pots.count if found.pots else None,
        pot_scale=found.pots.scale if found.pots else Fraction(1),
        lines=amounts_for_pots(recipe, found.pots) if found.pots else (),
        stated_yield=recipe.stated_yield,
        predicted_volume_ml=volume,
        jars=jars,
        leftover_ml=leftover,
        process=found.process,
        sterilise_jars=sterile,
        sterilise_minutes=sterilise_minutes(possible) if sterile and possible else None,
        cautions=cautions_for(recipe, request, found.pots, found.process, jars) if recipe.is_tested else (),
        refusals=tuple(found.refusals),
    )


def _volume_ml(recipe: TestedRecipe, found: _Found) -> Fraction | None:
    per_pot = volume_per_pot_ml(recipe)
    return None if per_pot is None or found.pots is None else per_pot * found.pots.total


def _fill_jars(found: _Found, volume: Fraction | None) -> tuple[tuple[JarCount, ...], Fraction | None]:
    """Full jars of the size asked for, and what is left over in ml."""
    if volume is None or not found.jar_serves:
        return (), None
    count, leftover = divmod(volume, JAR_ML[found.jar])
    return ((JarCount(found.jar, int(count)),) if count else ()), leftover
