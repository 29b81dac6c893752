"""How long each piece of the day's work takes, and where each figure comes from.

Process minutes come from the tested table by way of the load; nothing here shortens or lengthens them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import ceil

from recipes.engine.jars import JarMix
from recipes.engine.loads import Load
from recipes.engine.mass_balance import PotBalance
from recipes.engine.physics import Burner, Figure, boiling_point_c, minutes_to_boil_off, minutes_to_heat
from recipes.engine.quantities import JAR_ML
from recipes.engine.rules import EQUIPMENT, NO_SOURCE, RULES, day_caution
from recipes.engine.schedule.terms import Gear, PotWork, StepKind
from recipes.engine.terms import Altitude, Canner, Caution, JarCount, Method, Pack, Refusal, TestedRecipe

TAP_C = Figure(15, NO_SOURCE)
FOOD_C = Figure(20, NO_SOURCE)
RAW_WATER_C = Figure(60, "Univ. Minnesota Extension; Andress, fightbac.org (140 F for raw packs)")
HOT_FILL_C = Figure(85, NO_SOURCE)
COOLED_BY_C = Figure(10, NO_SOURCE)  # a canner's water between two loads
PRESSURE_WATER_L = Figure(3, NO_SOURCE)  # 2 to 3 inches in the bottom
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
WEIGHT_OFF = Figure(10, "USDA Complete Guide, Guide 1, from memory")

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
            return (
                (StepKind.STEAM, max(int(STEAM_LEAST.value), self._to_boiling(pot, load, burner))),
                (StepKind.VENT, int(VENT.value)),
                (StepKind.COME_UP, int(COME_UP.value)),
                (StepKind.PROCESS, load.process.minutes),
                (StepKind.DEPRESSURISE, _lose_pressure(load)),
            )
        return (
            (StepKind.COME_BACK, max(int(COME_BACK_LEAST.value), self._to_boiling(pot, load, burner))),
            (StepKind.PROCESS, load.process.minutes),
            (StepKind.REST, int(REST.value)),
        )

    def _to_boiling(self, pot: PotWork, load: Load, burner: Burner) -> int:
        litres = _litres(load.jars)
        if pot.pack is not Pack.RAW:
            return minutes_to_heat(litres, HOT_FILL_C.value, self.boiling_c, burner)
        around = max(self.water_kg - litres, 0.0) if load.process.method is Method.BOILING_WATER else self.water_kg
        water = minutes_to_heat(around, RAW_WATER_C.value, self.boiling_c, burner)
        return water + minutes_to_heat(litres, FOOD_C.value, self.boiling_c, burner)


@lru_cache(maxsize=512)
def _litres(jars: tuple[JarCount, ...]) -> float:
    return float(sum(JAR_ML[jar.size] * jar.count for jar in jars)) / 1000


def _for_jars(jars: Sequence[JarCount], each: Figure) -> int:
    return ceil(sum(jar.count for jar in jars) * each.value)


def _lose_pressure(load: Load) -> int:
    tall = any(JAR_ML[jar.size] > JAR_ML["pint"] for jar in load.jars)
    return int((LOSE_PRESSURE_QUARTS if tall else LOSE_PRESSURE_PINTS).value + WEIGHT_OFF.value)


# The work of each pot: what is heated, how long it boils, whether it may wait.

# A spread sets, and its fruit floats, if it stands: it goes into the jars at once.
SPREADS = frozenset({"jam", "jelly", "marmalade", "preserve", "conserve", "butter"})
WITH_PIECES = frozenset({"jam", "marmalade", "preserve", "conserve"})

SIMMER = Figure(5, NO_SOURCE)  # minutes, where the recipe prints no boil of its own
LIQUID_SHARE = Figure(0.4, NO_SOURCE)  # of a raw-packed jar: the syrup or brine, which alone is heated

# What a household has: a stove with four electric burners, one canner for seven quarts, one cook.
USUAL_GEAR = Gear(burners=(Burner.of_kind("electric"),) * 4)


def pot_works(
    recipe: TestedRecipe, mixes: Sequence[JarMix], balance: PotBalance | Refusal, *, pack: Pack
) -> tuple[PotWork, ...]:
    """One `PotWork` for each pot, from its jar mix. `balance` is that of one pot at the plan's scale.

    Where the mass balance is refused, what fills the jars is heated, taken as water.
    """
    return tuple(_pot_work(recipe, mix, balance, pack, number) for number, mix in enumerate(mixes, 1))


def day_cautions(recipe: TestedRecipe) -> tuple[Caution, ...]:
    """What the timeline does not know about this recipe."""
    if recipe.method is Method.FREEZER or recipe.hard_boil or recipe.endpoint_f_above_boiling is not None:
        return ()
    message = (
        f"The timeline allows {SIMMER.value:.0f} minutes once the pot boils. Where the steps say to cook longer, or to "
        f"cook down, begin that much earlier."
    )
    return (day_caution("cooking-not-timed", "COOK-PRINTED", message),)


def _pot_work(recipe: TestedRecipe, mix: JarMix, balance: PotBalance | Refusal, pack: Pack, number: int) -> PotWork:
    kg, boil_off = _to_heat(recipe, mix, balance, pack)
    above_f = recipe.endpoint_f_above_boiling
    boil = recipe.hard_boil.minutes if recipe.hard_boil else SIMMER.value if above_f is None else 0
    return PotWork(
        name=f"pot {number}",
        jars=mix.jars,
        kg=kg,
        boil_minutes=ceil(boil) if kg else 0,
        boil_off_kg=boil_off,
        above_boiling_c=float(above_f or 0) * 5 / 9,
        pack=pack,
        stir=recipe.kind in WITH_PIECES,
        may_wait=recipe.kind not in SPREADS,
    )


def _to_heat(recipe: TestedRecipe, mix: JarMix, balance: PotBalance | Refusal, pack: Pack) -> tuple[float, float]:
    """Kilograms to bring to the boil, and of water to boil away before the end point."""
    if recipe.method is Method.FREEZER:
        return 0.0, 0.0
    if isinstance(balance, PotBalance):
        boil_off = balance.boiled_off_g.best if recipe.endpoint_f_above_boiling is not None else 0.0
        return balance.mass_in_g.best / 1000, boil_off / 1000
    litres = float(sum(JAR_ML[jar.size] * jar.count for jar in mix.jars)) / 1000
    return (litres * LIQUID_SHARE.value if pack is Pack.RAW else litres), 0.0
