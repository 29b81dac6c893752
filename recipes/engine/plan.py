"""One batch from a tested recipe and a request: the one entry point for pages, classes and the command line.

The steps follow one another: process, pots, yield and jars, the day, cautions. A request that cannot be met never
raises: the plan carries the refusals, and shows no process that a rule does not cover.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import NamedTuple

from recipes.engine.alternatives import Choice, choices_of, same_item, with_choice
from recipes.engine.canner_load import (
    CANNER_LOAD,
    JarLoad,
    lines_by_load,
    load_for,
    mixes_by_load,
    pots_by_load,
    with_jar_facts,
)
from recipes.engine.handwork import HandWork, hand_work
from recipes.engine.jars import SEVEN_QUART, Capacity, JarMix, jar_mixes
from recipes.engine.mass_balance import NO_END, SEA_LEVEL_BOILING_C, PotBalance, Span, pot_balance
from recipes.engine.messages import Text
from recipes.engine.physics import EFFICIENCY, Burner, altitude_problem, boiling_point_c, jelly_point_c
from recipes.engine.process import (
    DOUBTFUL_GAUGE_ERROR_PSI,
    Process,
    ProcessFound,
    altitude_refusal,
    gauge_error,
    processes_for,
    sterilise_minutes,
)
from recipes.engine.quantities import JAR_ML, JAR_SIZES, Amount, convert, round_for_kitchen
from recipes.engine.scaling import Cooking, Line, Pots, cooking_for, fruit_printed, stated_for, wish_refusal
from recipes.engine.schedule import MOST_COOKS, SPREADS, USUAL_GEAR, Day, Gear, PotLoad, Step, Timeline, plan_day
from recipes.engine.syrups import SYRUPS, liquid_named, with_liquid
from recipes.engine.terms import (
    Altitude,
    Canner,
    Caution,
    JarCount,
    LowTemperature,
    Method,
    Pack,
    Range,
    RecipeStep,
    Refusal,
    Role,
    StatedYield,
    Strength,
    TestedRecipe,
    TestedSource,
)
from recipes.engine.yields import Filling, filling_of

MASS_BALANCE = "mass-balance"
STATED_YIELD = "stated-yield"

USUAL_STOVE = "electric"


class Untimed(Caution):
    """Why there is no timeline, in the words of what was refused when the day was planned."""

    @property
    def text(self) -> Text:
        return Text("untimed", {"why": super().text})

    def as_refusal(self) -> Refusal:
        return Refusal(self.key, self.rule, self.params)


@dataclass(frozen=True)
class PlanRequest:
    """What is asked for: one of pots, jars and fruit; the jar is the stated yield's when None.

    `empties` are the jars at hand by size; None: as many as wanted of the one size. `burners`, `canners` and `cooks`
    are how many there are, `stove` a key of `physics.EFFICIENCY`; None: the usual gear.
    `watts` is the power of each burner, where it is known; there are then just so many, whatever `burners` says.
    `finish` is the minute of the day at which the last jar is out; None: the timeline has no clock.
    `reads_high` is what a dial gauge showed above the truth at its last test, in psi (below zero: it reads low); None:
    not known, and then the pressure is the table's. `liquid` is one of the recipe's packing liquids, `instead` names
    choices of its alternatives, `food` is one of its produce where processes differ by that.
    """

    altitude: Altitude | None = None
    pots: int | None = None
    jars: int | None = None
    fruit: Amount | None = None
    jar: str | None = None
    pack: Pack | None = None
    canner: Canner | None = None
    empties: Mapping[str, int] | None = None
    burners: int | None = None
    canners: int | None = None
    cooks: int | None = None
    stove: str = USUAL_STOVE
    capacity: Capacity | None = None
    finish: int | None = None
    watts: tuple[int, ...] | None = None
    reads_high: Fraction | None = None
    liquid: str | None = None
    instead: tuple[str, ...] | None = None
    food: str | None = None

    @property
    def mixes_sizes(self) -> bool:
        """Whether jars are picked from those at hand, of any size that is tested."""
        return self.empties is not None and self.jar is None

    def names(self, field: str) -> bool:
        """Whether this gear is named, so that a lack of it refuses the plan."""
        return getattr(self, field, None) is not None or (field == "burners" and self.watts is not None)


class Predicted(NamedTuple):
    """What all the pots give: by mass balance where it can be reckoned, by class of food, or as the source states it.

    Volumes in ml as filled. `brix` in degrees is only known by mass balance, `jars_a_pot` in jars of the stated yield's
    size by that and by the class; `why_not` says why there is neither.
    """

    basis: str  # MASS_BALANCE, PACKED, COOKED, STATED_YIELD or CANNER_LOAD
    low_ml: Fraction
    best_ml: Fraction
    high_ml: Fraction
    brix: Span | None = None
    jars_a_pot: Span | None = None
    estimates: tuple[str, ...] = ()
    assumptions: tuple[Text, ...] = ()
    why_not: Text | None = None


@dataclass(frozen=True)
class Plan:
    """One batch, planned. With refusals it is not fit to cook from, and `process` is None where they touch it.

    Temperatures are in degrees Celsius and None without a possible altitude. `sterilise_jars` is None while
    the process is not known. `mixes` has one jar mix a pot; `loads` and `day` are empty where anything is refused.
    """

    recipe: TestedRecipe
    revision: int | None
    source: TestedSource
    altitude: Altitude | None
    boiling_point_c: float | None
    jelly_point_c: float | None  # of a spread that jells; None for anything else
    pots: int | None
    pot_scale: Fraction  # of the printed amounts, for each pot; of canner loads, the first
    printed_total: Fraction  # of the printed amounts, all pots together
    lines: tuple[Line, ...]
    stated_yield: StatedYield
    predicted: Predicted | None
    filled_ml: Fraction | None  # what jars are planned from: by the source, and by mass balance where it says nothing
    filled_basis: str
    mixes: tuple[JarMix, ...]
    process: ProcessFound | None  # of the largest jar in the mix
    sterilise_jars: bool | None
    sterilise_minutes: int | None
    cautions: tuple[Caution, ...]
    refusals: tuple[Refusal, ...]
    loads: tuple[PotLoad, ...] = ()
    day: Timeline | None = None  # from minute 0
    finish: int | None = None
    steps: tuple[RecipeStep, ...] = ()  # of this pack, method and jars alone
    look_up: tuple[Text, ...] = ()  # what was not read in print, and where it stands
    printed_load: JarLoad | None = None  # what the jars are planned from, where that is the canner load
    liquid: str = ""  # the packing liquid, of those that the source allows
    chosen: tuple[Choice, ...] = ()
    food: str | None = None  # which of the recipe's produce, where that is known
    hand_work: tuple[HandWork, ...] = ()  # on the food of all pots, before they are lit
    cooks: int = 1  # who share it
    low_temperature: LowTemperature | Refusal | None = None  # None: the recipe's source says nothing of it

    @property
    def ok(self) -> bool:
        """Whether nothing was refused."""
        return not self.refusals

    @property
    def predicted_volume_ml(self) -> Fraction | None:
        """What all the pots give, best estimate."""
        return self.predicted.best_ml if self.predicted else None

    @property
    def jars(self) -> tuple[JarCount, ...]:
        """Full jars over all pots, largest first."""
        return counted(self.mixes)

    @property
    def leftover_ml(self) -> Fraction | None:
        """What stays over in all, never processed; None where no jars could be planned."""
        return sum((mix.leftover_ml for mix in self.mixes), Fraction(0)) if self.mixes else None

    @property
    def begins(self) -> int | None:
        """The minute of the finishing day at which work begins; below 0 on the day before."""
        return None if self.day is None or self.finish is None else self.finish - self.day.minutes


def counted(mixes: tuple[JarMix, ...]) -> tuple[JarCount, ...]:
    """The full jars of all pots by size, largest first."""
    counts: dict[str, int] = {}
    for mix in mixes:
        for jar in mix.jars:
            counts[jar.size] = counts.get(jar.size, 0) + jar.count
    return tuple(JarCount(size, counts[size]) for size in reversed(JAR_SIZES) if size in counts)


# Making a plan.

SEA_LEVEL = Altitude(Fraction(0))
JELLY_ABOVE_F = Fraction(8)  # USDA guide, for a spread whose recipe prints no other

# The request's field that has to be named before a lack of it refuses the plan.
LACKS = {"no-burner": "burners", "one-burner": "burners", "no-canner": "canners", "no-cook": "cooks"}


class Yield(NamedTuple):
    """The balance of one pot, what all pots give, and what one pot fills; None where nothing is known."""

    balance: PotBalance | Refusal
    predicted: Predicted | None
    pot_ml: Fraction | None
    basis: str
    filled_ml: Fraction | None


@dataclass(eq=False, repr=False)
class _Found:
    """What the steps of planning have found so far."""

    jar: str
    altitude: Altitude | None  # where it is possible
    jar_serves: bool = False  # whether the jar, pack and canner are tested, whatever the altitude
    cooking: Cooking | None = None
    allowed: Mapping[str, ProcessFound] = field(default_factory=dict)  # by the sizes that may be filled
    process: ProcessFound | None = None  # of the largest jar
    yields: Yield | None = None
    mixes: tuple[JarMix, ...] = ()
    processes: dict[str, Process] = field(default_factory=dict)  # of the sizes in the mixes
    day: Day | None = None
    load: JarLoad | None = None  # where the source prints what a canner load of this jar takes
    liquid: str = ""
    chosen: tuple[Choice, ...] = ()
    food: str | None = None
    hand_work: tuple[HandWork, ...] = ()
    cooks: int = 1
    refusals: list[Refusal] = field(default_factory=list)
    cautions: list[Caution] = field(default_factory=list)

    @property
    def sterile(self) -> bool | None:
        """Whether any jar is to be sterilised first; None while no process is known."""
        if self.process is None:
            return None
        return any(each.needs_sterile_jars for each in self.processes.values() or [Process.of(self.process)])

    @property
    def sterilise_minutes(self) -> int | None:
        return sterilise_minutes(self.altitude) if self.sterile and self.altitude else None


def plan_batch(recipe: TestedRecipe, request: PlanRequest, *, revision: int | None = None) -> Plan:
    """The plan for this request, with every reason against it."""
    altitude = request.altitude
    possible = altitude if altitude is not None and altitude_problem(altitude) is None else None
    found = _Found(jar=request.jar or recipe.stated_yield.jar, altitude=possible)
    cooked = recipe
    if recipe.is_tested:
        _find_process(recipe, request, found)
        cooked = _find_choices(recipe, request, found)
        _find_amounts(cooked, request, found)
        _find_jars(cooked, request, found, recipe)
        _find_day(recipe, request, found)
    else:
        found.refusals.append(Refusal("recipe-not-tested", "SEEN-ONLY"))
    above_f = recipe.endpoint_f_above_boiling or JELLY_ABOVE_F
    yields, day, pots = found.yields, found.day, found.cooking.pots if found.cooking else None
    return Plan(
        recipe=recipe,
        revision=revision,
        source=recipe.source,
        altitude=request.altitude,
        boiling_point_c=boiling_point_c(possible) if possible else None,
        jelly_point_c=jelly_point_c(possible, above_f) if possible and recipe.is_jellied else None,
        pots=pots.count if pots else None,
        pot_scale=pots.scale if pots else Fraction(1),
        printed_total=pots.total if pots else Fraction(0),
        lines=found.cooking.lines if found.cooking else (),
        stated_yield=recipe.stated_yield,
        predicted=yields.predicted if yields else None,
        filled_ml=yields.filled_ml if yields else None,
        filled_basis=yields.basis if yields else "",
        mixes=found.mixes,
        process=found.process,
        sterilise_jars=found.sterile,
        sterilise_minutes=found.sterilise_minutes,
        cautions=_cautions(cooked, request, found) if recipe.is_tested else (),
        refusals=tuple(found.refusals),
        loads=day.loads if day else (),
        day=day.timeline if day else None,
        finish=request.finish,
        steps=_steps(recipe, request, found),
        look_up=tuple(_look_up(cooked, request, found)),
        printed_load=found.load,
        liquid=found.liquid,
        chosen=found.chosen,
        food=found.food,
        hand_work=found.hand_work,
        cooks=found.cooks,
        low_temperature=_low_temperature(recipe, found),
    )


# What is canned: the process, and how much of it.


def _find_process(recipe: TestedRecipe, request: PlanRequest, found: _Found) -> None:
    """The process, or every reason against it: the altitude's, and those that hold at any altitude."""
    found.food = request.food or (recipe.produce[0] if len(recipe.produce) == 1 else None)
    if request.food and same_item(request.food) not in map(same_item, recipe.produce):
        found.refusals.append(Refusal("food-unknown", "ROW-FOODS", {"foods": recipe.produce}))
    problem = altitude_refusal(request.altitude)
    if recipe.method.is_cold:
        found.jar_serves = found.jar in JAR_ML
        if not found.jar_serves:
            found.refusals.append(Refusal("jar-unknown", "JAR-SIZE", {"sizes": JAR_SIZES}))
        if problem is not None and request.altitude is not None:
            found.refusals.append(problem)
        return
    allowed = processes_for(
        recipe.process,
        jar=found.jar,
        pack=request.pack,
        canner=request.canner,
        altitude=SEA_LEVEL if problem else request.altitude,
        any_size=request.mixes_sizes,
        reads_high=request.reads_high,
        food=found.food,
    )
    found.refusals += [reason for reason in (problem, allowed) if isinstance(reason, Refusal)]
    if isinstance(allowed, Refusal):
        return
    found.jar_serves = True
    if problem is None:
        found.allowed, found.process = allowed, allowed[found.jar]


