"""What is published of each accident, by food and by hours; and that nothing is answered beyond that."""

from __future__ import annotations

import csv
from math import inf

import pytest

from inventory.batches import accidents
from inventory.batches.accidents import Act, Situation, answer_for, remakes, situations_for
from recipes.engine import ProcessFound
from recipes.engine.document import recipe_from_document
from recipes.engine.terms import Altitude
from recipes.library import SHIPPED, shipped_library
from recipes.safety import Food, boil_minutes, facts, food_of, has_acid_in_jars
from tests.factories.recipes import SPREAD, VEGETABLE, recipe_document
from tests.published.library import recipes

ANY = (Food.ACID, Food.NEAR, Food.LOW_ACID)
CLOSE = (Food.NEAR, Food.LOW_ACID)  # low in acid, or safe by added acid alone
STOVE, HOUR, TEN, DAY, LATER = None, 1.0, 10.0, 24.0, 500.0
AFTER_TWO, AFTER_DAY = (2.0, TEN, DAY, LATER), (DAY, LATER)
WITHIN_TWO, WITHIN_DAY = (0.0, HOUR, 1.99), (0.0, HOUR, TEN, 23.99)
OUT = (*WITHIN_DAY, *AFTER_DAY)

# Situation, foods, hours since the jars came out, what is done, and who publishes it.
PUBLISHED = [
    ("unsealed", ANY, WITHIN_DAY, "reprocess refrigerate freeze", "K-State; Nebraska; Michigan State 01600593"),
    ("unsealed", (Food.ACID,), AFTER_DAY, "discard", "Iowa State: after 24 hours the food is disposed of"),
    ("unsealed", CLOSE, AFTER_DAY, "discard-as-suspect", "Iowa State; Ask Extension 475755"),
    ("siphoned-less", ANY, OUT, "keep use-first", "NCHFP through Nebraska; USDA garden produce, p. 110"),
    ("siphoned-half", ANY, WITHIN_DAY, "refrigerate-soon", "NCHFP through Nebraska: 2 to 3 days"),
    ("siphoned-half", CLOSE, AFTER_DAY, "discard-as-suspect", "NCHFP: may not be processed; Iowa State: disposed of"),
    ("siphoned-half", (Food.ACID,), AFTER_DAY, "ask", "none found that says so"),
    ("heat-fell", ANY, (STOVE,), "restart", "USDA Guide 1; University of Georgia"),
    ("heat-fell", ANY, WITHIN_TWO, "reprocess refrigerate", "Nebraska, Iowa State: re-canned within 2 hours"),
    ("heat-fell", (Food.ACID,), AFTER_TWO, "discard", "Iowa State: after 2 hours disposed of"),
    ("heat-fell", CLOSE, AFTER_TWO, "discard-as-suspect", "Iowa State: after 2 hours disposed of"),
    ("boiled-dry", ANY, (STOVE,), "heat-off restart", "NC State 242: the full length again"),
    ("boiled-dry", ANY, WITHIN_TWO, "reprocess refrigerate", "NC State 242; Iowa State"),
    ("boiled-dry", CLOSE, AFTER_TWO, "discard-as-suspect", "Iowa State; Cornell as told: thrown out"),
    ("boiled-dry", (Food.ACID,), AFTER_TWO, "discard", "Iowa State; Cornell as told: thrown out"),
    ("power-cut", ANY, (STOVE,), "restart", "NC State 242: the full length again"),
    ("power-cut", ANY, WITHIN_TWO, "reprocess refrigerate", "NC State 242; Iowa State"),
    ("power-cut", CLOSE, AFTER_TWO, "discard-as-suspect", "Iowa State; Ask Extension 475755: discard"),
    ("power-cut", (Food.ACID,), AFTER_TWO, "discard", "Iowa State"),
    ("jar-broke", ANY, (STOVE, *OUT), "discard-broken look", "Cornell through Tennessee: cracked jars are not used"),
    ("acid-forgotten", CLOSE, WITHIN_TWO, "reprocess-with-acid refrigerate", "Iowa State names it"),
    ("acid-forgotten", CLOSE, AFTER_TWO, "discard-as-suspect", "Iowa State names it"),
    ("acid-forgotten", (Food.ACID,), OUT, "ask", "none: acid that only sets a jelly"),
    ("jar-larger", ANY, WITHIN_TWO, "repack refrigerate", "Iowa State names it; K-State: no larger jar"),
    ("jar-larger", CLOSE, AFTER_TWO, "discard-as-suspect", "Iowa State names it"),
    ("jar-larger", (Food.ACID,), AFTER_TWO, "discard", "Iowa State names it"),
    ("jar-smaller", ANY, OUT, "keep", "K-State; Ask Extension 684465"),
    ("headspace-much", ANY, WITHIN_TWO, "reprocess refrigerate", "Iowa State names it"),
    ("headspace-much", CLOSE, AFTER_TWO, "discard-as-suspect", "Iowa State; Ask Extension 684465: pitch"),
    ("headspace-much", (Food.ACID,), AFTER_TWO, "discard", "Iowa State; Ask Extension 684465: pitch"),
    ("headspace-little", (Food.ACID,), OUT, "look", "NC State 513; Ask Extension 684465: the seal may fail"),
    ("headspace-little", CLOSE, WITHIN_TWO, "reprocess refrigerate", "Iowa State: a wrong headspace"),
    ("headspace-little", CLOSE, AFTER_TWO, "discard-as-suspect", "Iowa State: a wrong headspace"),
    ("gauge-high", ANY, WITHIN_TWO, "reprocess refrigerate", "Tennessee: under-processed; Iowa State: 2 hours"),
    ("gauge-high", CLOSE, AFTER_TWO, "discard-as-suspect", "Tennessee: under-processed; NC State: not safe"),
    ("gauge-high", (Food.ACID,), AFTER_TWO, "discard", "Tennessee: under-processed; NC State: not safe"),
    ("gauge-low", ANY, OUT, "keep", "NC State: quality, not safety"),
    ("not-set", (Food.ACID, Food.NEAR), OUT, "keep remake", "Michigan State 01600900; Oklahoma State"),
    ("not-set", (Food.LOW_ACID,), OUT, "ask", "none: no spread is low in acid"),
    ("pickles-soft", ANY, OUT, "discard", "Missouri; Illinois, Brewer"),
    ("pickles-cloudy", ANY, OUT, "discard", "extension article, Norman (Oklahoma); Michigan State 01600612"),
    ("mould", ANY, OUT, "discard-as-suspect", "K-State (NCHFP); NC State 591"),
    ("thawed-cold", ANY, (STOVE, *OUT), "refreeze", "North Dakota State; FoodSafety.gov"),
    ("thawed-warm", ANY, (STOVE, *OUT), "discard", "North Dakota State: above 40 °F for 2 hours"),
]
CASES = [
    pytest.param(situation, food, hours, done, id=f"{situation}, {food.value}, {hours}: {source}")
    for situation, foods, moments, done, source in PUBLISHED
    for food in foods
    for hours in moments
]


