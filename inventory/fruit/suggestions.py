"""What one pot of a recipe needs of somebody's fruit, as it comes from the tree. Pure sums on the engine's terms."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor

from django.db.models import Q
from django.utils.http import urlencode
from django.utils.translation import gettext as _

from club.core.units import reader_units
from inventory.fruit.models import FreezerState, Offer
from inventory.fruit.produce import JUICE, PRODUCE, weight_asked, weight_words
from inventory.fruit.rules import COOKED_THROUGH, THAWED_PACKS
from recipes.engine import MOST_POTS, Plan, fruit_lines, process_choices, round_for_kitchen
from recipes.engine.mass_balance import form_of, weigh_line, words_of
from recipes.engine.quantities import UNITS
from recipes.engine.terms import Altitude, Canner, Ingredient, Pack, Refusal, Role, TestedRecipe
from recipes.models import Recipe, Revision, barred
from recipes.planning import plan_for

STEP_G = 50  # rounded up to what a kitchen scale and a bucket make sense of


def pot_needs_g(recipe: TestedRecipe, produce: str, state: str) -> int | None:
    """Grams of this produce, as bought, for one pot as printed; None where the recipe does not let us say.

    A recipe that measures juice says nothing of how much fruit gives it, and the other way round. What a recipe weighs
    it weighs as bought; where it measures cups, what is pitted or cut away comes on top, by USDA's refuse table.
    """
    one = PRODUCE[produce]
    lines = [line for line in fruit_lines(recipe) if one.food and _names(line, one.food)]
    if not lines or any((form_of(line) == "juice") != (state == JUICE) for line in lines):
        return None
    grams = 0.0
    for line in lines:
        weighed = weigh_line(line, pectin=recipe.pectin)
        if isinstance(weighed, Refusal):
            return None
        is_as_bought = state == JUICE or UNITS[line.unit].kind == "mass" or one.refuse_pct is None
        grams += weighed.grams.best if is_as_bought else weighed.grams.best * 100 / (100 - (one.refuse_pct or 0))
    return ceil(grams / STEP_G) * STEP_G


def _names(line: Ingredient, food: str) -> bool:
    """Whether the line is about this food: "sour cherries, pitted" is about cherry, "crab apples" not about apple."""
    words = set(words_of(line.item))
    plainer = {"apple": "crab", "tomato": "green"}.get(food)
    return set(words_of(food)) <= words and plainer not in words


# Which tested recipes fit a fruit at hand, how many pots it gives, and what else each of them takes.
#
# Where a recipe prints no weight that the fruit could be compared with, the pots are reckoned from a household weight,
# by its heavy end and down to whole pots, and the answer says that it is an estimate. A process comes from the plan
# alone.

NOT_COMPARABLE = "fruit-not-comparable"


@dataclass(frozen=True)
class AtHand:
    """So much of one produce (the recipes' own word), in one state, fresh or out of the freezer."""

    produce: str
    grams: int
    state: str = FreezerState.FRUIT
    is_frozen: bool = False


@dataclass(frozen=True)
class Fit:
    """A recipe for a fruit at hand. With `refusals` it cannot be made as asked; each says what to do.

    `also`: other produce it takes. `is_estimate`: the pots were reckoned from a household weight. `asked` is the wish
    as the plan page takes it, without the kitchen.
    """

    recipe: Recipe
    plan: Plan | None
    refusals: tuple[Refusal, ...]
    also: tuple[str, ...]
    is_estimate: bool
    asked: dict[str, str]

    @property
    def ok(self) -> bool:
        return not self.refusals

    def query(self, kitchen_pk: int) -> str:
        """The address of the same plan on the plan page, after the question mark."""
        return urlencode({"kitchen": str(kitchen_pk), **self.asked})


def produce_words() -> list[str]:
    """Every produce that a published recipe takes, by name; one query."""
    rows = Recipe.objects.published().index_rows()
    return sorted({word for row in rows for word in row.words["produce"]})


def produce_named(text: str, words: Iterable[str] | None = None) -> str:
    """The recipes' own word for what somebody wrote: "Sour cherries, pitted" is cherries. "" where none is in it.

    Whole words, in one number or the other; of several the longest, so that "green tomatoes" is not tomatoes.
    """
    letters = "".join(char if char.isalpha() else " " for char in text.lower())
    spaced = f" {' '.join(_singular(word) for word in letters.split())} "
    known = produce_words() if words is None else words
    found = [word for word in known if f" {' '.join(_singular(part) for part in word.lower().split())} " in spaced]
    return max(found, key=lambda word: (len(word), word), default="")


def _singular(word: str) -> str:
    if word.endswith("ies") and len(word) > 4:
        return word[:-3] + "y"
    if word.endswith(("oes", "ches")):
        return word[:-2]
    return word[:-1] if word.endswith("s") and not word.endswith("ss") else word


def revisions_with(produces: Iterable[str]) -> list[Revision]:
    """The current revision of every recipe that takes one of these, by title; one query, none for nothing."""
    wanted = Q()
    for produce in produces:
        wanted |= Q(recipe__produce__contains=f"|{produce}|")
    if not wanted:
        return []
    return list(Revision.objects.current().filter(wanted).select_related("recipe").order_by("recipe__title", "pk"))


def fits(at_hand: AtHand, revisions: Sequence[Revision], altitude: Altitude | None) -> list[Fit]:
    """A fit for each of these revisions that takes the produce in its state: what can be made first, then the rest."""
    tried = [fit_of(at_hand, one, altitude) for one in revisions if at_hand.produce in one.tested.produce]
    found = [fit for fit in tried if fit is not None]
    return sorted(found, key=lambda fit: (not fit.ok, len(fit.also), fit.recipe.title))


def fit_of(at_hand: AtHand, revision: Revision, altitude: Altitude | None) -> Fit | None:
    """None where the recipe does not take the produce as it is, or not as its measure: a purée for whole fruit, a
    concentrate, the onion of a tomato salsa."""
    tested = revision.tested
    mine = _lines_of(at_hand.produce, tested)
    wants = {_state_wanted(line) for line in mine}
    if len(wants) != 1:
        return None
    produce = [line for line in tested.ingredients if line.role in (Role.FRUIT, Role.LOW_ACID) and not line.optional]
    also = tuple(line.item for line in produce if line not in mine)
    wanted, state = wants.pop(), at_hand.state
    if wanted == FreezerState.JUICE and state == FreezerState.FRUIT:
        return _refused(revision, also, _juice_refusal(mine))
    if wanted != state and not (state == FreezerState.PUREE and {form_of(line) for line in mine} == {"crushed"}):
        return None
    if at_hand.is_frozen and not takes_thawed(tested):
        return _refused(
            revision,
            also,
            Refusal(
                "thawed-not-tested",
                THAWED_PACKS.name,
                own_words=_(THAWED_PACKS.statement),
                own_source=THAWED_PACKS.source,
            ),
        )
    if any(len(_named_in(line, tested)) > 1 and " or " not in line.item for line in mine):
        return _refused(revision, also, _mixture_refusal(mine))
    return _planned(at_hand, revision, mine, also, altitude)


def _lines_of(produce: str, tested: TestedRecipe) -> list[Ingredient]:
    """The lines of this produce among those that the recipe is measured by; a single "berries" is of any of them."""
    lines = fruit_lines(tested)
    named = [line for line in lines if produce in _named_in(line, tested)]
    if named or len(lines) != 1 or _named_in(lines[0], tested):
        return named
    is_elsewhere = any(produce in _named_in(line, tested) for line in tested.ingredients)
    return [] if is_elsewhere else lines


def _named_in(line: Ingredient, tested: TestedRecipe) -> set[str]:
    """The recipe's produce that a line names; "green tomatoes" names those and not tomatoes."""
    found = {word for word in tested.produce if produce_named(line.item, [word])}
    return {word for word in found if not any(word != other and word in other for other in found)}


def takes_thawed(tested: TestedRecipe) -> bool:
    """Cooked through (THAWED_PACKS). What a step says of frozen fruit is not read here: it may forbid it."""
    return tested.kind in COOKED_THROUGH


def _state_wanted(line: Ingredient) -> str:
    if "concentrate" in f"{line.item} {line.prep}".lower():
        return "concentrate"
    return FreezerState.JUICE if form_of(line) == "juice" else FreezerState.FRUIT


def _planned(
    at_hand: AtHand, revision: Revision, mine: Sequence[Ingredient], also: tuple[str, ...], altitude: Altitude | None
) -> Fit:
    """By weight where the recipe gives one; else, or where it is measured by other produce too, by whole pots."""
    pack, canner = _usual_process(revision.tested)
    choices = {name: choice.value for name, choice in (("pack", pack), ("canner", canner)) if choice is not None}
    if len(mine) == len(fruit_lines(revision.tested)):
        fruit = weight_asked(at_hand.grams, reader_units())
        plan = plan_for(revision=revision, altitude=altitude, fruit=fruit, pack=pack, canner=canner)
        if NOT_COMPARABLE not in {one.code for one in plan.refusals}:
            asked = {"fruit": str(fruit), **choices}
            return Fit(revision.recipe, plan, plan.refusals, also, is_estimate=False, asked=asked)
    pots = _pots_by_weight(at_hand, mine)
    if isinstance(pots, Refusal):
        return _refused(revision, also, pots)
    plan = plan_for(revision=revision, altitude=altitude, pots=pots, pack=pack, canner=canner)
    return Fit(revision.recipe, plan, plan.refusals, also, is_estimate=True, asked={"pots": str(pots), **choices})


def _refused(revision: Revision, also: tuple[str, ...], why: Refusal) -> Fit:
    return Fit(revision.recipe, None, (why,), also, is_estimate=False, asked={})


def _usual_process(tested: TestedRecipe) -> tuple[Pack | None, Canner | None]:
    """Where the table leaves a choice, the hot pack and the first canner: shown with the plan, and changed there."""
    choices = process_choices(tested.process)
    pack = None if len(choices.packs) < 2 else Pack.HOT if Pack.HOT in choices.packs else choices.packs[0]
    return pack, choices.canners[0] if len(choices.canners) > 1 else None


def _pots_by_weight(at_hand: AtHand, mine: Sequence[Ingredient]) -> int | Refusal:
    """Whole pots as printed that the fruit is sure to fill, by the heavy end of what a household measure weighs."""
    weights = [weigh_line(line) for line in mine]
    grams = [weight.grams.high for weight in weights if not isinstance(weight, Refusal)]
    names = ", ".join(line.item for line in mine)
    if len(grams) < len(weights):
        text = _("How much one pot's %(what)s weighs is not known. Measure it as the recipe does, and plan by pots.")
        return Refusal(NOT_COMPARABLE, "FRUIT-PREPARED", own_words=text % {"what": names})
    pots = floor(at_hand.grams / sum(grams))
    if pots < 1:
        text = _("One pot takes about %(need)s of %(what)s, and there is %(have)s. Gather more.")
        need = round_for_kitchen(Fraction(sum(grams)), "g", Role.FRUIT).value
        units = reader_units()
        amounts = {"need": weight_words(ceil(need), units), "what": names, "have": weight_words(at_hand.grams, units)}
        return Refusal("fruit-too-little", "POT-LIMITS", own_words=text % amounts)
    return min(pots, MOST_POTS)


def _juice_refusal(mine: Sequence[Ingredient]) -> Refusal:
    text = _("It takes juice: %(what)s. Draw the juice first as the recipe says, measure it, and plan by that.")
    return Refusal(
        "fruit-taken-as-juice", "FRUIT-PREPARED", own_words=text % {"what": ", ".join(line.item for line in mine)}
    )


def _mixture_refusal(mine: Sequence[Ingredient]) -> Refusal:
    text = _("It takes a mixture: %(what)s. Measure each part as the recipe says, and plan by that.")
    return Refusal(
        "fruit-in-a-mixture", "FRUIT-PREPARED", own_words=text % {"what": ", ".join(line.item for line in mine)}
    )


# Tested recipes that fit what is offered, and how much of it one pot takes.


@dataclass(frozen=True)
class PotOf:
    """A recipe and what one pot of it takes, in grams and in the offer's units, rounded up."""

    recipe: Recipe
    grams: int
    units: int


def pots_of(offer: Offer) -> list[PotOf]:
    """By title; recipes that do not say how much fruit they take are left out. One query."""
    found = Recipe.objects.published().filter(produce__contains=barred([offer.produce])).select_related("current")
    pots = []
    for recipe in found.order_by("title", "pk"):
        revision = recipe.current
        assert revision is not None  # published() says so
        revision.recipe = recipe
        grams = pot_needs_g(revision.tested, offer.produce, offer.state)
        if grams is not None:
            pots.append(PotOf(recipe, grams, -(-grams // offer.unit_g)))
    return pots
