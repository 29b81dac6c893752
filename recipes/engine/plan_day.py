"""Canner loads and the day's timeline of a plan, from the gear that was named or what a household has.

What cannot be timed is a caution: the plan stays as safe as it was. Only gear that was named and cannot do the work
at all is a refusal.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from recipes.engine.day import USUAL_GEAR, day_cautions, pot_works
from recipes.engine.day_rules import day_refusal
from recipes.engine.heat import EFFICIENCY, Burner
from recipes.engine.jars import JarMix
from recipes.engine.loads import MOST_LOADS, Capacity, Load, Process, canner_loads, loads_at_least
from recipes.engine.plan_jars import canner_of
from recipes.engine.plan_terms import UNTIMED, PlanLoad, PlanRequest
from recipes.engine.process import ProcessFound
from recipes.engine.solids import PotBalance
from recipes.engine.terms import Altitude, Caution, Pack, Refusal, TestedRecipe
from recipes.engine.timeline import Gear, Timeline, day_timeline

# The request's field that has to be named before a lack of it refuses the plan.
LACKS = {"no-burner": "burners", "one-burner": "burners", "no-canner": "canners", "no-cook": "cooks"}


class DayPlan(NamedTuple):
    """The loads and the day; why there is none, as refusals or cautions."""

    loads: tuple[PlanLoad, ...] = ()
    timeline: Timeline | None = None
    refusals: tuple[Refusal, ...] = ()
    cautions: tuple[Caution, ...] = ()


def day_of(
    recipe: TestedRecipe,
    request: PlanRequest,
    *,
    mixes: Sequence[JarMix],
    balance: PotBalance | Refusal,
    process: ProcessFound | None,
    processes: Mapping[str, Process],
    altitude: Altitude,
    sterilise_minutes: int,
) -> DayPlan:
    """The day of these jars. `process` is None and `processes` empty for the freezer."""
    gear = _gear(request, process)
    if isinstance(gear, Refusal):
        return DayPlan(refusals=(gear,))
    if (too_much := _days_refusal(mixes, processes, gear.capacity)) is not None:
        return DayPlan(refusals=(too_much,))
    pots = pot_works(recipe, mixes, balance, pack=process.pack if process else Pack.NOT_STATED)
    day = day_timeline(pots, processes, gear, altitude, sterilise_minutes=sterilise_minutes)
    if isinstance(day, Timeline):
        loads = tuple(_load(at.number, at.pot, at.canner, at.load) for at in day.loads)
        return DayPlan(loads, day, cautions=day_cautions(recipe))
    if _is_named(request, LACKS.get(day.code, "")):
        return DayPlan(refusals=(day,))
    untimed = Caution(day.code, UNTIMED + day.message, day.rule, day.source)
    return DayPlan(_loads_alone(mixes, processes, gear), cautions=(untimed,))


def _days_refusal(mixes: Sequence[JarMix], processes: Mapping[str, Process], canner: Capacity) -> Refusal | None:
    """Before anything is loaded or timed: more than a day's work is not planned at all."""
    needed = sum(loads_at_least(mix.counts, processes, canner) for mix in mixes)
    if needed <= MOST_LOADS:
        return None
    message = (
        f"These jars need at least {needed:,} canner loads, and that is several days of work. Plan a part of it, at "
        f"most {MOST_LOADS} loads at a time, or say a larger canner."
    )
    return day_refusal("several-days", "ONE-DAY", message)


def _gear(request: PlanRequest, process: ProcessFound | None) -> Gear | Refusal:
    if request.stove not in EFFICIENCY:
        known = ", ".join(EFFICIENCY)
        return day_refusal("stove-unknown", "BURNER-EACH", f"There is no such stove. Use one of: {known}.")
    burners = _burners(request)
    if isinstance(burners, Refusal):
        return burners
    return Gear(
        burners=burners,
        canners=USUAL_GEAR.canners if request.canners is None else request.canners,
        kind=canner_of(process) if process else USUAL_GEAR.kind,
        capacity=request.capacity or USUAL_GEAR.capacity,
        cooks=USUAL_GEAR.cooks if request.cooks is None else request.cooks,
    )


def _burners(request: PlanRequest) -> tuple[Burner, ...] | Refusal:
    """Each with its own power where that was told, else so many usual ones."""
    if request.watts is None:
        count = len(USUAL_GEAR.burners) if request.burners is None else request.burners
        return (Burner.of_kind(request.stove),) * count
    try:
        return tuple(Burner.of_kind(request.stove, watts) for watts in request.watts)
    except ValueError:
        message = "A burner has between 1 and 50,000 watts. Read it off the plate of the stove."
        return day_refusal("burner-power", "BURNER-EACH", message)


def _is_named(request: PlanRequest, field: str) -> bool:
    """Whether the wish names this gear, so that a lack of it refuses the plan."""
    if field == "burners" and request.watts is not None:
        return True
    return getattr(request, field, None) is not None


def _loads_alone(mixes: Sequence[JarMix], processes: Mapping[str, Process], gear: Gear) -> tuple[PlanLoad, ...]:
    """The loads where nothing can be timed; none where a jar does not go into the canner."""
    if not processes:
        return ()
    found: list[PlanLoad] = []
    for pot, mix in enumerate(mixes, 1):
        loads = canner_loads(mix.counts, processes, gear.capacity)
        if isinstance(loads, Refusal):
            return ()
        found += [_load(len(found) + number, pot, None, load) for number, load in enumerate(loads, 1)]
    return tuple(found)


def _load(number: int, pot: int, canner: int | None, load: Load) -> PlanLoad:
    return PlanLoad(number, pot, canner, load.jars, load.process, load.filled)