def _low_temperature(recipe: TestedRecipe, found: _Found) -> LowTemperature | Refusal | None:
    """Low-temperature pasteurisation in place of the process, or why these jars are not kept by it."""
    low, process = recipe.low_temperature, found.process
    if low is None or process is None:
        return None
    if not low.seen.is_seen:
        return Refusal("low-temperature.not-seen", "LOW-TEMPERATURE")
    fits = (not low.packs or process.pack in low.packs) and (not low.jars or process.tested_jar in low.jars)
    if process.canner is not Canner.BOILING_WATER or not fits:
        return Refusal("low-temperature.elsewhere", "LOW-TEMPERATURE")
    if found.altitude is None or boiling_point_c(found.altitude) * 9 / 5 + 32 <= low.high_f:
        return Refusal("low-temperature.too-high", "LOW-TEMPERATURE")
    return low


def _find_choices(recipe: TestedRecipe, request: PlanRequest, found: _Found) -> TestedRecipe:
    """The recipe with what was chosen of its alternatives and packing liquids; what it does not allow is refused."""
    cooked = recipe
    offered = [choice for choice in choices_of(recipe) if choice.is_seen]
    replaced: set[str] = set()
    for name in request.instead or ():
        choice = next((each for each in offered if same_item(each.name) == same_item(name)), None)
        if choice is None:
            names = tuple(each.name for each in offered)
            unknown = Refusal("choice-unknown", "ALTERNATIVE", {"choice": name, "choices": names})
            found.refusals.append(unknown if names else Refusal("choice-unknown.none", "ALTERNATIVE"))
            continue
        items = set(map(same_item, choice.instead_of))
        if items & replaced:
            found.refusals.append(Refusal("choice-twice", "ALTERNATIVE", {"choice": choice.name}))
            continue
        replaced |= items
        found.chosen = (*found.chosen, choice)
        cooked = with_choice(cooked, choice)
    return _with_liquid(cooked, request, found)


