"""The day: pots, canner loads and hands on one timeline, so that nothing does two things at once and no jam waits.

Minutes are offsets: no clock, no time zone. Process minutes come from the tested table by way of the load; nothing here
shortens or lengthens them. Of all ways to give the burners their duties (some of them none), the one that ends soonest
is taken, and among those the one that needs least; so one more burner, canner or cook never makes a day longer.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from functools import cached_property, lru_cache
from itertools import combinations, pairwise
from math import ceil
from typing import NamedTuple

from recipes.engine.jars import MOST_LOADS, SEVEN_QUART, Capacity, JarMix, Load, canner_loads, loads_at_least
from recipes.engine.mass_balance import PotBalance
from recipes.engine.physics import Burner, Figure, boiling_point_c, minutes_to_boil_off, minutes_to_heat
from recipes.engine.process import Process, altitude_refusal
from recipes.engine.quantities import JAR_ML
from recipes.engine.rules import EQUIPMENT, NO_SOURCE, RULES
from recipes.engine.terms import Altitude, Canner, Caution, JarCount, Method, Pack, Refusal, TestedRecipe


class StepKind(StrEnum):
    """One kind of work. The value is what the step is called."""

    PREPARE = "prepare food"
    WASH = "wash jars"
    HEAT = "heat water"
    STERILISE = "sterilise jars"
    COOK = "cook"
    STIR = "stir and skim"
    FILL = "fill jars"
    KEEP_HOT = "canner ready"
    POT_WAITS = "keep pot hot"
    COME_BACK = "come to the boil"
    STEAM = "heat to steam"
    VENT = "vent"
    COME_UP = "come to pressure"
    PROCESS = "process"
    REST = "rest, heat off"
    DEPRESSURISE = "lose pressure, heat off"
    OUT = "lift jars out"


@dataclass(frozen=True)
class PotWork:
    """One pot, cooked by itself and filled into its own jars.

    `kg` is what is heated (0: nothing is cooked), `boil_minutes` the hard boil or simmer after it boils,
    `boil_off_kg` the water to boil away, `above_boiling_c` how far above boiling water it ends. A spread must
    be filled at once; `may_wait` is for food that can be kept hot while a canner is busy. `prepare` is the minutes that
    one cook alone takes to wash, peel and cut its food; several share them.
    """

    name: str
    jars: tuple[JarCount, ...]
    kg: float
    boil_minutes: int = 0
    boil_off_kg: float = 0.0
    above_boiling_c: float = 0.0
    pack: Pack = Pack.HOT
    stir: bool = False
    may_wait: bool = False
    prepare: int = 0


@dataclass(frozen=True)
class Gear:
    """What there is to work with. All canners are of one kind and size."""

    burners: tuple[Burner, ...]
    canners: int = 1
    kind: Canner = Canner.BOILING_WATER
    capacity: Capacity = SEVEN_QUART
    cooks: int = 1


class Step(NamedTuple):
    """One piece of work from minute `start` to minute `end`. Numbers count from 1; None: none is needed."""

    kind: StepKind
    start: int
    end: int
    pot: int
    load: int | None = None
    burner: int | None = None
    canner: int | None = None
    cook: int | None = None

    @property
    def minutes(self) -> int:
        return self.end - self.start


class PotLoad(NamedTuple):
    """A canner load of one pot. `canner` counts from 1, and is None where there is no timeline to say which."""

    number: int
    pot: int
    canner: int | None
    load: Load

    @property
    def jars(self) -> tuple[JarCount, ...]:
        return self.load.jars

    @property
    def process(self) -> Process:
        return self.load.process

    @property
    def filled(self) -> Fraction:
        """The part of the canner that its jars take."""
        return self.load.filled


class Timeline(NamedTuple):
    """The day: steps in order of their start, the canner loads, and the first and the last minute."""

    steps: tuple[Step, ...]
    loads: tuple[PotLoad, ...]
    start: int
    finish: int

    @property
    def minutes(self) -> int:
        return self.finish - self.start

    @property
    def first_lit(self) -> int | None:
        """The minute at which the first burner is lit; None where nothing is heated."""
        return min((step.start for step in self.steps if step.burner is not None), default=None)


TAP_C = Figure(15, NO_SOURCE)
FOOD_C = Figure(20, NO_SOURCE)
RAW_WATER_C = Figure(60, "Univ. Minnesota Extension; Andress, fightbac.org (140 F for raw packs)")
HOT_FILL_C = Figure(85, NO_SOURCE)
COOLED_BY_C = Figure(10, NO_SOURCE)  # a canner's water between two loads
STEAM_WATER_L = Figure(1.9, "Univ. of Wisconsin Extension, Winnebago County, 2020 (about 2 quarts)")
PRESSURE_WATER_L = Figure(3, NO_SOURCE)  # 2 to 3 inches in the bottom
LEAST_PREPARING = Figure(5, NO_SOURCE)  # minutes that are worth taking up a knife for, between two other tasks
LONG_COLD = Figure(120, NO_SOURCE)  # minutes of a cold stove that want a word
WASH_PER_JAR = Figure(0.5, NO_SOURCE)
STIR = Figure(5, NO_SOURCE)
FILL_PER_JAR = Figure(1, NO_SOURCE)
LIFT_PER_JAR = Figure(0.25, NO_SOURCE)
COME_BACK_LEAST = Figure(5, NO_SOURCE)
STEAM_LEAST = Figure(15, EQUIPMENT + " (12 to 15 minutes)")
VENT = Figure(10, RULES["PC-VENT"].source)
COME_UP = Figure(5, EQUIPMENT)
REST = Figure(5, RULES["BWC-STAND"].source)
LOSE_PRESSURE_PINTS = Figure(30, EQUIPMENT + " (older canners, pints or smaller)")
LOSE_PRESSURE_QUARTS = Figure(45, EQUIPMENT + " (older canners, quarts)")
WEIGHT_OFF = Figure(10, "NCHFP canning questions, as quoted; a canner maker's manual")

# Water in a canner with its empty jars, by the room that the jars take; the guide prints only the depth over them.
WATER_L_PER_QUART = Figure(2.25, NO_SOURCE)


@dataclass(frozen=True)
class Paces:
    """Whole minutes for one kitchen: its altitude, its canner and whether empty jars are sterilised."""

    gear: Gear
    altitude: Altitude
    sterilise_minutes: int

    @cached_property
    def boiling_c(self) -> float:
        return boiling_point_c(self.altitude)

    @cached_property
    def water_kg(self) -> float:
        if self.gear.kind is Canner.STEAM:
            return STEAM_WATER_L.value
        if self.gear.kind is not Canner.BOILING_WATER:
            return PRESSURE_WATER_L.value
        quarts = max(self.gear.capacity.holds("quart"), 1)
        return quarts * WATER_L_PER_QUART.value

    def wash(self, pot: PotWork) -> int:
        return _for_jars(pot.jars, WASH_PER_JAR)

    def cook(self, pot: PotWork, burner: Burner) -> int:
        """Heating to the end point, boiling away what must go, and the boil that the recipe prints."""
        if pot.kg <= 0:
            return 0
        heating = minutes_to_heat(pot.kg, FOOD_C.value, self.boiling_c + pot.above_boiling_c, burner)
        return heating + minutes_to_boil_off(pot.boil_off_kg, burner) + pot.boil_minutes

    def stir(self, pot: PotWork) -> int:
        return int(STIR.value) if pot.stir else 0

    def fill(self, load: Load) -> int:
        return _for_jars(load.jars, FILL_PER_JAR)

    def fills(self, pot: PotWork, loads: Sequence[Load]) -> tuple[int, ...]:
        """Filling load by load, or all at once where nothing is processed."""
        return tuple(self.fill(load) for load in loads) or (_for_jars(pot.jars, FILL_PER_JAR),)

    def lift(self, load: Load) -> int:
        return _for_jars(load.jars, LIFT_PER_JAR)

    def heat_water(self, pot: PotWork, burner: Burner, first: bool) -> int:
        """From the tap for a canner's first load; from where the load before left it for the others."""
        target = RAW_WATER_C.value if pot.pack is Pack.RAW and not self.sterilise_minutes else self.boiling_c
        start = TAP_C.value if first else self.boiling_c - COOLED_BY_C.value
        return minutes_to_heat(self.water_kg, start, target, burner)

    def in_canner(self, pot: PotWork, load: Load, burner: Burner) -> tuple[tuple[StepKind, int], ...]:
        """What a closed canner does, one after the other, from loading to lifting out."""
        if load.process.method is Method.PRESSURE:
            tall = any(JAR_ML[jar.size] > JAR_ML["pint"] for jar in load.jars)
            lose_pressure = LOSE_PRESSURE_QUARTS if tall else LOSE_PRESSURE_PINTS
            return (
                (StepKind.STEAM, max(int(STEAM_LEAST.value), self._to_boiling(pot, load, burner))),
                (StepKind.VENT, int(VENT.value)),
                (StepKind.COME_UP, int(COME_UP.value)),
                (StepKind.PROCESS, load.process.minutes),
                (StepKind.DEPRESSURISE, int(lose_pressure.value + WEIGHT_OFF.value)),
            )
        heating = StepKind.STEAM if self.gear.kind is Canner.STEAM else StepKind.COME_BACK
        return (
            (heating, max(int(COME_BACK_LEAST.value), self._to_boiling(pot, load, burner))),
            (StepKind.PROCESS, load.process.minutes),
            (StepKind.REST, int(REST.value)),
        )

    def _to_boiling(self, pot: PotWork, load: Load, burner: Burner) -> int:
        litres = _litres(load.jars)
        if pot.pack is not Pack.RAW:
            return minutes_to_heat(litres, HOT_FILL_C.value, self.boiling_c, burner)
        under_water = load.process.method is Method.BOILING_WATER and self.gear.kind is not Canner.STEAM
        around = max(self.water_kg - litres, 0.0) if under_water else self.water_kg
        water = minutes_to_heat(around, RAW_WATER_C.value, self.boiling_c, burner)
        return water + minutes_to_heat(litres, FOOD_C.value, self.boiling_c, burner)


