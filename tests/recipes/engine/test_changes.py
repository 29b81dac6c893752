"""The rules of change: the table itself, what no rule may ever allow, and what changes do together."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction

import pytest

from recipes.engine.changes import (
    CHANGE_RULES,
    Act,
    Change,
    Ruling,
    check_change,
    check_changes,
    checked_as_dict,
)
from recipes.engine.quantities import Amount
from recipes.engine.terms import Role, Seen
from tests.published.library import recipes

JAM, PLAIN_JAM, SALSA, LEMON_SALSA = "strawberry-jam-liquid", "berry-jam-plain", "chile-salsa", "salsa-tomato-paste"
PICKLES, TOMATOES, BEANS, PIE = "bread-and-butter-pickles", "tomatoes-raw-no-liquid", "snap-beans", "apple-pie-filling"


def rule_of(slug: str, change: str | Change) -> str:
    return check_change(recipes()[slug], change).rule


def verdict_of(slug: str, change: str | Change) -> str:
    return check_change(recipes()[slug], change).verdict.value


# The table


def test_there_are_at_least_forty_rules_and_each_names_a_source():
    assert len({entry.rule for entry in CHANGE_RULES.values()}) >= 40
    for code, entry in CHANGE_RULES.items():
        assert code == entry.code
        assert len(entry.statement) > 20, code
        assert len(entry.source) > 10, code


def test_a_rule_without_print_says_so():
    honest = ("common practice, no source", "from memory", "a rule of this club", "the recipe", "the limit")
    printed = (
        "USDA",
        "NCHFP",
        "Univ",
        "Extension",
        "Rutgers",
        "NDSU",
        "K-State",
        "Kansas",
        "Penn",
        "UC ANR",
        "Health Canada",
    )
    for entry in CHANGE_RULES.values():
        assert any(
            word in entry.source
            for word in (*honest, *printed, "Virginia Tech", "Oregonian", "extension pages", "UF IFAS", "Iowa State")
        ), entry


def test_a_recipe_not_checked_in_print_allows_no_change():
    untested = replace(recipes()[JAM], amounts_seen=Seen.MEMORY)
    assert check_change(untested, "omit salt").rule == "NOT-TESTED"


def test_decisions_do_not_rest_on_the_name():
    renamed = replace(recipes()[SALSA], slug="x", title="Grandmother's best")
    for text in ("more onions", "fewer peppers", "swap vinegar -> bottled lemon juice", "omit vinegar"):
        assert check_change(renamed, text).rule == rule_of(SALSA, text)


# Less and more


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("sugar 7 cups -> 3 1/2 cups", "SUGAR-LESS-PECTIN"),
        ("sugar 7 cups -> 3.4 cups", "SUGAR-HALF"),
        ("reduce sugar by 1 cup", "SUGAR-LESS-PECTIN"),
        ("reduce the sugar to 1 cup", "SUGAR-HALF"),
        ("sugar 1400 g", "NO-CHANGE"),
        ("sugar 7 cups", "NO-CHANGE"),
        ("sugar 8 cups", "SUGAR-MORE-SPREAD"),
        ("sugar 3 bunches", "CANNOT-COMPARE"),
    ],
)
def test_a_new_amount_is_compared_with_the_recipes_own(text, rule):
    assert rule_of(JAM, text) == rule


def test_the_old_amount_in_the_text_is_not_trusted():
    assert rule_of(PICKLES, "vinegar 2 cups -> 3 cups") == "ACID-LESS"
    assert rule_of(PICKLES, "vinegar 5 cups -> 4 cups") == "NO-CHANGE"


def test_a_bare_amount_of_acid_is_a_new_amount_and_not_an_addition():
    for text in ("vinegar 3 cups", "3 cups vinegar", "with 3 cups vinegar", "only 3 cups of vinegar"):
        assert rule_of(PICKLES, text) == "ACID-LESS", text


def test_an_amount_for_each_jar_is_not_taken_for_the_pot():
    assert rule_of(JAM, "add 1/2 tsp butter") == "FAT-FOAM"
    assert rule_of(JAM, "add 1/2 tsp butter to each jar") == "FAT-ADD"


def test_what_the_recipe_marks_as_optional_may_go_unless_it_is_acid():
    recipe = recipes()[LEMON_SALSA]
    assert check_change(recipe, "omit cumin").rule == "OPTIONAL-OUT"
    loose = replace(
        recipe, ingredients=tuple(replace(line, optional=line.role is Role.ACID) for line in recipe.ingredients)
    )
    assert check_change(loose, "omit lemon juice").verdict is Ruling.REFUSED


def test_leaving_out_one_of_two_peppers_is_less_and_both_is_another_recipe():
    assert verdict_of("golden-pepper-jelly-liquid", "omit serrano peppers") == "fine"
    assert rule_of("golden-pepper-jelly-liquid", "omit peppers") == "VEGETABLE-MAIN"


def test_a_ferment_is_known_by_its_brine_whatever_its_steps_say():
    pickle = recipes()["dilly-beans-usda"]
    weak = replace(
        pickle,
        ingredients=tuple(
            replace(line, amount=Fraction(1, 4)) if line.role is Role.ACID else line for line in pickle.ingredients
        ),
    )
    assert check_change(pickle, "less salt").rule == "SALT-LESS-PICKLE"
    assert check_change(weak, "less salt").rule == "SALT-FERMENT"


# Swaps


def test_swap_for_is_read_by_what_the_recipe_has():
    assert rule_of(SALSA, "swap vinegar for bottled lemon juice") == "ACID-LEMON-FOR-VINEGAR"
    assert rule_of(SALSA, "swap bottled lemon juice for vinegar") == "ACID-LEMON-FOR-VINEGAR"
    assert rule_of(LEMON_SALSA, "swap vinegar for lemon juice") == "ACID-VINEGAR-FOR-LEMON"


def test_a_swap_of_acid_counts_its_measure():
    assert rule_of(SALSA, "swap 1 cup vinegar -> 1 cup bottled lemon juice") == "ACID-LEMON-FOR-VINEGAR"
    assert rule_of(SALSA, "swap 1 cup vinegar -> 1/2 cup bottled lemon juice") == "ACID-LESS"
    assert rule_of("tomato-juice", "swap 14 tbsp lemon juice -> 3 1/2 tsp citric acid") == "ACID-TOMATO-CITRIC"
    assert rule_of("tomato-juice", "swap 14 tbsp lemon juice -> 3 tsp citric acid") == "ACID-LESS"
    assert rule_of(SALSA, "citric acid for vinegar") == "ACID-OTHER"


def test_a_swap_of_peppers_may_not_grow():
    assert rule_of(LEMON_SALSA, "swap 6 jalapenos -> 6 serranos") == "PEPPER-SWAP"
    assert rule_of(LEMON_SALSA, "swap 6 jalapenos -> 8 serranos") == "VEGETABLE-MORE"
    assert rule_of(LEMON_SALSA, "swap jalapenos -> 2 cups bell peppers") == "CANNOT-COMPARE"


def test_whole_fruit_of_lemon_is_fresh_juice():
    for text in ("limes for lemon juice", "the juice of 4 fresh limes for lemon juice", "use fresh lemon juice"):
        assert verdict_of(LEMON_SALSA, text) == "refused", text


@pytest.mark.parametrize("text", ["5% vinegar for lemon juice", "vinegar 5 % for lemon juice", "vinegar 5 %"])
def test_a_strength_does_not_hide_a_swap_of_lemon_for_vinegar(text):
    assert verdict_of(LEMON_SALSA, text) == "refused"


# Jar, pack, pot, canner, time


def test_a_jar_between_two_tested_ones_has_the_larger_ones_time():
    answer = check_change(recipes()[BEANS], "jar half-pint")
    assert (answer.rule, "pint jar" in answer.message) == ("JAR-SMALLER", True)


def test_a_time_is_enough_only_when_it_is_the_longest_printed():
    assert rule_of(SALSA, "process 25 minutes") == "TESTED-ONLY"
    assert verdict_of(SALSA, "process 25 minutes") == "fine"
    assert rule_of(SALSA, "process 15 minutes") == "ALTITUDE-NEEDED"
    assert verdict_of(SALSA, "process 14 minutes") == "refused"
    assert verdict_of(SALSA, "process 30 minutes") == "quality"


def test_a_pot_is_scaled_within_its_limits_and_step():
    limited = recipes()["apples-sliced"]
    assert check_change(limited, "pot x 3/7").rule == "POT-LIMITS"
    assert check_change(limited, "pot x 8/7").verdict is Ruling.REFUSED
    assert check_change(limited, "pot x 0").verdict is Ruling.REFUSED


def test_nothing_is_processed_of_a_freezer_recipe():
    for text in ("water bath canner", "process 10 minutes", "pressure 10 psi", "pack hot", "steam canner"):
        assert rule_of("freezer-strawberry-jam-powdered", text) == "FREEZER-ONLY", text


# Together


def test_two_cuts_of_sugar_count_as_one():
    both = check_changes(recipes()[JAM], ["sugar -30%", "sugar -30%"])
    assert [answer.rule for answer in both.verdicts] == ["SUGAR-HALF", "SUGAR-HALF"]
    assert check_changes(recipes()[JAM], ["sugar -10%", "sugar -10%"]).verdict is Ruling.QUALITY


def test_two_weakenings_of_one_set_are_refused():
    both = check_changes(recipes()[JAM], ["less sugar", "raspberries for strawberries", "add cinnamon"])
    assert [answer.rule for answer in both.verdicts] == ["TOGETHER-SET", "TOGETHER-SET", "SPICE-DRY"]


def test_sugar_and_thickener_are_not_lessened_together():
    assert check_changes(recipes()[PIE], ["less sugar", "less modified starch"]).verdict is Ruling.REFUSED
    for alone in ("less sugar", "less modified starch"):
        assert verdict_of(PIE, alone) == "quality"


def test_more_acid_does_not_buy_more_vegetables():
    both = check_changes(recipes()[SALSA], ["more vinegar", "more onions"])
    assert both.verdicts[1].rule == "TOGETHER-ACID-VEGETABLE"


def test_jar_and_pack_and_canner_must_share_a_row():
    recipe = recipes()["apricots-halved"]
    rows = tuple(row for row in recipe.process if not (row.pack.value == "raw" and row.jar == "quart"))
    gap = replace(recipe, process=rows)
    assert check_change(gap, "pack raw").verdict is Ruling.FINE
    assert check_change(gap, "jar quart").verdict is Ruling.FINE
    together = check_changes(gap, ["pack raw", "jar quart"])
    assert {answer.rule for answer in together.verdicts} == {"TOGETHER-JAR-PACK"}
    assert check_changes(recipe, ["pack raw", "jar quart"]).verdict is Ruling.FINE


def test_butter_and_spice_add_up():
    assert check_changes(recipes()[JAM], ["add butter 1/4 tsp", "add butter 1/4 tsp"]).verdict is Ruling.FINE
    assert check_changes(recipes()[JAM], ["add butter 1/2 tsp", "add butter 1/2 tsp"]).verdict is Ruling.REFUSED
    assert check_changes(recipes()[JAM], ["add cinnamon 3 tbsp", "add cloves 3 tbsp"]).verdict is Ruling.REFUSED


def test_a_measure_is_not_compared_with_the_whole_pot_when_the_pot_is_halved():
    assert verdict_of(SALSA, "use 1 lb onions") == verdict_of(SALSA, "halve the recipe") == "fine"
    both = check_changes(recipes()[SALSA], ["halve the recipe", "use 1 lb onions", "add cumin 1 tsp"])
    assert [answer.rule for answer in both.verdicts] == ["POT-HALF", "TOGETHER-POT", "SPICE-DRY"]
    assert rule_of(SALSA, "halve the recipe and use 1 lb onions") == "TOGETHER-POT"


def test_company_never_softens_an_answer():
    recipe = recipes()[SALSA]
    texts = ["more onions", "omit salt", "fewer peppers", "jar quart", "vinegar -5%"]
    alone = [check_change(recipe, text).verdict for text in texts]
    assert [answer.verdict for answer in check_changes(recipe, texts).verdicts] == alone


# The answer


def test_a_change_may_be_given_already_read():
    change = Change(Act.ADD, "onions", amount=Amount(Fraction(1), "cup"), text="onions")
    answer = check_change(recipes()[JAM], change)
    assert (answer.rule, answer.change) == ("ALLIUM-ADD", "onions")


def test_the_answer_as_plain_values_has_the_keys_that_were_promised():
    checked = check_changes(recipes()[SALSA], ["omit salt", "add corn"])
    found = json.loads(json.dumps(checked_as_dict(recipes()[SALSA], checked, revision=2)))
    assert (found["recipe"], found["revision"], found["verdict"]) == (SALSA, 2, "refused")
    assert [sorted(entry) for entry in found["changes"]] == [
        ["change", "message", "reading", "rule", "source", "verdict"]
    ] * 2
    assert [entry["verdict"] for entry in found["changes"]] == ["fine", "refused"]


def test_no_change_at_all_is_fine():
    assert check_changes(recipes()[SALSA], []).verdict is Ruling.FINE