def _with_liquid(recipe: TestedRecipe, request: PlanRequest, found: _Found) -> TestedRecipe:
    liquids = recipe.packing_liquids
    if liquids is None or not liquids.seen.is_seen:
        if request.liquid:
            found.refusals.append(Refusal("liquid-not-allowed.none", "PACKING-LIQUID"))
        return recipe
    named = liquid_named(liquids, request.liquid) if request.liquid else liquids.usual
    if request.liquid and not named:
        found.refusals.append(
            Refusal("liquid-not-allowed", "PACKING-LIQUID", {"liquid": request.liquid, "liquids": liquids.names})
        )
    if not request.liquid and len(liquids.names) > 1:
        named_in_full = tuple(map(_liquid_words, liquids.names))
        found.cautions.append(Caution("liquid-open", "PACKING-LIQUID", {"liquids": named_in_full}))
    if not named:
        return recipe
    found.liquid = named
    return with_liquid(recipe, named)


def _liquid_words(name: str) -> str:
    return f"{name.replace('-', ' ')} syrup" if name in list(Strength) else name


def _find_amounts(recipe: TestedRecipe, request: PlanRequest, found: _Found) -> None:
    if found.jar not in JAR_ML and request.jars is not None and request.pots is None and request.fruit is None:
        return  # the jar size is refused already
    cooking: Cooking | Refusal
    pack = found.process.pack if found.process else request.pack
    if not request.mixes_sizes:
        found.load = load_for(recipe, jar=found.jar, pack=pack, canner=request.capacity)
    if found.load is None:
        cooking = cooking_for(recipe, pots=request.pots, jars=request.jars, fruit=request.fruit, jar=found.jar)
    else:
        cooking = _cooking_by_load(recipe, request, found.load)
    if isinstance(cooking, Refusal):
        found.refusals.append(cooking)
    else:
        found.cooking = cooking