@lru_cache(maxsize=512)
def _litres(jars: tuple[JarCount, ...]) -> float:
    return float(sum(JAR_ML[jar.size] * jar.count for jar in jars)) / 1000


def _for_jars(jars: Sequence[JarCount], each: Figure) -> int:
    return ceil(sum(jar.count for jar in jars) * each.value)


# The work of each pot: what is heated, how long it boils, whether it may wait.

# A spread sets, and its fruit floats, if it stands: it goes into the jars at once.
SPREADS = frozenset({"jam", "jelly", "marmalade", "preserve", "preserves", "butter", "conserve"})
WITH_PIECES = frozenset({"jam", "marmalade", "preserve", "conserve"})

SIMMER = Figure(5, NO_SOURCE)  # minutes, where the recipe prints no boil of its own
LIQUID_SHARE = Figure(0.4, NO_SOURCE)  # of a raw-packed jar: the syrup or brine, which alone is heated

# What a household has: a stove with four electric burners, one canner for seven quarts, one cook.
USUAL_GEAR = Gear(burners=(Burner.of_kind("electric"),) * 4)


def pot_works(
    recipe: TestedRecipe, mixes: Sequence[JarMix], balance: PotBalance | Refusal, *, pack: Pack, prepare: float = 0
) -> tuple[PotWork, ...]:
    """One `PotWork` for each pot, from its jar mix. `balance` is that of one pot at the plan's scale.

    Where the mass balance is refused, what fills the jars is heated, taken as water. `prepare` is the minutes of one
    cook for the food of all pots; each pot has its share by what it fills.
    """
    litres = sum(_litres(mix.jars) for mix in mixes)
    above_f = recipe.endpoint_f_above_boiling
    boil = recipe.hard_boil.minutes if recipe.hard_boil else SIMMER.value if above_f is None else 0
    works = []
    for number, mix in enumerate(mixes, 1):
        kg, boil_off_kg = _to_heat(recipe, mix, balance, pack)
        works.append(
            PotWork(
                name=f"pot {number}",
                jars=mix.jars,
                kg=kg,
                boil_minutes=ceil(boil) if kg else 0,
                boil_off_kg=boil_off_kg,
                above_boiling_c=float(above_f or 0) * 5 / 9,
                pack=pack,
                stir=recipe.kind in WITH_PIECES,
                may_wait=recipe.kind not in SPREADS,
                prepare=ceil(prepare * _litres(mix.jars) / litres) if litres else 0,
            )
        )
    return tuple(works)


