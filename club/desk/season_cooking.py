"""Which tested recipe a wish is put up by, and what the engine says of a pot of it in this kitchen."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.db.models import Max

from club.desk.models import YearlyWish
from club.desk.season_reading import KnownRecipe, Reading
from inventory.batches.models import Batch
from inventory.fruit.suggestions import takes_thawed
from recipes.choices import PACKS
from recipes.engine.plan.terms import Plan
from recipes.engine.terms import Altitude, Canner, Pack, Refusal
from recipes.models import Recipe, Revision, unbarred
from recipes.planning import plan_for
from recipes.shopping import fruit_grams

PACK_UNKNOWN = "pack-unknown"
MOST_POTS_AN_EVENING = 8  # a slip of the clock, not a rule: nobody cooks more pots of one thing in a day


@dataclass(frozen=True)
class Cooking:
    """A pot of a recipe here. `plan` is of one pot, and None where it is refused or there is no recipe."""

    revision: Revision | None
    plan: Plan | None = None
    jars_a_pot: int | None = None
    minutes: tuple[int, ...] = ()
    fruit_grams: int = 0
    refusals: tuple[Refusal, ...] = ()
    pack: Pack | None = None  # where we chose one, as the recipe has several

    @property
    def pack_word(self) -> str:
        return str(PACKS[self.pack]) if self.pack else ""

    @property
    def produce(self) -> str:
        """What a freezer may hold of it; "" where a pot takes several fruits, as their weights are not told apart, and
        where the recipe packs pieces, as thawed ones are not what was tested."""
        if self.revision is None or not takes_thawed(self.revision.tested):
            return ""
        foods = self.revision.tested.produce
        return foods[0] if len(foods) == 1 else ""


NO_RECIPE = Cooking(None)


class Stove:
    """Asks the engine once for each recipe, altitude, size, canner and evening, however many households ask."""

    def __init__(self) -> None:
        self._known: dict[tuple[object, ...], Cooking] = {}

    def cooking(self, revision: Revision | None, wish: YearlyWish, one: Reading) -> Cooking:
        if revision is None:
            return NO_RECIPE
        altitude = one.kitchen.altitude
        key = (revision.pk, altitude, wish.jar_size, wish.canner, one.evening_minutes)
        if key not in self._known:
            canner = Canner(wish.canner) if wish.canner else None
            self._known[key] = _cooking(revision, altitude, wish.jar_size, canner, one.evening_minutes)
        return self._known[key]


def _cooking(
    revision: Revision, altitude: Altitude | None, size: str, canner: Canner | None, evening_minutes: int
) -> Cooking:
    """One pot, and then as many more as an evening holds.

    Where hot and raw pack are both tested and the recipe asks which, the hot pack is planned, and the page says so.
    """

    def ask(pots: int, pack: Pack | None) -> Plan:
        return plan_for(revision=revision, altitude=altitude, pots=pots, jar=size, canner=canner, pack=pack)

    pack = None
    first = ask(1, pack)
    if {refusal.code for refusal in first.refusals} == {PACK_UNKNOWN}:
        pack = Pack.HOT
        first = ask(1, pack)
    if not first.ok:
        return Cooking(revision, refusals=first.refusals)
    jars = sum(jar.count for jar in first.jars if jar.size == size) or None
    lengths = _lengths(first, lambda pots: ask(pots, pack), evening_minutes)
    return Cooking(revision, first, jars, lengths, fruit_grams(first), pack=pack)


def _lengths(first: Plan, ask: Callable[[int], Plan], evening_minutes: int) -> tuple[int, ...]:
    """The minutes of a day with 1, 2, 3 ... pots, up to the first that is longer than the evening."""
    lengths: list[int] = []
    made = first
    while made.ok and made.day is not None and len(lengths) < MOST_POTS_AN_EVENING:
        lengths.append(made.day.minutes)
        if made.day.minutes > evening_minutes:
            break
        made = ask(len(lengths) + 1)
    return tuple(lengths)


def revisions_for(found: Iterable[Reading]) -> dict[int, Revision | None]:
    """The revision each wish is planned from, by the wish's key, in three queries.

    A recipe's own; for a kind the recipe of it that the household made last, else the first by its title with jars of
    that size. None where nothing tested fits.
    """
    all_readings = list(found)
    wishes = [(one, wish) for one in all_readings for wish in one.wishes]
    kinds = {wish.kind for _one, wish in wishes if wish.recipe_id is None}
    offered = _offered(kinds)
    made = _made_last(all_readings, kinds)
    chosen: dict[int, int | None] = {}
    for one, wish in wishes:
        if wish.recipe is not None:
            chosen[wish.pk] = wish.recipe.current_id
        else:
            chosen[wish.pk] = _choose(wish, offered, made.get(one.kitchen.pk, {}))
    keys = [key for key in chosen.values() if key is not None]
    revisions = {one.pk: one for one in Revision.objects.filter(pk__in=keys).select_related("recipe")}
    return {wish: revisions.get(key) if key is not None else None for wish, key in chosen.items()}


@dataclass(frozen=True)
class _Offered:
    recipe: KnownRecipe
    sizes: tuple[str, ...]
    current: int


def _offered(kinds: set[str]) -> list[_Offered]:
    """Published recipes of these kinds, by title."""
    rows = Recipe.objects.published().filter(kind__in=kinds).order_by("title", "pk")
    names = ("pk", "title", "kind", "produce", "jars", "current_id")
    return [
        _Offered(KnownRecipe(pk, title, kind, unbarred(produce)), unbarred(jars), current)
        for pk, title, kind, produce, jars, current in rows.values_list(*names)
    ]


def _made_last(found: Sequence[Reading], kinds: set[str]) -> dict[int, dict[int, object]]:
    """When each recipe was made last, by kitchen and recipe."""
    rows = Batch.objects.filter(kitchen__in=[one.kitchen for one in found], revision__recipe__kind__in=kinds)
    told: dict[int, dict[int, object]] = {}
    for kitchen, recipe, at in (
        rows.order_by().values_list("kitchen", "revision__recipe").annotate(at=Max("started_at"))
    ):
        told.setdefault(kitchen, {})[recipe] = at
    return told


def _choose(wish: YearlyWish, offered: Iterable[_Offered], made: Mapping[int, object]) -> int | None:
    fitting = [one for one in offered if one.recipe.answers(wish) and wish.jar_size in one.sizes]
    known = [one for one in fitting if one.recipe.pk in made]
    if known:
        return max(known, key=lambda one: (made[one.recipe.pk], -one.recipe.pk)).current
    return fitting[0].current if fitting else None
