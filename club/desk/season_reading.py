"""What a season is reckoned from: wishes, jars on the shelf, jars that left it, empties. Reads for many households
at once, in a number of queries that does not grow with them."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple

from django.db.models import Count, Q, QuerySet, Sum
from django.db.models.functions import TruncMonth
from django.utils import timezone

from club.desk.models import USUAL_EVENING, HouseholdSeason, YearlyWish
from club.members.models import Kitchen
from inventory.batches.choices import Disposal, Seal
from inventory.batches.models import Jar
from inventory.jars.choices import JarState, Reason
from inventory.jars.models import Balance, Movement, Place
from recipes.models import unbarred

YEAR = timedelta(days=365)
USED = (Reason.EMPTIED, Reason.GIVEN)  # what broke was not used
# Good to eat from the shelf, or kept frozen on purpose. A jar nobody has looked at yet is neither.
GOOD = Q(seal=Seal.SEALED) | Q(seal__in=[Seal.NONE, Seal.UNSEALED], disposal=Disposal.FREEZE)
RECIPE = "batch__revision__recipe"
FACTS = (RECIPE, f"{RECIPE}__title", f"{RECIPE}__kind", f"{RECIPE}__produce")


class Kept(NamedTuple):
    """Jars are told apart by recipe and size."""

    recipe: int
    size: str


@dataclass(frozen=True)
class KnownRecipe:
    pk: int
    title: str
    kind: str
    produce: tuple[str, ...]

    def answers(self, wish: YearlyWish) -> bool:
        if wish.recipe_id is not None:
            return wish.recipe_id == self.pk
        return wish.kind == self.kind and wish.produce in self.produce


@dataclass
class Reading:
    """One household as the books have it, in jars.

    `full` are all that are full; `unseen` of them wait for a look at their seals, `called_back` are of a recalled lot
    or a withdrawn revision, and neither is on the shelf. `in_halls` are of batches that its
    people made and stand in a hall still, so they are not on its shelf.
    """

    kitchen: Kitchen
    evening_minutes: int = USUAL_EVENING
    lids_at_home: int = 0
    is_counted: bool = False
    places: list[Place] = field(default_factory=list)
    wishes: list[YearlyWish] = field(default_factory=list)
    shelf: Counter[Kept] = field(default_factory=Counter)
    used: Counter[Kept] = field(default_factory=Counter)
    never_sealed: Counter[Kept] = field(default_factory=Counter)
    empties: dict[str, int] = field(default_factory=dict)
    full: int = 0
    unseen: int = 0
    called_back: int = 0
    in_halls: int = 0
    recipes: dict[int, KnownRecipe] = field(default_factory=dict)

    def wish_of(self, kept: Kept) -> YearlyWish | None:
        """The wish that these jars count for: one for their recipe first, else for their kind. Never two."""
        recipe = self.recipes[kept.recipe]
        found = [wish for wish in self.wishes if wish.jar_size == kept.size and recipe.answers(wish)]
        return min(found, key=lambda wish: (wish.recipe_id is None, wish.pk), default=None)

    def counted(self, counts: Mapping[Kept, int]) -> dict[int | None, int]:
        """Jars by the wish they count for; under None those that no wish names."""
        sums: dict[int | None, int] = defaultdict(int)
        for kept, count in counts.items():
            wish = self.wish_of(kept)
            sums[wish.pk if wish else None] += count
        return sums


def households_by_person(kitchens: Sequence[Kitchen]) -> dict[int, int]:
    """The people of these kitchens, each with the first kitchen of hers: nobody's jars count twice."""
    people = Kitchen.people.through.objects
    members = people.filter(kitchen__in=kitchens).values("user")
    belongs: dict[int, int] = {}
    pairs = people.filter(user__in=members, kitchen__is_hall=False).order_by("kitchen")
    for kitchen, person in pairs.values_list("kitchen", "user"):
        belongs.setdefault(person, kitchen)
    keys = {kitchen.pk for kitchen in kitchens}
    return {person: kitchen for person, kitchen in belongs.items() if kitchen in keys}


def household_places(kitchens: Sequence[Kitchen], belongs: Mapping[int, int]) -> dict[int, list[Place]]:
    """Each kitchen's own place, and those of the people who belong to it."""
    found: dict[int, list[Place]] = {kitchen.pk: [] for kitchen in kitchens}
    places = Place.objects.filter(Q(kitchen__in=kitchens) | Q(person__in=list(belongs))).order_by("pk")
    for place in places:
        key = place.kitchen_id if place.kitchen_id is not None else belongs[place.person_id or 0]
        found[key].append(place)
    return found