def _cooking_by_load(recipe: TestedRecipe, request: PlanRequest, load: JarLoad) -> Cooking | Refusal:
    if (unclear := wish_refusal(request.pots, request.jars, request.fruit)) is not None:
        return unclear
    pots = pots_by_load(recipe, load, pots=request.pots, jars=request.jars, fruit=request.fruit)
    if isinstance(pots, Refusal):
        return pots
    return Cooking(pots, lines_by_load(recipe, load, pots), fruit_printed(recipe))


# The yield and the jars. Jars are planned from the low end of the yield that the tested source states; only where that
# was not seen in print from the low end of the mass balance. The balance stands beside it, so that a cook sees how far
# the two agree.


def _find_jars(cooked: TestedRecipe, request: PlanRequest, found: _Found, recipe: TestedRecipe) -> None:
    """What the pots give, and which jars they fill; the process becomes that of the largest jar in the mix.

    Weighed is the `recipe` as printed: how much of a packing liquid goes in is not known of each.
    """
    if found.cooking is None:
        return
    pots = found.cooking.pots
    boiling_c = boiling_point_c(found.altitude) if found.altitude else SEA_LEVEL_BOILING_C
    stated = recipe.stated_yield if request.mixes_sizes else stated_for(recipe, found.jar)
    found.yields = _yield_of(replace(recipe, stated_yield=stated), pots, boiling_c, found.load)
    found.cautions += _yield_cautions(recipe, pots, found.yields)
    if found.jar_serves:
        _fill_jars(recipe, request, found, pots, found.yields)
    pack = found.process.pack if found.process else request.pack
    lines = with_jar_facts(found.cooking.lines, cooked.per_jar, found.mixes, pack)
    found.cooking = found.cooking._replace(lines=lines)


def _fill_jars(recipe: TestedRecipe, request: PlanRequest, found: _Found, pots: Pots, yields: Yield) -> None:
    """The jars of each pot, and the process of the largest of them."""
    if yields.pot_ml is None:
        return
    # Without a process (a plan that is refused, or the freezer) the sizes are only counted out.
    kept_cold = JAR_SIZES if request.mixes_sizes and recipe.method.is_cold else (found.jar,)
    allowed: Mapping[str, Process | None] = {size: Process.of(each) for size, each in found.allowed.items()}
    allowed = allowed or dict.fromkeys(kept_cold)
    # One size without end: the canner has no say in which jars, so a jar too tall for it is still counted.
    fillable = dict.fromkeys(allowed) if request.empties is None else allowed
    mixes: tuple[JarMix, ...] | Refusal
    if found.load is not None:
        mixes = mixes_by_load(found.load, pots, request.empties)
    else:
        mixes = jar_mixes(yields.pot_ml, pots.count, fillable, request.capacity or SEVEN_QUART, request.empties)
    if isinstance(mixes, Refusal):
        found.cautions.append(mixes.as_caution())
        return
    found.mixes = mixes
    sizes = [jar.size for jar in counted(mixes)]
    found.processes = {size: process for size in sizes if (process := allowed[size]) is not None}
    if found.process is not None and sizes:
        found.process = found.allowed[sizes[0]]
    found.cautions += _mix_cautions(mixes, found.processes)


def _yield_of(recipe: TestedRecipe, pots: Pots, boiling_c: float, load: JarLoad | None) -> Yield:
    """The yield of these pots where water boils at `boiling_c`; of a canner load just its jars."""
    stated = recipe.stated_yield
    balance: PotBalance | Refusal = Refusal(NO_END, "MASS-BALANCE")
    if recipe.ingredients:
        balance = pot_balance(recipe, scale=pots.scale, boiling_water_c=boiling_c)
    predicted: Predicted | None = None
    found = filling_of(recipe, scale=pots.scale) if _has_no_end(recipe, balance) else balance
    filled = Fraction(0) if load is None else JAR_ML[load.jar] * sum(pots.fills)
    if not isinstance(balance, Refusal):
        predicted = _by_balance(balance, pots)
    elif load is not None:
        predicted = Predicted(CANNER_LOAD, low_ml=filled, best_ml=filled, high_ml=filled, why_not=balance.text)
        if isinstance(found, Filling):
            predicted = predicted._replace(assumptions=found.in_a_jar)
    elif isinstance(found, Filling):
        predicted = _by_class(found, pots)
    elif stated.seen.is_seen:
        low, high = (jars * JAR_ML[stated.jar] * pots.total for jars in (stated.low, stated.high))
        predicted = Predicted(STATED_YIELD, low_ml=low, best_ml=low, high_ml=high, why_not=balance.text)
    if load is not None:
        return Yield(balance, predicted, JAR_ML[load.jar] * pots.fills[0], CANNER_LOAD, filled)
    if stated.seen.is_seen:
        pot_ml = stated.low * JAR_ML[stated.jar] * pots.scale
        return Yield(balance, predicted, pot_ml, STATED_YIELD, pot_ml * pots.count)
    if predicted is None or predicted.basis != MASS_BALANCE:  # a class of food is too wide to count jars by
        return Yield(balance, predicted, None, "", None)
    return Yield(balance, predicted, predicted.low_ml / pots.count, MASS_BALANCE, predicted.low_ml)


def _has_no_end(recipe: TestedRecipe, balance: PotBalance | Refusal) -> bool:
    """Whether the recipe is none for the mass balance at all, rather than one with a line that cannot be weighed."""
    return bool(recipe.ingredients) and isinstance(balance, Refusal) and balance.code == NO_END


def _by_class(found: Filling, pots: Pots) -> Predicted:
    many = pots.total / pots.scale
    low, best, high = (Fraction(round(ml * 10), 10) * many for ml in found.ml)
    return Predicted(
        basis=found.way,
        low_ml=low,
        best_ml=best,
        high_ml=high,
        jars_a_pot=found.jars,
        estimates=found.estimates,
        assumptions=found.assumptions,
    )