def day_cautions(recipe: TestedRecipe) -> tuple[Caution, ...]:
    """What the timeline does not know about this recipe."""
    if recipe.method is Method.FREEZER or recipe.hard_boil or recipe.endpoint_f_above_boiling is not None:
        return ()
    return (Caution("cooking-not-timed", "COOK-PRINTED", {"minutes": SIMMER.value}),)


def _late_fire(day: Timeline) -> Iterator[Caution]:
    """Why the first burner stays cold so long: hands are not ready before."""
    lit = day.first_lit
    if lit is not None and lit - day.start >= LONG_COLD.value:
        yield Caution("burner-late", "HANDS-FIRST")


def _to_heat(recipe: TestedRecipe, mix: JarMix, balance: PotBalance | Refusal, pack: Pack) -> tuple[float, float]:
    """Kilograms to bring to the boil, and of water to boil away before the end point."""
    if recipe.method is Method.FREEZER:
        return 0.0, 0.0
    if isinstance(balance, PotBalance):
        boil_off = balance.boiled_off_g.best if recipe.endpoint_f_above_boiling is not None else 0.0
        return balance.mass_in_g.best / 1000, boil_off / 1000
    litres = _litres(mix.jars)
    return (litres * LIQUID_SHARE.value if pack is Pack.RAW else litres), 0.0


