"""What pages say of safety: botulism named where it can happen, every sentence with a source that was read."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse

from inventory.batches import rules as batch_rules
from inventory.equipment import rules as equipment_rules
from inventory.fruit import rules as fruit_rules
from inventory.jars import rules as jar_rules
from recipes import safety
from recipes.engine import RULES, plan_batch
from recipes.engine.document import recipe_from_document
from recipes.engine.plan import PlanRequest
from recipes.engine.terms import Altitude, Rule
from recipes.library import shipped_library
from recipes.safety import Food, panel_for, panel_of
from tests.factories.batches import make_pressure_batch, make_recall
from tests.factories.members import make_kitchen, make_person
from tests.factories.recipes import SPREAD, VEGETABLE, make_revision, recipe_document
from tests.helpers import text_of

pytestmark = pytest.mark.django_db

UNREAD = re.compile(r"from memory|no source", re.IGNORECASE)
# Of these the club or common practice decides, and nobody's health hangs on them: how a day is planned, how a share
# falls, what is shown. Every other rule has a source that was read, or is the club's own and says so.
NOT_OF_SAFETY = {
    "ALTITUDE-RANGE",
    "PRESSURE-CHOICE",
    "SEEN-ONLY",  # speaks of figures from memory, and refuses them
    "PECTIN-WHOLE",
    "YIELD-STATED",
    "FRUIT-PREPARED",
    "JAR-MIX",
    "LOAD-SHARED",
    "POT-ALONE",
    "NO-WAIT",
    "BURNER-EACH",
    "COOK-PRINTED",
    "ONE-DAY",
    "FINISH",
    "MASS-BALANCE",
    "PACKING",
    "HANDS-FIRST",
    "CLASS-CLEAN-UP",
    "CLASS-IN-TIME",
    "CLASS-POWER",
    "CLASS-HANDS",
    "no-more-jars-than-the-pots-give",
    "frozen-fruit-with-sugar-is-not-planned",
}


def rules_of(module):
    return [value for value in vars(module).values() if isinstance(value, Rule)]


def test_no_rule_of_safety_rests_on_memory_or_on_nothing():
    every = [*RULES.values()]
    for module in (batch_rules, equipment_rules, fruit_rules, jar_rules):
        every += rules_of(module)
    unread = {rule.name for rule in every if UNREAD.search(f"{rule.statement} {rule.source}")}
    assert unread <= NOT_OF_SAFETY
    assert len(every) > 80


def test_no_caution_of_the_shipped_library_rests_on_memory_or_on_nothing():
    said = [caution for entry in shipped_library().recipes for caution in entry.recipe.cautions]
    assert len(said) > 20
    assert [caution for caution in said if UNREAD.search(caution)] == []


@pytest.mark.parametrize(
    "words",
    [
        safety.BOTULISM,
        safety.AT_RISK,
        safety.ILL,
        safety.BEFORE_EATING,
        safety.SUSPECT,
        safety.PRESSURE_CANNER,
    ],
)
def test_each_saying_was_read_somewhere_and_says_where(words):
    for saying in safety.sayings(words):
        assert saying.fact.seen.is_seen
        assert saying.source
        assert saying.places
        assert not UNREAD.search(f"{saying.statement} {saying.source}")


def test_a_saying_without_a_fact_cannot_be_made():
    with pytest.raises(KeyError):
        safety.sayings([("never-read", "It is quite safe.")])


def test_only_what_can_bring_botulism_has_a_panel():
    spread, beans = (recipe_from_document(recipe_document(base)) for base in (SPREAD, VEGETABLE))
    assert panel_of(spread, None) is None
    panel = panel_of(beans, Altitude.from_feet(5000))
    assert panel is not None
    assert (panel.food, panel.minutes, bool(panel.pressure)) == (Food.LOW_ACID, 15, True)
    assert panel_for(Food.ACID).before_eating == []


def test_boiling_is_named_only_for_what_may_be_eaten_and_never_as_a_rescue():
    assert panel_for(Food.LOW_ACID, is_eaten=False).before_eating == []
    for said in (panel_for(Food.LOW_ACID).before_eating, safety.opening_for(Food.NEAR)):
        assert "Boiling saves no suspect jar" in str(said[-1].statement)


def test_the_signs_of_botulism_may_begin_days_later():
    signs = panel_for(Food.LOW_ACID).ill[0]
    assert "from a few hours up to 10 days after" in str(signs.statement)
    assert "Washington State University Extension" in signs.source


# The pages


@pytest.fixture
def cook():
    return make_person(name="Cook")


def test_the_pages_of_low_acid_food_name_botulism_and_the_pressure_canner(cook, sign_in):
    kitchen, revision = make_kitchen(cook), make_revision(base=VEGETABLE)
    batch = make_pressure_batch(by=cook, kitchen=kitchen, revision=revision)
    client = sign_in(cook)
    asked = {"kitchen": kitchen.pk, "pots": 1, "jar": "pint", "pack": "hot", "canner": "dial-gauge"}
    pages = [
        client.get(reverse("recipes:recipe", args=[revision.recipe.slug])),
        client.get(reverse("recipes:plan", args=[revision.recipe.slug]), asked),
        client.get(batch.get_absolute_url()),
    ]
    for page in pages:
        text = text_of(page)
        for words in ("botulism", "Children under 5", "boil low-acid food", "heavy bag", "10 minutes before you close"):
            assert words in text
        # How many jars to have ready rests on estimates, and says so.
        for estimate in page.context["yields"].assumptions if "yields" in page.context else ():
            text = text.replace(estimate, "")
        assert "from memory" not in text


def test_the_page_of_a_recall_says_what_such_a_jar_can_do(cook, sign_in):
    batch = make_pressure_batch(by=cook)
    recall = make_recall(by=cook, batch=batch)
    text = text_of(sign_in(cook).get(recall.get_absolute_url()))
    assert "Clostridium botulinum" in text
    assert not UNREAD.search(text)


def test_a_page_of_fruit_is_not_made_to_frighten(cook, sign_in):
    revision = make_revision()
    text = text_of(sign_in(cook).get(reverse("recipes:recipe", args=[revision.recipe.slug])))
    assert "botulism" not in text.lower()


# The jelly point


@pytest.mark.parametrize("kind", ["jam", "jelly", "marmalade", "preserve", "conserve"])
def test_a_spread_that_jells_has_a_jelly_point(kind):
    recipe = recipe_from_document(recipe_document(kind=kind))
    assert plan_batch(recipe, PlanRequest(altitude=Altitude.from_feet(500), pots=1)).jelly_point_c is not None


@pytest.mark.parametrize("kind", ["chutney", "butter", "sauce", "pickle", "fruit"])
def test_nothing_else_has_one(kind):
    recipe = recipe_from_document(recipe_document(kind=kind))
    plan = plan_batch(recipe, PlanRequest(altitude=Altitude.from_feet(500), pots=1))
    assert plan.jelly_point_c is None
    assert plan.boiling_point_c is not None


def test_the_page_of_a_chutney_shows_no_jelly_point(cook, sign_in):
    kitchen = make_kitchen(cook)
    for kind, shown in (("jam", True), ("chutney", False)):
        revision = make_revision(kind=kind)
        page = sign_in(cook).get(reverse("recipes:recipe", args=[revision.recipe.slug]), {"kitchen": kitchen.pk})
        assert ("Jelly point" in text_of(page)) == shown
