"""A recipe becomes a day's work: what is heated, how long it boils, whether it may wait."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from recipes.engine.document import recipe_from_document
from recipes.engine.jars import JarMix, jar_mixes
from recipes.engine.mass_balance import PotBalance, pot_balance
from recipes.engine.process import Process, sizes_allowed
from recipes.engine.quantities import JAR_ML
from recipes.engine.rules import RULES
from recipes.engine.schedule import SIMMER, USUAL_GEAR, StepKind, Timeline, day_cautions, day_timeline, pot_works
from recipes.engine.terms import Altitude, Canner, JarCount, Pack
from tests.recipes.engine.samples import snap_beans, strawberry_jam

HOME = Altitude(Fraction(1040))
JAM = recipe_from_document(strawberry_jam())
BEANS = recipe_from_document(snap_beans())
EIGHT = JarMix((JarCount("half-pint", 8),), 1, Fraction(0), None)
SEVEN = JarMix((JarCount("quart", 7),), 1, Fraction(0), None)


def test_a_jam_is_heated_whole_boils_as_printed_and_never_waits():
    balance = pot_balance(JAM)
    assert isinstance(balance, PotBalance)
    (pot,) = pot_works(JAM, [EIGHT], balance, pack=Pack.HOT)
    assert pot.kg == balance.mass_in_g.best / 1000
    assert (pot.boil_minutes, pot.boil_off_kg, pot.stir, pot.may_wait) == (1, 0, True, False)
    assert day_cautions(JAM) == ()


def test_a_jam_without_added_pectin_boils_off_its_water_and_ends_above_boiling():
    plain = replace(JAM, hard_boil=None, endpoint_f_above_boiling=Fraction(8), ingredients=JAM.ingredients[:2])
    balance = pot_balance(plain)
    assert isinstance(balance, PotBalance)
    (pot,) = pot_works(plain, [EIGHT], balance, pack=Pack.HOT)
    assert pot.boil_off_kg == balance.boiled_off_g.best / 1000
    assert pot.above_boiling_c == 8 * 5 / 9
    assert pot.boil_minutes == 0


def test_a_pot_without_a_mass_balance_heats_what_fills_its_jars():
    litres = float(JAR_ML["quart"] * 7) / 1000
    hot, raw = (pot_works(BEANS, [SEVEN], pot_balance(BEANS), pack=pack)[0] for pack in (Pack.HOT, Pack.RAW))
    assert hot.kg == litres
    assert raw.kg < hot.kg
    assert (hot.boil_minutes, hot.may_wait, hot.stir) == (SIMMER.value, True, False)


def test_cooking_that_is_not_printed_as_a_boil_is_cautioned():
    (caution,) = day_cautions(BEANS)
    assert (caution.code, caution.source) == ("cooking-not-timed", RULES[caution.rule].source)


def test_two_pots_of_jam_from_the_recipe_to_the_last_jar():
    found = sizes_allowed(JAM.process, pack=Pack.HOT, canner=Canner.BOILING_WATER, altitude=HOME)
    allowed = {size: Process.of(process) for size, process in found.items()}
    mixes = jar_mixes(JAR_ML["half-pint"] * 8, 2, allowed, USUAL_GEAR.capacity, {"half-pint": 12, "pint": 3})
    assert isinstance(mixes, tuple)
    pots = pot_works(JAM, mixes, pot_balance(JAM), pack=Pack.HOT)
    found = day_timeline(pots, allowed, USUAL_GEAR, HOME)
    assert isinstance(found, Timeline)
    minutes = [step.minutes for step in found.steps if step.kind is StepKind.PROCESS]
    assert minutes == [10] * sum(mix.loads for mix in mixes)