def _by_balance(balance: PotBalance, pots: Pots) -> Predicted:
    # To a tenth of a millilitre: as fine as anybody needs it, and exact from here on.
    many = pots.total / pots.scale  # of such pots; the last load of several may be a smaller one
    low, best, high = (Fraction(round(ml * 10), 10) * many for ml in balance.volume_filling_ml)
    return Predicted(
        basis=MASS_BALANCE,
        low_ml=low,
        best_ml=best,
        high_ml=high,
        brix=balance.brix,
        jars_a_pot=balance.jars,
        estimates=balance.estimates,
        assumptions=balance.assumptions,
    )


def _yield_cautions(recipe: TestedRecipe, pots: Pots, found: Yield) -> Iterator[Caution]:
    """Where source and mass balance disagree by more than whole jars, or a pot could not be weighed."""
    stated, balance = recipe.stated_yield, found.balance
    if isinstance(balance, Refusal):
        if balance.code != NO_END:
            yield balance.as_caution()
        return
    low, high = balance.whole_jars
    if stated.seen.is_seen and not (stated.low * pots.scale <= high and low <= stated.high * pots.scale):
        stated_jars = stated.low * pots.scale
        if low == high:
            yield Caution(
                "yield-differs",
                "YIELD-STATED",
                {"weighed": low, "jar": stated.jar, "stated": Amount(stated_jars, "each")},
            )
        else:
            yield Caution(
                "yield-differs.range",
                "YIELD-STATED",
                {"low": low, "high": high, "jar": stated.jar, "stated": Amount(stated_jars, "each")},
            )


def _mix_cautions(mixes: Sequence[JarMix], processes: Mapping[str, Process]) -> Iterator[Caution]:
    """What to mind about this mix: several processes, and what no empty jar is left for."""
    if len(set(processes.values())) > 1:
        each = tuple(
            Text("part.minutes", {"size": size, "minutes": process.minutes})
            if process.pressure_psi is None
            else Text("part.minutes-at", {"size": size, "minutes": process.minutes, "psi": process.setting_psi})
            for size, process in processes.items()
        )
        yield Caution("several-processes", "LOAD-PROCESS", {"processes": each})
    homeless = sum((mix.leftover_ml for mix in mixes if mix.part_jar and mix.part_jar.size is None), Fraction(0))
    if homeless:
        yield Caution("empties-short", "JAR-MIX", {"ml": round(homeless)})


# Canner loads and the day's timeline, from the gear that was named or what a household has. What cannot be timed is a
# caution: the plan stays as safe as it was. Only gear that was named and cannot do the work at all is a refusal.


def _find_day(recipe: TestedRecipe, request: PlanRequest, found: _Found) -> None:
    """The loads and the timeline, of a plan without refusals only: they show process times."""
    if found.refusals or not found.mixes:
        return
    assert found.yields is not None  # noqa: S101 - there are no mixes without it
    gear = _gear(request, found.process)
    if isinstance(gear, Refusal):
        found.refusals.append(gear)
        return
    found.hand_work = hand_work(found.cooking.lines if found.cooking else (), _steps(recipe, request, found))
    found.cooks = max(1, min(gear.cooks, MOST_COOKS))
    day = plan_day(
        recipe,
        found.mixes,
        found.yields.balance,
        found.processes,
        gear,
        found.altitude or SEA_LEVEL,  # none is needed for the freezer, where nothing is heated
        pack=found.process.pack if found.process else Pack.NOT_STATED,
        sterilise_minutes=found.sterilise_minutes or 0,
        prepare=sum(work.high for work in found.hand_work),  # the longer end: no day is planned too short
    )
    why_not = day if isinstance(day, Refusal) else day.why_not
    if isinstance(day, Refusal) or (why_not is not None and request.names(LACKS.get(why_not.code, ""))):
        found.refusals += [why_not] if why_not else []
        return
    found.day = day
    found.cautions += day.cautions
    if why_not is not None:
        found.cautions.append(Untimed(why_not.key, why_not.rule, why_not.params))


def _gear(request: PlanRequest, process: ProcessFound | None) -> Gear | Refusal:
    """What was named, and the usual for the rest; each burner with its own power where that is known."""
    if request.stove not in EFFICIENCY:
        return Refusal("stove-unknown", "BURNER-EACH", {"stoves": tuple(EFFICIENCY)})
    count = len(USUAL_GEAR.burners) if request.burners is None else request.burners
    watts_of_each = (None,) * count if request.watts is None else request.watts
    try:
        burners = tuple(Burner.of_kind(request.stove, watts) for watts in watts_of_each)
    except ValueError:
        return Refusal("burner-power", "BURNER-EACH")
    return Gear(
        burners=burners,
        canners=USUAL_GEAR.canners if request.canners is None else request.canners,
        kind=process.canner if process else USUAL_GEAR.kind,
        capacity=request.capacity or USUAL_GEAR.capacity,
        cooks=USUAL_GEAR.cooks if request.cooks is None else request.cooks,
    )


# What to mind: what follows from this request, and the usual cares of each method.


def _cautions(recipe: TestedRecipe, request: PlanRequest, found: _Found) -> tuple[Caution, ...]:
    """All cautions, the ones that this request brings first."""
    return (
        *_of_process(found.process, found.sterilise_minutes),
        *_of_pots(recipe, request, found),
        *found.cautions,
        *_of_details(recipe, found),
        *_of_recipe(recipe),
        *_of_method(recipe, found),
        Caution("local-advice", "LOCAL-ADVICE"),
    )