@pytest.mark.parametrize(("situation", "food", "hours", "done"), CASES)
def test_each_answer_is_the_published_one(situation, food, hours, done):
    assert " ".join(answer_for(Situation(situation), food, hours).acts) == done


def test_the_table_above_asks_every_situation_of_every_food_within_a_day_and_after_it():
    asked = {
        (situation, food, hours < 24)
        for situation, foods, moments, *_rest in PUBLISHED
        for food in foods
        for hours in moments
        if hours is not None
    }
    assert asked == {(one.value, food, early) for one in Situation for food in Food for early in (True, False)}


@pytest.mark.parametrize("situation", list(Situation))
@pytest.mark.parametrize("food", [Food.NEAR, Food.LOW_ACID])
@pytest.mark.parametrize("hours", [DAY, LATER, inf])
def test_low_acid_food_that_stood_is_never_saved_in_a_freezer_or_processed_again(situation, food, hours):
    answer = answer_for(situation, food, hours)
    assert Act.FREEZE not in answer.acts
    assert Act.REFRIGERATE not in answer.acts
    assert not answer.may_reprocess


@pytest.mark.parametrize("situation", list(Situation))
@pytest.mark.parametrize("food", list(Food))
@pytest.mark.parametrize("hours", [STOVE, 0.0, HOUR, 2.0, TEN, DAY, LATER, inf])
def test_an_answer_says_who_publishes_it_or_else_to_ask(situation, food, hours):
    answer = answer_for(situation, food, hours)
    if answer.is_known:
        assert answer.seen is not None
        assert answer.seen.is_seen
        assert answer.places
        assert Act.ASK not in answer.acts
    else:
        assert answer.acts == (Act.ASK,)


