"""What plans of the published library say, sentence by sentence, as it was read and agreed."""

from __future__ import annotations

from fractions import Fraction

from recipes.engine import PlanRequest, plan_batch, process_choices
from recipes.engine.terms import Altitude
from tests.published.library import figures, recipes

OF_THE_RECIPE = {"recipe", "process-note"}  # sentences of the library's own


def test_every_plan_of_the_library_says_what_was_agreed_and_nothing_else():
    said = set()
    for recipe in recipes().values():
        choices = process_choices(recipe.process)
        gear = {"pack": next(iter(choices.packs), None), "canner": next(iter(choices.canners), None)}
        for metres in (0, 1040, 2700):
            at = {"altitude": Altitude(Fraction(metres)), **gear}
            for request in (
                PlanRequest(pots=2, finish=960, **at),
                PlanRequest(pots=3, empties={"half-pint": 12, "pint": 9, "quart": 3}, **at),
                PlanRequest(jars=9, jar="pint", cooks=2, canners=2, **at),
            ):
                plan = plan_batch(recipe, request)
                said |= {(each.code, each.message) for each in (*plan.refusals, *plan.cautions)}
    agreed = {(row["code"], row["message"]) for row in figures("messages")}
    assert {each for each in said if each[0] not in OF_THE_RECIPE} == agreed
