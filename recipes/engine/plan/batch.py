"""One batch from a tested recipe and a wish: the one entry point for pages, classes and the command line.

A wish that cannot be met never raises: the plan carries the refusals, and shows no process that a rule does
not cover. Yield, jars and the day are reckoned by modules that are loaded with the first plan, so that whoever only
needs the terms loads quickly.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING

from recipes.engine.physics import altitude_problem, boiling_point_c, jelly_point_c
from recipes.engine.plan.parts import cautions_for
from recipes.engine.plan.terms import Plan, PlanRequest, counted
from recipes.engine.process import ProcessFound, altitude_refusal, needs_sterile_jars, process_for, sterilise_minutes
from recipes.engine.quantities import JAR_ML, JAR_SIZES
from recipes.engine.rules import refusal
from recipes.engine.scaling import Pots, amounts_for_pots, pots_as_asked, pots_for_fruit, pots_for_jars
from recipes.engine.terms import Altitude, Caution, Method, Refusal, TestedRecipe

if TYPE_CHECKING:
    from recipes.engine.jars import JarMix
    from recipes.engine.loads import Process
    from recipes.engine.plan.parts import DayPlan, Yield

SEA_LEVEL = Altitude(Fraction(0))
JELLY_ABOVE_F = Fraction(8)  # USDA guide, for a spread whose recipe prints no other


@dataclass(eq=False, repr=False)
class _Found:
    """What the steps of planning have found so far."""

    jar: str
    altitude: Altitude | None  # where it is possible
    jar_serves: bool = False  # whether the jar, pack and canner are tested, whatever the altitude
    pots: Pots | None = None
    process: ProcessFound | None = None
    yields: Yield | None = None
    mixes: tuple[JarMix, ...] = ()
    processes: dict[str, Process] = field(default_factory=dict)  # of the sizes in the mixes
    sterile: bool | None = None
    day: DayPlan | None = None
    refusals: list[Refusal] = field(default_factory=list)
    cautions: list[Caution] = field(default_factory=list)

    @property
    def sterilise_minutes(self) -> int | None:
        return sterilise_minutes(self.altitude) if self.sterile and self.altitude else None


def plan(recipe: TestedRecipe, request: PlanRequest, *, revision: int | None = None) -> Plan:
    """The plan for this wish, with every reason against it."""
    altitude = request.altitude
    possible = altitude if altitude is not None and altitude_problem(altitude) is None else None
    found = _Found(jar=request.jar or recipe.stated_yield.jar, altitude=possible)
    if recipe.is_tested:
        _find_process(recipe, request, found)
        _find_pots(recipe, request, found)
        _find_jars(recipe, request, found)
        _find_day(recipe, request, found)
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
        found.sterile = needs_sterile_jars(looked_up)


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


def _find_jars(recipe: TestedRecipe, request: PlanRequest, found: _Found) -> None:
    """What the pots give, and which jars they fill; the process becomes that of the largest jar in the mix."""
    from recipes.engine.plan.parts import (
        allowed_of,
        canner_of,
        mix_cautions,
        mixes_of,
        needs_sterile,
        yield_cautions,
        yield_of,
    )

    if found.pots is None:
        return
    found.yields = yield_of(recipe, found.pots, boiling_point_c(found.altitude) if found.altitude else None)
    found.cautions += yield_cautions(recipe, found.pots, found.yields)
    if found.yields.pot_ml is None or not found.jar_serves:
        return
    allowed = allowed_of(recipe, request, found.jar, found.process)
    mixes = mixes_of(request, found.pots, found.yields.pot_ml, allowed)
    if isinstance(mixes, Refusal):
        found.cautions.append(Caution(mixes.code, mixes.message, mixes.rule, mixes.source))
        return
    found.mixes = mixes
    sizes = [jar.size for jar in counted(mixes)]
    found.processes = {size: process for size in sizes if (process := allowed[size]) is not None}
    if found.process is not None and sizes and sizes[0] != found.jar:
        largest = process_for(
            recipe.process,
            jar=sizes[0],
            pack=found.process.pack,
            canner=canner_of(found.process),
            altitude=request.altitude,
        )
        assert isinstance(largest, ProcessFound)  # noqa: S101 - the mix takes only sizes with a process
        found.process = largest
    found.sterile = needs_sterile(found.processes) if found.processes else found.sterile
    found.cautions += mix_cautions(mixes, found.processes)


def _find_day(recipe: TestedRecipe, request: PlanRequest, found: _Found) -> None:
    """The loads and the timeline, of a plan without refusals only: they show process times."""
    if found.refusals or not found.mixes:
        return
    from recipes.engine.plan.parts import day_of

    assert found.yields is not None  # noqa: S101 - there are no mixes without it
    found.day = day_of(
        recipe,
        request,
        mixes=found.mixes,
        balance=found.yields.balance,
        process=found.process,
        processes=found.processes,
        altitude=found.altitude or SEA_LEVEL,  # none is needed for the freezer, where nothing is heated
        sterilise_minutes=found.sterilise_minutes or 0,
    )
    found.refusals += found.day.refusals
    found.cautions += found.day.cautions


def _assemble(recipe: TestedRecipe, request: PlanRequest, found: _Found, revision: int | None) -> Plan:
    above_f = recipe.endpoint_f_above_boiling or JELLY_ABOVE_F
    yields, day, pots = found.yields, found.day, found.pots
    return Plan(
        recipe=recipe,
        revision=revision,
        source=recipe.source,
        altitude=request.altitude,
        boiling_point_c=boiling_point_c(found.altitude) if found.altitude else None,
        jelly_point_c=jelly_point_c(found.altitude, above_f) if found.altitude else None,
        pots=pots.count if pots else None,
        pot_scale=pots.scale if pots else Fraction(1),
        lines=amounts_for_pots(recipe, pots) if pots else (),
        stated_yield=recipe.stated_yield,
        predicted=yields.predicted if yields else None,
        filled_ml=yields.pot_ml * pots.count if yields and yields.pot_ml is not None and pots else None,
        filled_basis=yields.basis if yields else "",
        mixes=found.mixes,
        process=found.process,
        sterilise_jars=found.sterile,
        sterilise_minutes=found.sterilise_minutes,
        cautions=_cautions(recipe, request, found),
        refusals=tuple(found.refusals),
        loads=day.loads if day else (),
        day=day.timeline if day else None,
        finish=request.finish,
    )


def _cautions(recipe: TestedRecipe, request: PlanRequest, found: _Found) -> tuple[Caution, ...]:
    if not recipe.is_tested:
        return ()
    return cautions_for(
        recipe,
        request,
        found.pots,
        found.process,
        jars=counted(found.mixes),
        sterilise=found.sterilise_minutes,
        found=found.cautions,
    )