def test_what_differs_between_sources_is_shown_beside_the_stricter_answer():
    answer = answer_for(Situation.ACID_FORGOTTEN, Food.NEAR, TEN)
    assert answer.is_thrown_away
    assert "24 hours" in answer.otherwise


@pytest.mark.parametrize("situation", [Situation.HEAT_FELL, Situation.BOILED_DRY, Situation.POWER_CUT])
def test_a_time_is_started_again_only_within_two_hours_of_the_failure(situation):
    """Nebraska: a process that failed is made up for within 2 hours or not at all."""
    answer = answer_for(situation, Food.LOW_ACID, STOVE)
    assert Act.RESTART in answer.acts
    assert "within 2 hours of failing; otherwise throw it away" in str(accidents.WORDS[Act.RESTART][1])
    assert "Nebraska" in answer.source


@pytest.mark.parametrize("act", sorted(accidents.REPROCESSES))
def test_a_second_process_is_only_for_food_with_a_tested_hot_pack(act):
    assert "Where no hot pack of this food was tested, this is not for it." in str(accidents.WORDS[act][1])


def test_forgotten_acid_is_added_as_the_recipe_measures_it():
    headline, how = map(str, accidents.WORDS[Act.REPROCESS_WITH_ACID])
    assert "Plain tomatoes and figs" in headline
    assert "as the recipe measures it" in how
    assert "Pickles, relishes, salsas and spreads are not put right so" in how


@pytest.mark.parametrize(
    ("slug", "acts"),
    [
        ("tomato-juice", (Act.REPROCESS_WITH_ACID, Act.REFRIGERATE)),
        ("dilly-beans-usda", (Act.REFRIGERATE_NOW,)),
        ("chile-salsa", (Act.REFRIGERATE_NOW,)),
        ("tomato-ketchup", (Act.REFRIGERATE_NOW,)),
    ],
)
def test_forgotten_acid_is_made_up_for_only_where_each_jar_gets_its_own(slug, acts):
    acid_in_jars = has_acid_in_jars(recipes()[slug])
    assert answer_for(Situation.ACID_FORGOTTEN, Food.NEAR, 1, acid_in_jars=acid_in_jars).acts == acts
    assert answer_for(Situation.ACID_FORGOTTEN, Food.NEAR, 3, acid_in_jars=acid_in_jars).is_thrown_away


def test_hours_of_soaking_and_chilling_are_no_hours_after_the_stove():
    found = {slug: accidents.waiting_hours(recipes()[slug]) for slug in recipes()}
    assert found["bread-and-butter-pickles"] == 4
    assert found["strawberry-preserves-plain"] == 10
    assert found["snap-beans"] == found["chile-salsa"] == 0


def test_hours_below_zero_are_no_hours():
    with pytest.raises(ValueError, match="below zero"):
        answer_for(Situation.UNSEALED, Food.ACID, -0.1)


def test_every_situation_and_act_has_its_words():
    assert set(accidents.NAMES) == set(Situation)
    assert set(Situation) <= set(accidents.WHY) <= {*Situation, *accidents.KeptSituation}
    assert set(accidents.WORDS) == set(Act)


@pytest.mark.parametrize(
    "name",
    ["accidents.csv", "accidents-kept.csv", "safety.csv", "remade-jelly.csv", "allergens.csv", "allergen-lists.csv"],
)
def test_each_fact_was_seen_in_print_and_says_where(name):
    with (SHIPPED / name).open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) >= 3
    for row in rows:
        assert row["seen"] in ("seen-once", "seen-twice")
        assert row["source"]
        assert row["place"]
        assert None not in row


def test_a_fact_from_memory_is_refused(tmp_path, monkeypatch):
    (tmp_path / "accidents.csv").write_text(
        "situation,food,when,do,source,place,seen,otherwise\nmould,acid,any,keep,somebody,somewhere,memory,\n"
    )
    monkeypatch.setattr(accidents, "SHIPPED", tmp_path)
    accidents._rows.cache_clear()
    try:
        with pytest.raises(ValueError, match="mould has no source"):
            answer_for(Situation.MOULD, Food.ACID, HOUR)
    finally:
        accidents._rows.cache_clear()