MOST_BURNERS = 6  # of one kitchen, so that every duty can be tried
MOST_COOKS = 4  # who can find work in one kitchen; more are not given any

MOST_TRIES = 600  # pots that are put into a day to find the shortest, over all ways to use the burners

Numbered = tuple[int, Burner]


class Duty(NamedTuple):
    """Which burners (numbers from 1) stand under canners and which under pots, and how many cooks work."""

    canners: tuple[tuple[int, Burner], ...]
    pots: tuple[tuple[int, Burner], ...]
    cooks: int


class Day(NamedTuple):
    """The canner loads of a plan and its timeline; where there is none, `why_not` says why."""

    loads: tuple[PotLoad, ...]
    timeline: Timeline | None
    why_not: Refusal | None = None
    cautions: tuple[Caution, ...] = ()


def plan_day(
    recipe: TestedRecipe,
    mixes: Sequence[JarMix],
    balance: PotBalance | Refusal,
    processes: Mapping[str, Process],
    gear: Gear,
    altitude: Altitude,
    *,
    pack: Pack,
    sterilise_minutes: int,
    prepare: float = 0,
) -> Day | Refusal:
    """The day of these jars, one mix a pot. `processes` is empty for the freezer; `prepare` is the hand work on the
    food of all pots, in minutes of one cook.

    More than a day's work is refused before anything is loaded or timed. Loads that cannot be timed stand without a
    timeline; there are none where a jar does not go into the canner.
    """
    needed = sum(loads_at_least(mix.counts, processes, gear.capacity) for mix in mixes)
    if needed > MOST_LOADS:
        return Refusal("several-days", "ONE-DAY", {"loads": needed, "most": MOST_LOADS})
    pots = pot_works(recipe, mixes, balance, pack=pack, prepare=prepare)
    day = day_timeline(pots, processes, gear, altitude, sterilise_minutes=sterilise_minutes)
    if isinstance(day, Timeline):
        return Day(day.loads, day, cautions=(*day_cautions(recipe), *_late_fire(day)))
    by_pot = _loads_by_pot(pots, processes, gear) if processes else []
    if isinstance(by_pot, Refusal):
        return Day((), None, day)
    numbered = enumerate(((pot, load) for pot, loads in enumerate(by_pot, 1) for load in loads), 1)
    return Day(tuple(PotLoad(number, pot, None, load) for number, (pot, load) in numbered), None, day)


def day_timeline(
    pots: Sequence[PotWork],
    processes: Mapping[str, Process],
    gear: Gear,
    altitude: Altitude | None,
    *,
    sterilise_minutes: int = 0,
    finish: int | None = None,
    earliest: int | None = None,
) -> Timeline | Refusal:
    """The day from minute 0 on, or, with a `finish`, back from that minute and not before `earliest`.

    `processes` names the tested process of each jar size; it is empty where nothing is processed (freezer).
    `sterilise_minutes` is 0 where empty jars need only be clean and hot.
    """
    if (problem := altitude_refusal(altitude)) is not None:
        return problem
    assert altitude is not None  # noqa: S101 - refused above
    loads = _loads_by_pot(pots, processes, gear)
    if isinstance(loads, Refusal):
        return loads
    if (problem := _gear_refusal(pots, loads, gear)) is not None:
        return problem
    day = _soonest(pots, loads, Paces(gear, altitude, sterilise_minutes if processes else 0))
    return day if finish is None else _ending_at(day, finish, earliest)


def _loads_by_pot(
    pots: Sequence[PotWork], processes: Mapping[str, Process], gear: Gear
) -> list[tuple[Load, ...]] | Refusal:
    found: list[tuple[Load, ...]] = []
    for pot in pots:
        counts = {jar.size: jar.count for jar in pot.jars} if processes else {}
        loads = canner_loads(counts, processes, gear.capacity)
        if isinstance(loads, Refusal):
            return loads
        found.append(loads)
    return found


