"""One batch from a tested recipe and a request: the one entry point for pages, classes and the command line.

The steps follow one another: process, pots, yield and jars, the day, cautions. A request that cannot be met never
raises: the plan carries the refusals, and shows no process that a rule does not cover.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import NamedTuple

from recipes.engine.jars import JarMix, jar_mix, jar_mixes, sizes_allowed
from recipes.engine.loads import MOST_LOADS, SEVEN_QUART, Capacity, Load, Process, canner_loads, loads_at_least
from recipes.engine.mass_balance import NO_END, PotBalance, pot_balance
from recipes.engine.physics import (
    EFFICIENCY,
    SEA_LEVEL_BOILING_C,
    Burner,
    altitude_problem,
    boiling_point_c,
    jelly_point_c,
)
from recipes.engine.plan.terms import (
    MASS_BALANCE,
    STATED_YIELD,
    UNTIMED,
    Plan,
    PlanLoad,
    PlanRequest,
    Predicted,
    counted,
)
from recipes.engine.process import (
    STERILISE_BELOW_MINUTES,
    ProcessFound,
    altitude_refusal,
    needs_sterile_jars,
    process_for,
    sterilise_minutes,
)
from recipes.engine.quantities import JAR_ML, JAR_SIZES, format_amount, format_number
from recipes.engine.rules import caution, day_caution, day_refusal, refusal
from recipes.engine.scaling import Pots, amounts_for_pots, fruit_printed, pots_as_asked, pots_for_fruit, pots_for_jars
from recipes.engine.schedule.day import USUAL_GEAR, day_cautions, pot_works
from recipes.engine.schedule.terms import Gear, Timeline
from recipes.engine.schedule.timeline import day_timeline
from recipes.engine.terms import Altitude, Caution, JarCount, Method, Pack, Refusal, Role, TestedRecipe

SEA_LEVEL = Altitude(Fraction(0))
JELLY_ABOVE_F = Fraction(8)  # USDA guide, for a spread whose recipe prints no other
SPREADS = frozenset({"jam", "jelly", "marmalade", "preserve", "preserves", "butter", "conserve"})

# The request's field that has to be named before a lack of it refuses the plan.
LACKS = {"no-burner": "burners", "one-burner": "burners", "no-canner": "canners", "no-cook": "cooks"}

Processes = Mapping[str, Process | None]  # by jar size; None: kept cold, no process


class Yield(NamedTuple):
    """The balance of one pot, what all pots give, and what one pot fills; None where nothing is known."""

    balance: PotBalance | Refusal
    predicted: Predicted | None
    pot_ml: Fraction | None
    basis: str


class DayPlan(NamedTuple):
    """The loads and the day; why there is none, as refusals or cautions."""

    loads: tuple[PlanLoad, ...] = ()
    timeline: Timeline | None = None
    refusals: tuple[Refusal, ...] = ()
    cautions: tuple[Caution, ...] = ()


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


def plan_batch(recipe: TestedRecipe, request: PlanRequest, *, revision: int | None = None) -> Plan:
    """The plan for this request, with every reason against it."""
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


# What is canned: the process, and how much of it.


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
    sizes = [size for size in (request.pots, request.jars, request.fruit) if size is not None]
    pots: Pots | Refusal
    if len(sizes) != 1:
        code = "wish-unclear" if sizes else "wish-missing"
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


# The yield and the jars. Jars are planned from the low end of the yield that the tested source states; only where that
# was not seen in print from the low end of the mass balance. The balance stands beside it, so that a cook sees how far
# the two agree.


def _find_jars(recipe: TestedRecipe, request: PlanRequest, found: _Found) -> None:
    """What the pots give, and which jars they fill; the process becomes that of the largest jar in the mix."""
    if found.pots is None:
        return
    found.yields = _yield_of(recipe, found.pots, boiling_point_c(found.altitude) if found.altitude else None)
    found.cautions += _yield_cautions(recipe, found.pots, found.yields)
    if found.yields.pot_ml is None or not found.jar_serves:
        return
    allowed = _allowed_of(recipe, request, found.jar, found.process)
    mixes = _mixes_of(request, found.pots, found.yields.pot_ml, allowed)
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
            canner=found.process.canner,
            altitude=request.altitude,
        )
        assert isinstance(largest, ProcessFound)  # noqa: S101 - the mix takes only sizes with a process
        found.process = largest
    found.sterile = _needs_sterile(found.processes) if found.processes else found.sterile
    found.cautions += _mix_cautions(mixes, found.processes)


def _yield_of(recipe: TestedRecipe, pots: Pots, boiling_c: float | None) -> Yield:
    """The yield of these pots where water boils at `boiling_c` (sea level when None)."""
    balance = pot_balance(recipe, scale=pots.scale, boiling_water_c=boiling_c or SEA_LEVEL_BOILING_C)
    predicted = _by_source(recipe, pots, balance) if isinstance(balance, Refusal) else _by_balance(balance, pots)
    stated = recipe.stated_yield
    if stated.seen.is_seen:
        return Yield(balance, predicted, stated.low * JAR_ML[stated.jar] * pots.scale, STATED_YIELD)
    if predicted is None:
        return Yield(balance, None, None, "")
    return Yield(balance, predicted, predicted.low_ml / pots.count, MASS_BALANCE)


def _yield_cautions(recipe: TestedRecipe, pots: Pots, found: Yield) -> Iterator[Caution]:
    """Where source and mass balance disagree by more than whole jars, or a pot could not be weighed."""
    stated, balance = recipe.stated_yield, found.balance
    if isinstance(balance, Refusal):
        if balance.code != NO_END:
            yield Caution(balance.code, balance.message, balance.rule, balance.source)
        return
    low, high = balance.whole_jars
    if stated.seen.is_seen and not (stated.low * pots.scale <= high and low <= stated.high * pots.scale):
        said = format_number(stated.low * pots.scale)
        weighed = str(low) if low == high else f"{low} to {high}"
        yield caution(
            "yield-differs",
            "YIELD-STATED",
            f"By weight one pot fills about {weighed} {stated.jar} jars; its source states {said}. Have jars for both.",
        )


def _by_balance(balance: PotBalance, pots: Pots) -> Predicted:
    volume = balance.volume_filling_ml
    return Predicted(
        basis=MASS_BALANCE,
        low_ml=_tenths(volume.low) * pots.count,
        best_ml=_tenths(volume.best) * pots.count,
        high_ml=_tenths(volume.high) * pots.count,
        brix=balance.brix,
        jars_a_pot=balance.jars,
        estimates=balance.estimates,
        assumptions=balance.assumptions,
    )


def _by_source(recipe: TestedRecipe, pots: Pots, why: Refusal) -> Predicted | None:
    stated = recipe.stated_yield
    if not stated.seen.is_seen:
        return None
    low, high = (jars * JAR_ML[stated.jar] * pots.total for jars in (stated.low, stated.high))
    return Predicted(STATED_YIELD, low_ml=low, best_ml=low, high_ml=high, why_not=why.message)


def _tenths(millilitres: float) -> Fraction:
    """A reckoned figure to a tenth of a millilitre: as fine as anybody needs it, and exact from here on."""
    return Fraction(round(millilitres * 10), 10)


def _allowed_of(recipe: TestedRecipe, request: PlanRequest, jar: str, process: ProcessFound | None) -> Processes:
    """The sizes that may be filled: the one asked for; with empties at hand and none asked, every tested one.

    Without a process (a plan that is refused, or the freezer) the size is only counted out.
    """
    mixes_sizes = request.empties is not None and request.jar is None
    if process is None:
        return dict.fromkeys(JAR_SIZES) if mixes_sizes and recipe.method is Method.FREEZER else {jar: None}
    if not mixes_sizes:
        return {jar: Process.of(process)}
    return sizes_allowed(recipe.process, pack=process.pack, canner=process.canner, altitude=request.altitude)


def _mixes_of(request: PlanRequest, pots: Pots, pot_ml: Fraction, allowed: Processes) -> tuple[JarMix, ...] | Refusal:
    """One jar mix for each pot, each filled by itself."""
    if request.empties is not None:
        return jar_mixes(pot_ml, pots.count, allowed, request.capacity or SEVEN_QUART, request.empties)
    # One size without end: the canner has no say in which jars, so a jar too tall for it is still counted.
    mix = jar_mix(pot_ml, dict.fromkeys(allowed), SEVEN_QUART)
    return mix if isinstance(mix, Refusal) else (mix,) * pots.count


def _needs_sterile(processes: Mapping[str, Process]) -> bool:
    """Whether any jar of the mix is to be sterilised first (STERIL-NEEDED)."""
    return any(
        process.method is Method.BOILING_WATER and process.minutes < STERILISE_BELOW_MINUTES
        for process in processes.values()
    )


def _mix_cautions(mixes: Sequence[JarMix], processes: Mapping[str, Process]) -> Iterator[Caution]:
    """What to mind about this mix: several processes, and what no empty jar is left for."""
    if len(set(processes.values())) > 1:
        said = "; ".join(f"{size}: {_minutes_and_pressure(process)}" for size, process in processes.items())
        message = f"These jars are not processed alike ({said}). Each load holds jars of one process only."
        yield day_caution("several-processes", "LOAD-PROCESS", message)
    homeless = sum((mix.leftover_ml for mix in mixes if mix.part_jar and mix.part_jar.size is None), Fraction(0))
    if homeless:
        message = f"There is no empty jar for about {round(homeless)} ml. Find more jars, or eat that fresh."
        yield day_caution("empties-short", "JAR-MIX", message)


def _minutes_and_pressure(process: Process) -> str:
    pressure = "" if process.pressure_psi is None else f" at {process.pressure_psi} psi"
    return f"{process.minutes} minutes{pressure}"


# Canner loads and the day's timeline, from the gear that was named or what a household has. What cannot be timed is a
# caution: the plan stays as safe as it was. Only gear that was named and cannot do the work at all is a refusal.


def _find_day(recipe: TestedRecipe, request: PlanRequest, found: _Found) -> None:
    """The loads and the timeline, of a plan without refusals only: they show process times."""
    if found.refusals or not found.mixes:
        return
    assert found.yields is not None  # noqa: S101 - there are no mixes without it
    found.day = _day_of(
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


def _day_of(
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
        kind=process.canner if process else USUAL_GEAR.kind,
        capacity=request.capacity or USUAL_GEAR.capacity,
        cooks=USUAL_GEAR.cooks if request.cooks is None else request.cooks,
    )


def _burners(request: PlanRequest) -> tuple[Burner, ...] | Refusal:
    """Each with its own power where that is known, else so many usual ones."""
    if request.watts is None:
        count = len(USUAL_GEAR.burners) if request.burners is None else request.burners
        return (Burner.of_kind(request.stove),) * count
    try:
        return tuple(Burner.of_kind(request.stove, watts) for watts in request.watts)
    except ValueError:
        message = "A burner has between 1 and 50,000 watts. Read it off the plate of the stove."
        return day_refusal("burner-power", "BURNER-EACH", message)


def _is_named(request: PlanRequest, field: str) -> bool:
    """Whether the request names this gear, so that a lack of it refuses the plan."""
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


# What to mind: what follows from this request, and the usual cares of each method.


def _cautions(recipe: TestedRecipe, request: PlanRequest, found: _Found) -> tuple[Caution, ...]:
    """All cautions, the ones that this request brings first."""
    if not recipe.is_tested:
        return ()
    return (
        *_of_process(found.process, found.sterilise_minutes),
        *_of_pots(recipe, request, found.pots, counted(found.mixes)),
        *found.cautions,
        *_of_recipe(recipe),
        *_of_method(recipe, found.process),
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