def readings(kitchens: Sequence[Kitchen], *, now: datetime) -> dict[int, Reading]:
    """By kitchen key."""
    found = {kitchen.pk: Reading(kitchen) for kitchen in kitchens}
    for told in HouseholdSeason.objects.filter(kitchen__in=kitchens):
        one = found[told.kitchen_id]
        one.evening_minutes, one.lids_at_home = told.evening_minutes, told.lids_at_home
        one.is_counted = told.is_counted
    for wish in YearlyWish.objects.filter(kitchen__in=kitchens).in_order():
        found[wish.kitchen_id].wishes.append(wish)
    by_place: dict[int, Reading] = {}
    belongs = households_by_person(kitchens)
    for key, places in household_places(kitchens, belongs).items():
        found[key].places = places
        by_place |= {place.pk: found[key] for place in places}
    _read_shelf(by_place)
    _read_used(by_place, now)
    _read_never_sealed(found, now)
    _read_in_halls(found, belongs)
    counts = Balance.objects.by_place([place for one in found.values() for place in one.places])
    for one in found.values():
        for place in one.places:
            for size, there in counts[place.pk].sizes.items():
                one.empties[size] = one.empties.get(size, 0) + there.empty
    return found


def _know(one: Reading, row: Mapping[str, Any]) -> Kept:
    pk, title, kind, produce = (row[name] for name in FACTS)
    one.recipes.setdefault(pk, KnownRecipe(pk, title, kind, unbarred(produce)))
    return Kept(pk, row["size"])


def _read_shelf(by_place: Mapping[int, Reading]) -> None:
    """Full jars by the ledger, as far as their batch's seals say that they are good: two queries.

    Where jars of a lot were called back, as many as those are taken off in each place: which of them stands where the
    ledger does not know, and a jar that may be one of them is not counted.
    """
    full = Balance.objects.there().filter(place__in=list(by_place), state=JarState.FULL)
    called_back = Q(pk__in=Jar.objects.recalled().kept().values("pk"))
    jars = Jar.objects.filter(batch__in=full.values("batch")).order_by().values("batch", "size")
    counted = jars.annotate(
        good=Count("pk", filter=GOOD & ~called_back),
        unseen=Count("pk", filter=Q(disposal="") & ~called_back),
        back=Count("pk", filter=called_back),
    )
    left = {(row["batch"], row["size"]): (row["good"], row["unseen"], row["back"]) for row in counted}
    for row in full.order_by("place", "batch").values("place", "batch", "size", "count", *FACTS):
        one, key = by_place[row["place"]], (row["batch"], row["size"])
        sound, unseen, back = left.get(key, (0, 0, 0))
        doubtful = min(row["count"], back)
        here = min(row["count"] - doubtful, sound)
        waits = min(row["count"] - doubtful - here, unseen)
        left[key] = (sound - here, unseen - waits, back)
        one.full += row["count"]
        one.shelf[_know(one, row)] += here
        one.unseen += waits
        one.called_back += doubtful


def _uses() -> Q:
    return Q(reason__in=USED) | Q(reason=Reason.CORRECTED, corrects__reason__in=USED)


def _read_used(by_place: Mapping[int, Reading], now: datetime) -> None:
    """Full jars opened or given away in the last twelve months, corrections taken into account: two queries."""
    moved = Movement.objects.filter(_uses(), at__gt=now - YEAR, at__lte=now).order_by()
    for side, sign in (("source", 1), ("target", -1)):
        rows = moved.filter(**{f"{side}__in": list(by_place), f"{side}_state": JarState.FULL})
        for row in rows.values(side, "size", *FACTS).annotate(n=Sum("count")):
            one = by_place[row[side]]
            one.used[_know(one, row)] += sign * row["n"]


def _read_never_sealed(found: Mapping[int, Reading], now: datetime) -> None:
    """Jars that never sealed and were eaten soon or thrown away: the ledger books them as emptied too."""
    rows = Jar.objects.filter(
        place__in=list(found),
        seal=Seal.UNSEALED,
        disposal__in=[Disposal.REFRIGERATE, Disposal.DISCARD],
        batch__checked_at__gt=now - YEAR,
    )
    for row in rows.order_by().values("place", "size", *FACTS).annotate(n=Count("pk")):
        one = found[row["place"]]
        one.never_sealed[_know(one, row)] += row["n"]


def _read_in_halls(found: Mapping[int, Reading], belongs: Mapping[int, int]) -> None:
    full = Balance.objects.there().filter(
        place__kitchen__is_hall=True, state=JarState.FULL, batch__made_by__in=list(belongs)
    )
    for person, count in full.order_by().values_list("batch__made_by").annotate(n=Sum("count")):
        found[belongs[person]].in_halls += count


def shelf_changes(places: Iterable[Place], *, now: datetime) -> dict[date, int]:
    """Full jars more or fewer in each of the last thirteen months: by its first day, on the club's calendar."""
    zone, keys = timezone.get_default_timezone(), [place.pk for place in places]
    changes: dict[date, int] = defaultdict(int)
    since = now - YEAR - timedelta(days=62)
    for side, sign in (("source", -1), ("target", 1)):
        rows: QuerySet[Movement] = Movement.objects.filter(
            at__gt=since, **{f"{side}__in": keys, f"{side}_state": JarState.FULL}
        )
        months = rows.order_by().annotate(month=TruncMonth("at", tzinfo=zone)).values("month").annotate(n=Sum("count"))
        for row in months:
            changes[row["month"].date()] += sign * row["n"]
    return dict(changes)