def _gear_refusal(pots: Sequence[PotWork], loads: Sequence[Sequence[Load]], gear: Gear) -> Refusal | None:
    if not pots:
        return Refusal("no-pots", "POT-ALONE")
    if gear.cooks < 1:
        return Refusal("no-cook", "NO-WAIT")
    if len(gear.burners) > MOST_BURNERS:
        return Refusal("too-many-burners", "BURNER-EACH", {"most": MOST_BURNERS})
    every = [load for of_pot in loads for load in of_pot]
    if (canner := _canner_refusal(every, gear)) is not None:
        return canner
    if len(gear.burners) < bool(every) + any(pot.kg > 0 for pot in pots):
        return Refusal("one-burner" if gear.burners else "no-burner", "BURNER-EACH")
    return _wait_refusal(pots, loads, gear)


def _canner_refusal(loads: Sequence[Load], gear: Gear) -> Refusal | None:
    if not loads:
        return None
    if gear.canners < 1:
        return Refusal("no-canner", "LOAD-CAPACITY")
    is_open = gear.kind in (Canner.BOILING_WATER, Canner.STEAM)
    needed = Method.BOILING_WATER if is_open else Method.PRESSURE
    if any(load.process.method is not needed for load in loads):
        return Refusal("canner-kind", "LOAD-PROCESS", {"canner": gear.kind.value})
    return None


def _wait_refusal(pots: Sequence[PotWork], loads: Sequence[Sequence[Load]], gear: Gear) -> Refusal | None:
    """A spread goes into canners at once: as many as its jars need."""
    canners = _canners_at_most(pots, gear)
    for pot, of_pot in zip(pots, loads, strict=True):
        if not pot.may_wait and len(of_pot) > canners:
            return Refusal("pot-over-canner", "NO-WAIT", {"pot": pot.name, "loads": len(of_pot), "canners": canners})
    return None


def _canners_at_most(pots: Sequence[PotWork], gear: Gear) -> int:
    cooking = any(pot.kg > 0 for pot in pots)
    return min(gear.canners, len(gear.burners) - (1 if cooking else 0))


def _soonest(pots: Sequence[PotWork], loads: Sequence[tuple[Load, ...]], paces: Paces) -> Timeline:
    """The day that ends soonest; of equal ones that of the first duty, which needs least.

    What promises most is tried first, and nothing that cannot be better any more. After MOST_TRIES pots in all the
    best found so far is taken: each is a sound day, only perhaps not the shortest.
    """
    least = Least(paces, pots, loads)
    duties = sorted((least.finish(duty), order, duty) for order, duty in enumerate(_duties(pots, loads, paces.gear)))
    best: tuple[int, int, Schedule] | None = None
    tries = 0
    for promised, order, duty in duties:
        if best is not None and (tries >= MOST_TRIES or promised > best[0]):
            break
        schedule = Schedule(paces, duty)
        for number, (pot, of_pot) in enumerate(zip(pots, loads, strict=True), 1):
            schedule.add(number, pot, of_pot)
            tries += 1
            if best is not None and (schedule.finish, order) >= best[:2]:
                break  # further pots only make it longer
        else:
            best = schedule.finish, order, schedule
    assert best is not None  # noqa: S101 - the refusals have seen to it that there is a duty
    found = best[2]
    steps = sorted(found.steps, key=lambda step: (step.start, step.end, step.pot, step.load or 0))
    return Timeline(tuple(steps), tuple(found.loads), 0, found.finish)


def _duties(pots: Sequence[PotWork], loads: Sequence[Sequence[Load]], gear: Gear) -> Iterator[Duty]:
    """Every way to use burners and cooks that could matter, from the fewest on; burners that are alike count once.

    A cook stays with a pot, so there are no more pots on the heat than cooks, but for those kept hot for a canner.
    """
    cooked = sum(1 for pot in pots if pot.kg > 0)
    waiting = any(pot.may_wait for pot in pots)
    at_once = max((len(of_pot) for pot, of_pot in zip(pots, loads, strict=True) if not pot.may_wait), default=0)
    total = sum(map(len, loads))
    burners: list[Numbered] = sorted(enumerate(gear.burners, 1), key=lambda each: (-each[1].usable_watts, each[0]))
    most_canners = min(_canners_at_most(pots, gear), total)
    for cooks in range(1, min(gear.cooks, MOST_COOKS) + 1):
        for canners in range(max(at_once, min(1, total)), most_canners + 1):
            most_pots = min(cooked, cooks + (canners if waiting else 0))
            for under_canners in _unlike(burners, canners):
                rest = [burner for burner in burners if burner not in under_canners]
                for count in range(min(1, cooked), min(len(rest), most_pots) + 1):
                    yield from (Duty(under_canners, under_pots, cooks) for under_pots in _unlike(rest, count))