def _of_process(process: ProcessFound | None, sterilise: int | None) -> Iterator[Caution]:
    if process is None:
        return
    yield from process.cautions
    yield from _of_gauge(process)
    if process.condition:
        yield Caution("row-condition", "ROW-FOODS", {"condition": process.condition})
    if process.dispute:
        yield Caution("source-dispute", "DISPUTE", {"dispute": process.dispute})
    if sterilise is not None:
        yield Caution("sterilise-jars", "STERIL-NEEDED", {"minutes": sterilise})
    if process.jar != process.tested_jar:
        yield Caution("larger-jar-tested", "JAR-SIZE", {"tested": process.tested_jar, "jar": process.jar})
    if process.others:
        others = tuple(
            Text("part.psi-minutes", {"psi": other.setting_psi, "minutes": other.minutes}) for other in process.others
        )
        yield Caution("other-pressures", "PRESSURE-CHOICE", {"others": others})
    if process.note:
        yield Caution("process-note", "TESTED-ONLY", {"note": process.note})


def _of_gauge(process: ProcessFound) -> Iterator[Caution]:
    """What the last test of a dial gauge asks for; nothing where it is not known."""
    reads_high = process.reads_high
    if reads_high is None:
        return
    error = gauge_error(reads_high)
    if process.setting_psi != process.pressure_psi:
        yield Caution(
            "gauge-setting",
            "PC-GAUGE-SETTING",
            {"setting": process.setting_psi, "table": process.pressure_psi, "error": error},
        )
    elif reads_high < 0:
        yield Caution("gauge-setting.low", "PC-GAUGE-SETTING", {"error": error})
    if abs(reads_high) >= DOUBTFUL_GAUGE_ERROR_PSI:
        yield Caution("gauge-doubtful", "PC-GAUGE-TOL", {"error": error})


def _of_pots(recipe: TestedRecipe, request: PlanRequest, found: _Found) -> Iterator[Caution]:
    if found.cooking is None:
        return
    pots = found.cooking.pots
    if pots.scale != 1 and found.load is None:
        yield Caution("part-pot", "POT-LIMITS", {"share": Amount(pots.scale, "each")})
    if pots.count > 1 and recipe.kind in SPREADS:
        yield Caution("one-pot-at-a-time", "JAM-NO-DOUBLE")
    if not recipe.stated_yield.seen.is_seen and found.load is None:
        yield Caution("yield-unknown", "YIELD-STATED")
    made = sum(count.count for count in counted(found.mixes))
    if request.jars is not None and made > request.jars and request.empties is None:
        yield Caution("more-jars-than-asked", "POT-LIMITS", {"jars": made})
    if request.fruit is not None:
        yield Caution("fruit-prepared", "FRUIT-PREPARED", {"fruit": found.cooking.fruit})
    if (spare := pots.spare_fruit) is not None:
        unit = {"kg": "g", "lb": "oz"}.get(spare.unit, spare.unit) if spare.value < 1 else spare.unit
        left = round_for_kitchen(convert(spare.value, spare.unit, unit), unit, Role.FRUIT).value
        if left:  # less than a scale shows is nothing to speak of
            yield Caution("fruit-left-over", "POT-LIMITS", {"fruit": Amount(left, unit)})


def _of_details(recipe: TestedRecipe, found: _Found) -> Iterator[Caution]:
    """What other publications print instead of a figure that is used here."""
    disputes = [line.dispute for line in (found.load.lines if found.load else ())]
    disputes += [fact.dispute for fact in recipe.per_jar]
    disputes += [line.dispute for choice in found.chosen for line in choice.lines]
    if recipe.packing_liquids and found.liquid:
        disputes.append(recipe.packing_liquids.dispute)
    for words in dict.fromkeys(filter(None, disputes)):
        yield Caution("source-dispute", "DISPUTE", {"dispute": words})


def _of_recipe(recipe: TestedRecipe) -> Iterator[Caution]:
    source = f"{recipe.source.title}, {recipe.source.place}"
    said = recipe.cautions
    if recipe.is_by_jar:
        yield Caution("table-alone", "TABLE-ALONE")
        said = (*said, *filter(None, [recipe.note]))
    yield from (Caution("recipe", "RECIPE", own_words=words, own_source=source) for words in said)
    acids = [f"{line.item} {line.prep}".lower() for line in recipe.ingredients if line.role is Role.ACID]
    if any("vinegar" in acid for acid in acids):
        yield Caution("vinegar", "VINEGAR-MIN")
    if any("bottled" in acid for acid in acids):
        yield Caution("bottled-juice", "BOTTLED-JUICE")


def _of_method(recipe: TestedRecipe, found: _Found) -> Iterator[Caution]:
    process = found.process
    if recipe.method is Method.FREEZER:
        yield Caution("freezer-only", "FREEZER-ONLY")
        return
    if recipe.kept_cold is not None:
        weeks = recipe.kept_cold.weeks
        yield Caution("refrigerator-only", "REFRIGERATOR-ONLY", {"weeks": Amount(weeks.low, "each")})
        if recipe.kept_cold.freezer_months is None:
            yield Caution("refrigerator-only.never-frozen", "REFRIGERATOR-ONLY")
        return
    method = process.method if process else recipe.method
    if process is not None and process.in_steam and found.altitude is not None:
        yield Caution("steam-canner", "STEAM-COUNT")
        yield Caution("steam-canner.count", "STEAM-COUNT", {"celsius": boiling_point_c(found.altitude)})
        yield Caution("stand", "BWC-STAND")
    elif method is Method.BOILING_WATER:
        yield Caution("water-over-jars", "BWC-WATER-OVER")
        yield Caution("full-boil", "BWC-RESTART")
        yield Caution("stand", "BWC-STAND")
    else:
        yield Caution("vent", "PC-VENT")
        yield Caution("pressure-drop", "PC-RESTART")
        if process is None or (process.gauge == "dial" and process.reads_high is None):
            yield Caution("gauge-test", "PC-GAUGE-YEARLY")
    yield Caution("cool", "COOL")


# The steps of this plan alone, and what nobody here has read in print.


def _steps(recipe: TestedRecipe, request: PlanRequest, found: _Found) -> tuple[RecipeStep, ...]:
    """The steps of the plan's own pack, method and jars; before these are known, of what was asked for."""
    process = found.process
    pack = process.pack if process else request.pack
    method = process.method if process else None
    sizes = [jar.size for jar in counted(found.mixes)] or ([found.jar] if not request.mixes_sizes else [])
    return tuple(step for step in recipe.steps if step.is_for(pack=pack, method=method, jars=sizes))


