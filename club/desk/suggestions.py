"""What can be made of the fruit at hand: what a member has fresh and what lies in their freezer.

What was asked for comes first, then the freezer; of each what spoils or ages first. The work is bounded: so many fruits
and so many plans for a page.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from club.members.models import Kitchen, User
from inventory.fruit.choices import FruitState
from inventory.fruit.models import FreezerItem, FreezerState
from inventory.fruit.rules import Age, use_by_estimate
from inventory.fruit.services import AtHand, Fit, fits, produce_named, produce_words, revisions_with
from inventory.jars.choices import JarState
from inventory.jars.models import Balance
from recipes.engine.quantities import JAR_SIZES
from recipes.models import Revision

MOST_FRUITS = 10
MOST_PLANS = 80
MOST_LOTS = 200


@dataclass(frozen=True)
class FreshFruit:
    """As somebody typed it in."""

    what: str
    grams: int


@dataclass(frozen=True)
class FruitAtHand:
    """One fruit with its recipes. `until`: by when to use it, fresh, or until when it is at its best, frozen."""

    at_hand: AtHand
    until: date
    is_frozen: bool
    is_past: bool
    lots: tuple[FreezerItem, ...]
    fits: list[tuple[Fit, str]]
    left_off: int  # recipes that were not tried any more


@dataclass(frozen=True)
class Suggestions:
    """`unknown`: what no recipe goes by the name of. `sugared`: frozen with sugar, which no recipe measures."""

    fruits: list[FruitAtHand] = field(default_factory=list)
    unknown: list[str] = field(default_factory=list)
    sugared: list[FreezerItem] = field(default_factory=list)
    empties: list[tuple[str, int]] = field(default_factory=list)  # of the kitchen, by size
    fruits_left_off: int = 0


def suggestions_for(
    user: User, kitchen: Kitchen, fresh: Sequence[FreshFruit], *, with_freezer: bool, today: date
) -> Suggestions:
    """Every fruit at hand with the recipes that fit it in this kitchen; five queries, however much there is."""
    words = produce_words()
    lots = list(FreezerItem.objects.visible_to(user).there().oldest_first()[:MOST_LOTS]) if with_freezer else []
    named = [(produce_named(one.what, words), one) for one in fresh]
    frozen = [(one.produce or produce_named(one.what, words), one) for one in lots if not one.with_sugar]
    found = [*_fresh(named, today), *_frozen(frozen, today)]
    found.sort(key=lambda fruit: (fruit.is_frozen, fruit.until, fruit.at_hand.produce, fruit.at_hand.state))
    shown = found[:MOST_FRUITS]
    return Suggestions(
        fruits=_with_fits(shown, kitchen),
        unknown=sorted(
            {one.what for produce, one in named if not produce} | {lot.what for word, lot in frozen if not word}
        ),
        sugared=[one for one in lots if one.with_sugar],
        empties=_empties(kitchen),
        fruits_left_off=len(found) - len(shown),
    )


def _fresh(named: Sequence[tuple[str, FreshFruit]], today: date) -> list[FruitAtHand]:
    grams: defaultdict[str, int] = defaultdict(int)
    for produce, fruit in named:
        if produce:
            grams[produce] += fruit.grams
    return [
        FruitAtHand(AtHand(produce, weight), use_by_estimate(produce, FruitState.FRESH, today), False, False, (), [], 0)
        for produce, weight in grams.items()
    ]


def _frozen(named: Sequence[tuple[str, FreezerItem]], today: date) -> list[FruitAtHand]:
    """Lots of the same produce and state together: a batch is cooked from all the bags there are."""
    lots: defaultdict[tuple[str, str], list[FreezerItem]] = defaultdict(list)
    for produce, item in named:
        if produce:
            lots[produce, FreezerState(item.state).value].append(item)
    found = []
    for (produce, state), items in lots.items():
        first = min((item.shelf_life for item in items), key=lambda life: life.best_until)
        at_hand = AtHand(produce, sum(item.grams_left for item in items), state, is_frozen=True)
        is_past = first.age(today) is Age.PAST
        found.append(FruitAtHand(at_hand, first.best_until, True, is_past, tuple(items), [], 0))
    return found


def _with_fits(fruits: Sequence[FruitAtHand], kitchen: Kitchen) -> list[FruitAtHand]:
    """Each fruit with its recipes, as long as plans may still be made; what was not tried is counted."""
    revisions = revisions_with({fruit.at_hand.produce for fruit in fruits})
    plans_left, done = MOST_PLANS, []
    for fruit in fruits:
        taking = [one for one in revisions if fruit.at_hand.produce in one.tested.produce]
        tried: Sequence[Revision] = taking[:plans_left]
        plans_left -= len(tried)
        found = [(fit, fit.query(kitchen.pk)) for fit in fits(fruit.at_hand, tried, kitchen.altitude)]
        done.append(replace(fruit, fits=found, left_off=len(taking) - len(tried)))
    return done


def _empties(kitchen: Kitchen) -> list[tuple[str, int]]:
    rows = Balance.objects.there().filter(place__kitchen=kitchen, state=JarState.EMPTY).values_list("size", "count")
    counts = dict(rows)
    return [(size, counts[size]) for size in JAR_SIZES if size in counts]