def _unlike(burners: Sequence[Numbered], count: int) -> Iterator[tuple[Numbered, ...]]:
    seen = set()
    for chosen in combinations(burners, count):
        alike = tuple(burner for _, burner in chosen)
        if alike not in seen:
            seen.add(alike)
            yield chosen


def _ending_at(day: Timeline, finish: int, earliest: int | None) -> Timeline | Refusal:
    start = finish - day.minutes
    if earliest is not None and start < earliest:
        return Refusal("not-enough-time", "FINISH", {"minutes": day.minutes, "over": earliest - start})
    moved = tuple(step._replace(start=step.start + start, end=step.end + start) for step in day.steps)
    return Timeline(moved, day.loads, start, finish)


# The shortest that a day can be.


class Least:
    """How soon a day can end at best with a duty, reckoned without planning it: never later than its true end.

    A day waits for three things, each reckoned on its own: canners, rings and hands.
    """

    def __init__(self, paces: Paces, pots: Sequence[PotWork], loads: Sequence[Sequence[Load]]) -> None:
        self._loads = sum(map(len, loads))
        self._cooked = sum(1 for pot in pots if pot.kg > 0)
        # On each burner: what all loads take of a canner, and what the shortest takes.
        self._in_canner: dict[Burner, tuple[int, int]] = {}
        # On each burner: what all pots take to cook, and what the shortest takes.
        self._on_ring: dict[Burner, tuple[int, int]] = {}
        for burner in set(paces.gear.burners):
            taken = [
                paces.heat_water(pot, burner, first=False)
                + paces.sterilise_minutes
                + paces.fill(load)
                + sum(minutes for _, minutes in paces.in_canner(pot, load, burner))
                for pot, of_pot in zip(pots, loads, strict=True)
                for load in of_pot
            ]
            cooking = [paces.cook(pot, burner) for pot in pots if pot.kg > 0]
            self._in_canner[burner] = sum(taken), min(taken, default=0)
            self._on_ring[burner] = sum(cooking), min(cooking, default=0)
        self._by_hand = sum(
            pot.prepare
            + paces.wash(pot)
            + paces.stir(pot)
            + sum(paces.fills(pot, of_pot))
            + sum(map(paces.lift, of_pot))
            for pot, of_pot in zip(pots, loads, strict=True)
        )

    def finish(self, duty: Duty) -> int:
        canners = [self._in_canner[burner] for _, burner in duty.canners]
        rings = [self._on_ring[burner] for _, burner in duty.pots]
        cooking = min(
            (total for total, _ in rings), default=0
        )  # all of it on the strongest ring, with a cook beside it
        return max(
            _shared(canners, self._loads), _shared(rings, self._cooked), -(-(self._by_hand + cooking) // duty.cooks)
        )


def _shared(places: Iterable[tuple[int, int]], count: int) -> int:
    """So many things over places of which each takes (all of them, the shortest): the time that it takes at least."""
    known = list(places)
    if not known or not count:
        return 0
    together = ceil(min(total for total, _ in known) / len(known))
    at_full_pace = count / sum(1 / shortest for _, shortest in known)
    return max(together, ceil(at_full_pace - 1e-9))


# The day as it grows: each burner has one duty, under a canner or under a pot. Pots are taken in the order given, each
# as early as it can be without waiting once it is cooked.


@dataclass(eq=False, repr=False)
class _Canner:
    number: int
    burner_number: int
    burner: Burner
    free: int = 0
    used: bool = False


@dataclass(eq=False, repr=False)
class _Ring:
    """A burner for pots, and from when it is free."""

    number: int
    burner: Burner
    free: int = 0


@dataclass(eq=False, repr=False)
class _Hands:
    """One cook, and the spans in which these hands are busy, in order."""

    number: int
    busy: list[tuple[int, int]] = field(default_factory=list)

    def earliest(self, after: int, minutes: int) -> int:
        """The first minute from `after` on with so many minutes free."""
        start = after
        # The spans never overlap: of those that begin by `after` only the last can reach beyond it.
        for index in range(max(bisect_left(self.busy, (after + 1,)) - 1, 0), len(self.busy)):
            begin, end = self.busy[index]
            if begin >= start + minutes:
                break
            start = max(start, end)
        return start

    def take(self, start: int, minutes: int) -> None:
        if minutes:
            insort(self.busy, (start, start + minutes))

    def free_spans(self, least: int) -> Iterator[tuple[int, int]]:
        """The spans of at least so many minutes in which these hands are free; the last never ends."""
        now = 0
        for begin, end in self.busy:
            if begin - now >= least:
                yield now, begin
            now = max(now, end)
        yield now, NEVER


NEVER = 10**9  # minutes: after every day


def _filled_up(free: Sequence[tuple[int, int, int]], minutes: int) -> int:
    """The first minute by which these spans, in order of their begin, hold so many minutes together."""
    turns = sorted({moment for begin, end, _ in free for moment in (begin, end)})
    left = minutes
    for now, after in pairwise(turns):
        at_work = sum(1 for begin, end, _ in free if begin <= now < end)
        if at_work * (after - now) >= left:
            return now + ceil(left / at_work)
        left -= at_work * (after - now)
    raise AssertionError("the last span never ends")


class _Chain(NamedTuple):
    """One cook from lighting the ring to the last jar filled, without a break."""

    start: int
    cook: int
    stir: int
    fills: tuple[int, ...]
    canners: tuple[_Canner, ...]
    ring: _Ring | None
    hands: _Hands

    @property
    def minutes(self) -> int:
        return self.cook + self.stir + sum(self.fills)


class Schedule:
    """The day as it grows, pot by pot."""

    def __init__(self, paces: Paces, duty: Duty) -> None:
        self.paces = paces
        self.canners = [_Canner(index, number, burner) for index, (number, burner) in enumerate(duty.canners, 1)]
        self.rings = [_Ring(number, burner) for number, burner in duty.pots]
        self.cooks = [_Hands(number) for number in range(1, duty.cooks + 1)]
        self.steps: list[Step] = []
        self.loads: list[PotLoad] = []
        self.pot, self.work = 0, PotWork("", (), 0)
        self.finish = 0

    def add(self, number: int, work: PotWork, loads: Sequence[Load]) -> None:
        """The next pot. A pot that may not wait has no more loads than there are canners."""
        self.pot, self.work = number, work
        washed = self._by_hand(StepKind.WASH, 0, self.paces.wash(work))
        prepared = self._prepare(work.prepare)
        at_once = loads[: 1 if work.may_wait else len(loads)]
        chain = self._earliest_chain(washed, prepared, at_once)
        filled = self._carry_out(chain, at_once)
        for load in loads[len(at_once) :]:
            filled = self._fill_later(load, filled)
        if chain.ring is not None:
            cooked = chain.start + chain.cook
            if work.may_wait:
                self._step(StepKind.POT_WAITS, cooked, filled, burner=chain.ring.number)
            chain.ring.free = filled if work.may_wait else cooked

    def _prepare(self, minutes: int) -> int:
        """Hand work on the pot's food, by every cook who is free, in spans between other tasks too. Returns when it is
        done; all stop together, so that none of it waits for one of them."""
        if not minutes:
            return 0
        free = sorted(
            (begin, end, hands.number)
            for hands in self.cooks
            for begin, end in hands.free_spans(int(LEAST_PREPARING.value))
        )
        done = _filled_up(free, minutes)
        for begin, end, number in free:
            if begin < done:
                until = min(end, done)
                self.cooks[number - 1].take(begin, until - begin)
                self._step(StepKind.PREPARE, begin, until, cook=number)
        return done

    def _earliest_chain(self, washed: int, prepared: int, loads: Sequence[Load]) -> _Chain:
        """Where to cook, stir and fill without a break, into canners that are ready, done soonest."""
        canners = sorted(self.canners, key=self._order)[: len(loads)]
        stir, fills = self.paces.stir(self.work), self.paces.fills(self.work, loads)
        chains = []
        for ring in self.rings if self.work.kg > 0 else [None]:
            cook = self.paces.cook(self.work, ring.burner) if ring else 0
            earliest = max(ring.free if ring else 0, prepared, washed + self.paces.sterilise_minutes - cook - stir)
            for index, canner in enumerate(canners):
                earliest = max(earliest, self._ready(canner) - cook - stir - sum(fills[:index]))
            for hands in self.cooks:
                start = hands.earliest(earliest, cook + stir + sum(fills))
                chains.append(_Chain(start, cook, stir, fills, tuple(canners), ring, hands))
        return min(chains, key=lambda chain: chain.start + chain.cook)

    def _carry_out(self, chain: _Chain, loads: Sequence[Load]) -> int:
        """Write the chain down, and what its canners do after it. Returns when the last jar is filled."""
        hands, cooked = chain.hands, chain.start + chain.cook
        hands.take(chain.start, chain.minutes)
        burner = chain.ring.number if chain.ring else None
        self._step(StepKind.COOK, chain.start, cooked, burner=burner, cook=hands.number)
        now = cooked + chain.stir
        self._step(StepKind.STIR, cooked, now, cook=hands.number)
        if not loads:
            self._step(StepKind.FILL, now, now + chain.fills[0], cook=hands.number)
        begun = []
        for load, canner, minutes in zip(loads, chain.canners, chain.fills, strict=bool(loads)):
            begun.append((self._fill(load, canner, now, minutes, hands), load, canner, now + minutes))
            now += minutes
        for number, load, canner, filled in begun:  # after all filling, which has the cook without a break
            self._process(load, number, canner, filled)
        return chain.start + chain.minutes

    def _fill_later(self, load: Load, filled: int) -> int:
        """A further load of a pot that is kept hot, as soon as a canner is ready. Returns when it is filled."""
        canner = min(self.canners, key=self._order)
        minutes = self.paces.fill(load)
        hands, start = self._first_free(max(filled, self._ready(canner)), minutes)
        number = self._fill(load, canner, start, minutes, hands)
        self._process(load, number, canner, start + minutes)
        return start + minutes

    def _fill(self, load: Load, canner: _Canner, start: int, minutes: int, hands: _Hands) -> int:
        """Fill jars beside a canner that is ready just when the first jar is. Returns the load's number."""
        number = len(self.loads) + 1
        self.loads.append(PotLoad(number, self.pot, canner.number, load))
        self._step(StepKind.FILL, start, start + minutes, load=number, cook=hands.number)
        jars_in = start - self.paces.sterilise_minutes
        heat = self.paces.heat_water(self.work, canner.burner, first=not canner.used)
        for kind, begin, end in (
            (StepKind.HEAT, jars_in - heat, jars_in),
            (StepKind.STERILISE, jars_in, start),
            (StepKind.KEEP_HOT, start, start + minutes),
        ):
            self._step(kind, begin, end, load=number, burner=canner.burner_number, canner=canner.number)
        return number

    def _process(self, load: Load, number: int, canner: _Canner, filled: int) -> None:
        now = filled
        for kind, minutes in self.paces.in_canner(self.work, load, canner.burner):
            self._step(kind, now, now + minutes, load=number, burner=canner.burner_number, canner=canner.number)
            now += minutes
        canner.free = self._by_hand(StepKind.OUT, now, self.paces.lift(load), number, canner)
        canner.used = True

    def _ready(self, canner: _Canner) -> int:
        """The first minute at which this canner can be hot, with the jars in it sterile where they must be."""
        heat = self.paces.heat_water(self.work, canner.burner, first=not canner.used)
        return canner.free + heat + self.paces.sterilise_minutes

    def _order(self, canner: _Canner) -> tuple[int, int]:
        return self._ready(canner), canner.number

    def _first_free(self, after: int, minutes: int) -> tuple[_Hands, int]:
        """The cook who can do it soonest, now busy with it, and when it begins."""
        hands = min(self.cooks, key=lambda each: (each.earliest(after, minutes), each.number))
        start = hands.earliest(after, minutes)
        hands.take(start, minutes)
        return hands, start

    def _by_hand(
        self, kind: StepKind, after: int, minutes: int, load: int | None = None, canner: _Canner | None = None
    ) -> int:
        """Work for whichever cook is free first. Returns when it is done."""
        hands, start = self._first_free(after, minutes)
        self._step(
            kind,
            start,
            start + minutes,
            load=load,
            burner=canner.burner_number if canner else None,
            canner=canner.number if canner else None,
            cook=hands.number,
        )
        return start + minutes

    def _step(
        self,
        kind: StepKind,
        start: int,
        end: int,
        *,
        load: int | None = None,
        burner: int | None = None,
        canner: int | None = None,
        cook: int | None = None,
    ) -> None:
        if end > start:
            self.finish = max(self.finish, end)
            self.steps.append(Step(kind, start, end, self.pot, load, burner, canner, cook))