def _look_up(recipe: TestedRecipe, request: PlanRequest, found: _Found) -> Iterator[Text]:
    source = _named(recipe.source)
    if found.load is not None and not found.load.lines:
        yield Text("look-up.load", {"source": source})
    sizes = {jar.size for jar in counted(found.mixes)} or {found.jar}
    seen = {same_item(fact.item) for fact in recipe.per_jar if fact.seen.is_seen}
    for fact in recipe.per_jar:
        if not fact.seen.is_seen and fact.jar in sizes and same_item(fact.item) not in seen:
            where = _named(fact.source or recipe.source)
            yield Text("look-up.fact", {"item": fact.item, "jar": fact.jar, "source": where})
    if recipe.is_by_jar and not recipe.per_jar:
        yield Text("look-up.facts", {"source": source})
    for step in _steps(recipe, request, found):
        if step.figures and not step.is_read:
            yield Text("look-up.step", {"text": str(step), "source": _named(step.source or recipe.source)})
    if found.liquid and found.liquid not in list(Strength):
        yield Text("look-up.liquid", {"liquid": found.liquid})


def _named(source: TestedSource) -> str:
    return ", ".join(part for part in (source.title, source.edition, source.place) if part)


# The plan as plain values for JSON: what pages store with a batch and the command line prints.

Json = dict[str, object]


def plan_as_dict(plan: Plan) -> Json:
    """The plan, JSON-ready; every key is always there.

    Volumes are in ml as filled, temperatures in C, weights in g, minutes of the timeline from its start. `jars` and
    `leftover_ml` come from `yield.filled_ml`, which is what the tested source states wherever it was seen in print.
    """
    return {
        "recipe": plan.recipe.slug,
        "revision": plan.revision,
        "source": _source(plan.source),
        "food": plan.food,
        "altitude_m": None if plan.altitude is None else _number(plan.altitude.metres, 4),
        "boiling_point_c": _rounded(plan.boiling_point_c),
        "jelly_point_c": _rounded(plan.jelly_point_c),
        "pots": plan.pots,
        "lines": [_line(line) for line in plan.lines],
        "predicted_volume_ml": _number(plan.predicted_volume_ml, 1),
        "predicted_brix": _rounded(plan.predicted.brix.best, 1) if plan.predicted and plan.predicted.brix else None,
        "yield": _yield(plan),
        "jars": _jars(plan.jars),
        "leftover_ml": _number(plan.leftover_ml, 1),
        "process": None if plan.process is None else _process(plan.process),
        "loads": [_load(load) for load in plan.loads],
        "sterilise_jars": plan.sterilise_jars,
        "hand_work": [_hand_work(work, plan.cooks) for work in plan.hand_work],
        "timeline": [_step(plan, step) for step in plan.day.steps] if plan.day else [],
        "steps": [_recipe_step(step) for step in plan.steps],
        "look_up": list(map(str, plan.look_up)),
        "printed_load": None if plan.printed_load is None else _printed_load(plan.printed_load),
        "packing_liquid": _packing_liquid(plan),
        "low_temperature": _low_temperature_of(plan),
        "refrigerator": _kept_cold(plan),
        "choices": [
            {"name": choice.name, "instead_of": list(choice.instead_of), "chosen": choice in plan.chosen}
            for choice in choices_of(plan.recipe)
            if choice.is_seen
        ],
        "cautions": [_reason(caution) for caution in plan.cautions],
        "refusals": [_reason(refusal) for refusal in plan.refusals],
    }


def _recipe_step(step: RecipeStep) -> Json:
    """A step with its figures as printed, each as its low and high end; those that nobody read are left out."""
    known = step.is_read
    return {
        "action": step.action or None,
        "text": str(step),
        "minutes": _range(step.minutes) if known else None,
        "hours": _range(step.hours) if known else None,
        "temperature_f": _range(step.temperature_f) if known else None,
        "size_in": _range(step.size_in) if known else None,
        "size_of": step.size_of or None,
        "pack": step.pack and step.pack.value,
        "jars": list(step.jars),
        "seen": step.seen and step.seen.value,
        "source": step.source and _source(step.source),
        "dispute": step.dispute or None,
    }


def _range(figure: Range | None) -> list[int | float | None] | None:
    return None if figure is None else [_number(end, 4) for end in figure]


def _printed_load(load: JarLoad) -> Json:
    return {
        "jar": load.printed_jar,
        "count": load.printed_count,
        "jars_at_once": load.most,
        "lines": [
            {"item": line.item, "amount": _number(line.amount, 6), "unit": line.unit, "seen": line.seen.value}
            for line in load.lines
        ],
    }


def _packing_liquid(plan: Plan) -> Json | None:
    """What covers the food, of what the source allows; the cups of a syrup are among the lines."""
    liquids = plan.recipe.packing_liquids
    if liquids is None:
        return None
    syrup = SYRUPS.get(Strength(plan.liquid)) if plan.liquid in list(Strength) else None
    return {
        "name": plan.liquid or None,
        "percent": syrup.percent if syrup else None,
        "allowed": list(liquids.names),
        "usual": liquids.usual or None,
        "source": _source(syrup.source) if syrup else None,
    }


def _low_temperature_of(plan: Plan) -> Json | None:
    """What the source says of it, and whether these jars may be kept by it; None where it says nothing."""
    low, found = plan.recipe.low_temperature, plan.low_temperature
    if low is None:
        return None
    possible = isinstance(found, LowTemperature)
    return {
        "possible": possible,
        "why_not": _reason(found) if isinstance(found, Refusal) else None,
        "water_f": [_number(end, 2) for end in (low.low_f, low.high_f)] if possible else None,
        "minutes": low.minutes if possible else None,
        "packs": [pack.value for pack in low.packs],
        "jars": list(low.jars),
        "seen": low.seen.value,
        "source": _source(low.source or plan.source),
        "dispute": low.dispute or None,
    }


