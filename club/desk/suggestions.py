"""What can be made of the fruit at hand: what somebody has in her basket and what lies in her freezer.

Fruit that spoils or ages first comes first. The work is bounded: so many fruits and so many plans for a page.
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
from inventory.fruit.suggestions import AtHand, Fit, fits, produce_named, produce_words, revisions_with
from inventory.jars.choices import JarState
from inventory.jars.models import Balance
from recipes.engine.quantities import JAR_SIZES
from recipes.models import Revision

MOST_FRUITS = 10
MOST_PLANS = 80
MOST_LOTS = 200


@dataclass(frozen=True)
class Basket:
    """Fresh fruit as somebody typed it in."""

    what: str
    grams: int


@dataclass(frozen=True)
class Heap:
    """One fruit at hand. `until`: by when to use it, fresh, or until when it is at its best, frozen."""

    at_hand: AtHand
    until: date
    is_frozen: bool
    is_past: bool
    lots: tuple[FreezerItem, ...]
    fits: list[tuple[Fit, str]]
    left_off: int  # recipes that were not tried any more


@dataclass(frozen=True)
class Making:
    """`unknown`: what no recipe goes by the name of. `sugared`: frozen with sugar, which no recipe measures."""

    heaps: list[Heap] = field(default_factory=list)
    unknown: list[str] = field(default_factory=list)
    sugared: list[FreezerItem] = field(default_factory=list)
    empties: list[tuple[str, int]] = field(default_factory=list)  # of the kitchen, by size
    fruits_left_off: int = 0

    @property
    def has_frozen(self) -> bool:
        return any(heap.is_frozen for heap in self.heaps)


def making_for(user: User, kitchen: Kitchen, baskets: Sequence[Basket], *, with_freezer: bool, today: date) -> Making:
    """Every fruit at hand with the recipes that fit it in this kitchen; five queries, however much there is."""
    words = produce_words()
    lots = list(FreezerItem.objects.visible_to(user).there().oldest_first()[:MOST_LOTS]) if with_freezer else []
    named = [(produce_named(one.what, words), one) for one in baskets]
    frozen = [(one.produce or produce_named(one.what, words), one) for one in lots if not one.with_sugar]
    found = [*_fresh(named, today), *_frozen(frozen, today)]
    found.sort(key=lambda heap: (heap.until, heap.at_hand.produce, heap.at_hand.state))
    shown = found[:MOST_FRUITS]
    return Making(
        heaps=_with_fits(shown, kitchen),
        unknown=sorted(
            {one.what for produce, one in named if not produce} | {lot.what for word, lot in frozen if not word}
        ),
        sugared=[one for one in lots if one.with_sugar],
        empties=_empties(kitchen),
        fruits_left_off=len(found) - len(shown),
    )


def _fresh(named: Sequence[tuple[str, Basket]], today: date) -> list[Heap]:
    grams: defaultdict[str, int] = defaultdict(int)
    for produce, basket in named:
        if produce:
            grams[produce] += basket.grams
    return [
        Heap(AtHand(produce, weight), use_by_estimate(produce, FruitState.FRESH, today), False, False, (), [], 0)
        for produce, weight in grams.items()
    ]


def _frozen(named: Sequence[tuple[str, FreezerItem]], today: date) -> list[Heap]:
    """Lots of the same produce and state together: a batch is cooked from all the bags there are."""
    lots: defaultdict[tuple[str, str], list[FreezerItem]] = defaultdict(list)
    for produce, item in named:
        if produce:
            lots[produce, FreezerState(item.state).value].append(item)
    return [_heap_of(produce, state, items, today) for (produce, state), items in lots.items()]


def _heap_of(produce: str, state: str, items: Sequence[FreezerItem], today: date) -> Heap:
    first = min((item.keeping for item in items), key=lambda keeping: keeping.best_until)
    at_hand = AtHand(produce, sum(item.grams_left for item in items), state, is_frozen=True)
    return Heap(at_hand, first.best_until, True, first.age(today) is Age.PAST, tuple(items), [], 0)


def _with_fits(heaps: Sequence[Heap], kitchen: Kitchen) -> list[Heap]:
    """Each heap with its recipes, as long as plans may still be made; what was not tried is counted."""
    revisions = revisions_with({heap.at_hand.produce for heap in heaps})
    left, done = MOST_PLANS, []
    for heap in heaps:
        mine = [one for one in revisions if heap.at_hand.produce in one.tested.produce]
        tried: Sequence[Revision] = mine[:left]
        left -= len(tried)
        found = [(fit, fit.query(kitchen.pk)) for fit in fits(heap.at_hand, tried, kitchen.altitude)]
        done.append(replace(heap, fits=found, left_off=len(mine) - len(tried)))
    return done


def _empties(kitchen: Kitchen) -> list[tuple[str, int]]:
    rows = Balance.objects.there().filter(place__kitchen=kitchen, state=JarState.EMPTY).values_list("size", "count")
    counts = dict(rows)
    return [(size, counts[size]) for size in JAR_SIZES if size in counts]