# The food of a recipe


def test_what_is_processed_under_pressure_counts_as_low_acid():
    assert food_of(recipe_from_document(recipe_document(VEGETABLE))) is Food.LOW_ACID


@pytest.mark.parametrize(
    ("item", "food"),
    [("plums", Food.ACID), ("tomatoes", Food.NEAR), ("figs", Food.NEAR), ("onions", Food.NEAR), ("zzyzx", Food.NEAR)],
)
def test_only_known_fruit_is_acid_food(item, food):
    lines = [{"item": item, "role": "fruit", "amount": "4", "unit": "cup"}, *SPREAD["ingredients"][1:]]
    assert food_of(recipe_from_document(recipe_document(ingredients=lines))) is food


def test_the_foods_of_the_shipped_library():
    foods = {entry.recipe.slug: food_of(entry.recipe) for entry in shipped_library().recipes}
    assert {slug: foods[slug] for slug in ("grape-jelly-plain", "apples-sliced")} == dict.fromkeys(
        ("grape-jelly-plain", "apples-sliced"), Food.ACID
    )
    for slug in ("tomato-juice", "dilly-beans-usda", "fig-jam-liquid", "chile-salsa"):
        assert foods[slug] is Food.NEAR
    for slug in ("snap-beans", "corn-whole-kernel"):
        assert foods[slug] is Food.LOW_ACID


def test_a_list_asks_only_what_can_have_happened():
    spread, beans = (recipe_from_document(recipe_document(base)) for base in (SPREAD, VEGETABLE))
    of_spread = situations_for(spread, "boiling-water", Food.ACID)
    of_beans = situations_for(beans, "dial-gauge", Food.LOW_ACID)
    frozen = situations_for(spread, "", Food.ACID)
    assert Situation.NOT_SET in of_spread
    assert Situation.GAUGE_HIGH not in of_spread
    assert Situation.ACID_FORGOTTEN not in of_spread
    assert Situation.GAUGE_HIGH in of_beans
    assert Situation.PICKLES_SOFT not in of_beans
    assert Situation.GAUGE_HIGH not in situations_for(beans, "weighted-gauge", Food.LOW_ACID)
    assert Situation.THAWED_WARM in frozen
    assert Situation.UNSEALED not in frozen


# Boiling before tasting, and remaking a soft spread


@pytest.mark.parametrize(
    ("feet", "minutes"),
    [(-200, 10), (0, 10), (999, 10), (1000, 11), (1001, 12), (2000, 12), (4999, 15), (5000, 15), (5001, 16)],
)
def test_minutes_to_boil_before_tasting(feet, minutes):
    """AIB 539, For Safety's Sake: 10 below 1,000 ft and 1 more a 1,000 ft; Colorado State: 15 at 5,000 ft."""
    assert boil_minutes(Altitude.from_feet(feet)) == minutes


def test_amounts_of_the_remakes():
    """Michigan State 01600900; Oklahoma State (NCHFP)."""
    amounts = {one.pectin: (one.pectin_amount, one.sugar, one.water, one.lemon_juice) for one in remakes()}
    assert amounts == {
        "powdered": ("4 tsp", "1/4 cup", "1/2 cup", "2 tbsp"),
        "liquid": ("2 tbsp", "3/4 cup", "", "2 tbsp"),
        "none": ("", "", "", "2 tbsp"),
    }


@pytest.mark.parametrize(("feet", "minutes"), [(1000, 5), (1001, 10), (6000, 10), (6001, 15)])
def test_a_remade_jelly_is_processed_by_altitude(feet, minutes):
    for remake in remakes():
        found = remake.process_at(Altitude.from_feet(feet))
        assert isinstance(found, ProcessFound)
        assert found.minutes == minutes


def test_the_facts_behind_the_sayings_are_all_used_and_all_there():
    from recipes import safety

    said = {
        name
        for words in (
            safety.BOTULISM,
            safety.AT_RISK,
            safety.ILL,
            safety.BEFORE_EATING,
            safety.SUSPECT,
            safety.PRESSURE_CANNER,
        )
        for name, _statement in words
    }
    assert said == set(facts())