def _kept_cold(plan: Plan) -> Json | None:
    """How long it keeps in the refrigerator; None for anything else. `freezer_months` None: it is not to be frozen."""
    kept = plan.recipe.kept_cold
    if kept is None or not kept.seen.is_seen:
        return None
    return {
        "weeks": _range(kept.weeks),
        "freezer_months": _range(kept.freezer_months),
        "seen": kept.seen.value,
        "source": _source(kept.source or plan.source),
        "dispute": kept.dispute or None,
    }


def clock(minute: int) -> str:
    """ "16:30", whatever the day."""
    return f"{minute // 60 % 24:02d}:{minute % 60:02d}"


def _yield(plan: Plan) -> Json:
    """The prediction with its reach, what the jars are filled from, and each pot's own jars."""
    predicted = plan.predicted
    return {
        "basis": predicted.basis if predicted else None,
        "volume_low_ml": _number(predicted.low_ml, 1) if predicted else None,
        "volume_high_ml": _number(predicted.high_ml, 1) if predicted else None,
        "brix": _span(predicted.brix, 1) if predicted else None,
        "jar": plan.stated_yield.jar,
        "jars_a_pot": _span(predicted.jars_a_pot, 2) if predicted else None,
        "estimates": list(predicted.estimates) if predicted else [],
        "assumptions": list(map(str, predicted.assumptions)) if predicted else [],
        "why_not_by_weight": str(predicted.why_not) if predicted and predicted.why_not else None,
        "filled_ml": _number(plan.filled_ml, 1),
        "filled_basis": plan.filled_basis or None,
        "mixes": [_mix(mix) for mix in plan.mixes],
    }


def _mix(mix: JarMix) -> Json:
    part = mix.part_jar
    return {
        "jars": _jars(mix.jars),
        "leftover_ml": _number(mix.leftover_ml, 1),
        "part_jar": None if part is None else {"size": part.size, "ml": _number(part.ml, 1), "use": part.use},
    }


def _jars(jars: tuple[JarCount, ...]) -> list[Json]:
    return [{"size": jar.size, "count": jar.count} for jar in jars]


def _load(load: PotLoad) -> Json:
    return {
        "number": load.number,
        "pot": load.pot,
        "canner": load.canner,
        "jars": _jars(load.jars),
        "method": load.process.method.value,
        "minutes": load.process.minutes,
        "pressure_psi": load.process.pressure_psi,
        "setting_psi": load.process.setting_psi,
        "filled": _number(load.filled, 2),
    }


def _hand_work(work: HandWork, cooks: int) -> Json:
    """`minutes` on the clock, for the cooks there are side by side: the shorter and the longer end."""
    return {
        "item": work.item,
        "tasks": list(work.tasks),
        "kg": round(work.kg, 2),
        "cooks": cooks,
        "minutes": list(work.minutes(cooks)),
        "sources": list(work.sources),
    }


def _step(plan: Plan, step: Step) -> Json:
    """One step; `starts` and `ends` are times of the day where a finish was asked for."""
    begins = plan.begins
    return {
        "what": step.kind.value,
        "start_min": step.start,
        "end_min": step.end,
        "pot": step.pot,
        "load": step.load,
        "burner": step.burner,
        "canner": step.canner,
        "cook": step.cook,
        **({} if begins is None else {"starts": clock(begins + step.start), "ends": clock(begins + step.end)}),
    }


def _line(line: Line) -> Json:
    return {
        "item": line.ingredient.item,
        "prep": line.ingredient.prep,
        "role": line.ingredient.role.value,
        "optional": line.ingredient.optional,
        "amount": _number(line.amount, 6),
        "amount_high": _number(line.amount_high, 6),
        "amount_per_pot": _number(line.amount_per_pot, 6),
        "unit": line.ingredient.unit,
        "text": line.text,
        "text_per_pot": line.text_per_pot,
        "grams": _number(line.grams, 1),
        "rounding_error_pct": _number(line.rounding_error_pct, 2),
        "use": line.ingredient.use.value,
        "per_jar": [
            {
                "jar": each.jar,
                "amount": _number(each.amount, 6),
                "amount_high": _number(each.amount_high, 6),
                "unit": each.unit,
                "text": each.text,
            }
            for each in line.each
        ],
    }


def _process(found: ProcessFound) -> Json:
    return {
        "method": found.method.value,
        "minutes": found.minutes,
        "pressure_psi": found.pressure_psi,
        "gauge": found.gauge,
        "gauge_reads_high_psi": _number(found.reads_high, 2),
        "setting_psi": found.setting_psi,
        "band": found.band,
        "pack": found.pack.value,
        "jar": found.jar,
        "tested_jar": found.tested_jar,
        "headspace_in": _number(found.headspace_in, 4),
        "vent_minutes": found.vent_minutes,
        "canner": found.canner.value,
        "condition": found.condition or None,
        "dispute": found.dispute or None,
        "source": _source(found.source),
    }


def _source(source: TestedSource) -> Json:
    return {"title": source.title, "edition": source.edition, "place": source.place}


def _reason(reason: Caution | Refusal) -> Json:
    return {"code": reason.code, "message": reason.message, "rule": reason.rule, "source": reason.source}


def _span(span: Span | None, places: int) -> Json | None:
    """A figure with its reach; a span's ends are where 19 kitchens of 20 should land."""
    if span is None:
        return None
    return {"low": round(span.low, places), "best": round(span.best, places), "high": round(span.high, places)}


def _number(value: Fraction | None, places: int) -> int | float | None:
    """A whole number where it is one, else a decimal."""
    if value is None:
        return None
    return int(value) if value.denominator == 1 else round(float(value), places)


def _rounded(value: float | None, places: int = 2) -> float | None:
    return None if value is None else round(value, places)
