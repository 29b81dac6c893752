"""From a recipe and the jars of each pot to the day's work: what is heated, how long it boils, whether it may wait."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil

from recipes.engine.day_rules import day_caution
from recipes.engine.day_terms import Gear, PotWork
from recipes.engine.heat import Burner, Figure
from recipes.engine.jars import JarMix
from recipes.engine.rules import NO_SOURCE
from recipes.engine.solids import PotBalance
from recipes.engine.terms import Caution, Method, Pack, Refusal, TestedRecipe
from recipes.engine.units import JAR_ML

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
