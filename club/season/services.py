"""The season: what a household says of its year, what its books hold, and how a pot of each recipe is cooked."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple
from uuid import UUID

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Count, Exists, Max, OuterRef, Q, QuerySet, Sum
from django.db.models.functions import ExtractWeek, TruncMonth
from django.utils import timezone
from django.utils.translation import gettext as _

from club.core.ledger import part_token
from club.members.models import HouseholdMember, Kitchen, User
from club.season.harvest import WEEKS, Published, Weeks, calendar_word, counted_weeks, published, regions
from club.season.models import (
    KEPT_KINDS,
    MOST_AT_ONCE,
    SET_HARVEST,
    SIZES,
    ClubRegion,
    ClubSummary,
    HarvestWeeks,
    HouseholdSeason,
    YearlyTarget,
    households_counted,
    households_of,
)
from inventory.batches.choices import BatchState, Container, Disposal, Seal, Way
from inventory.batches.models import Batch, ContainerUse, Jar, JarQuerySet, LotTaken
from inventory.batches.services import containers_use, keeping_names
from inventory.fruit.choices import FruitState, OfferStage
from inventory.fruit.models import FreezerItem, FreezerState, FreezerTaking, Offer
from inventory.fruit.services import takes_thawed
from inventory.jars.choices import JarState, PlaceKind, Reason
from inventory.jars.models import Balance, Movement, Place
from inventory.jars.services import NotEnough, count_check, jars_move, outside_place
from recipes.choices import JARS, PACKS
from recipes.engine import Plan
from recipes.engine.terms import Altitude, Canner, Pack, Refusal
from recipes.models import Recipe, Revision, unbarred
from recipes.search import food_words, search_key
from recipes.services import plan_for
from recipes.shopping import fruit_grams

# Writes: a household's targets and settings, and jars that left its shelf.

USED = (Reason.EMPTIED, Reason.GIVEN)  # what broke was not used
MOST_JARS = 999
MOST_LOTS = 50


def household_check(by: User, kitchen: Kitchen) -> None:
    """PermissionDenied for somebody whose kitchen it is not."""
    if not households_of(by).filter(pk=kitchen.pk).exists():
        raise PermissionDenied


@transaction.atomic
def target_set(
    *,
    by: User,
    kitchen: Kitchen,
    jar_size: str,
    jars: int,
    recipe: Recipe | None = None,
    kind: str = "",
    produce: str = "",
    canner: str = "",
) -> YearlyTarget:
    """The household goes through so many jars a year. Said again of the same thing and size, the number is changed.

    For a recipe, or for a kind of some produce. PermissionDenied; ValidationError by field.
    """
    household_check(by, kitchen)
    _target_check(recipe, kind, produce, jar_size, jars, canner)
    what = {"recipe": recipe, "kind": "", "produce": ""}
    if recipe is None:
        what = {"recipe": None, "kind": kind, "produce": " ".join(search_key(produce).split())}
    same = {"kitchen": kitchen, "jar_size": jar_size, **what}
    changes = {"jars": jars, "canner": canner}
    if YearlyTarget.objects.filter(**same).update(**changes) != 1:
        try:
            with transaction.atomic():
                return YearlyTarget.objects.create(**same, **changes)
        except IntegrityError:  # somebody of the household said it at the same moment
            YearlyTarget.objects.filter(**same).update(**changes)
    return YearlyTarget.objects.get(**same)


def _target_check(recipe: Recipe | None, kind: str, produce: str, jar_size: str, jars: int, canner: str) -> None:
    problems = {}
    if (recipe is None) == (not (kind and produce.strip())):
        problems["recipe"] = _("Choose a recipe, or a kind and its produce, and not both.")
    if recipe is not None and recipe.current_id is None:
        problems["recipe"] = _("This recipe is not published, so nothing can be planned from it.")
    if len(produce) > 80 or len(kind) > 40:
        problems["produce"] = _("At most %(n)s characters, please.") % {"n": 80}
    if jar_size not in (SIZES if kind in KEPT_KINDS else JARS):
        problems["jar_size"] = _("Choose the size of the jars.")
    if not 1 <= jars <= MOST_JARS:
        problems["jars"] = _("Give a number from 1 to %(most)s; take the wish out if there is none.") % {
            "most": MOST_JARS
        }
    if canner and canner not in list(Canner):
        problems["canner"] = _("Choose a canner.")
    if problems:
        raise ValidationError(problems)


@transaction.atomic
def target_recount(*, by: User, target: YearlyTarget, jars: int) -> None:
    """The same target with another number."""
    household_check(by, target.kitchen)
    _target_check(target.recipe, target.kind, target.produce, target.jar_size, jars, target.canner)
    YearlyTarget.objects.filter(pk=target.pk).update(jars=jars)


@transaction.atomic
def target_remove(*, by: User, target: YearlyTarget) -> None:
    household_check(by, target.kitchen)
    YearlyTarget.objects.filter(pk=target.pk).delete()


@transaction.atomic
def household_set(
    *, by: User, kitchen: Kitchen, evening_minutes: int, lids_at_home: int, is_counted: bool, evening_days: str = ""
) -> HouseholdSeason:
    """How long an evening is and on which weekdays ("56": Friday and Saturday; empty: as it was), how many lids lie at
    home, and whether the club counts this household in."""
    household_check(by, kitchen)
    if not 30 <= evening_minutes <= 900:
        raise ValidationError({"evening_minutes": _("An evening has from half an hour to 15 hours.")})
    count_check(lids_at_home, least=0, field="lids_at_home")
    if evening_days.strip("1234567"):
        raise ValidationError({"evening_days": _("These are no days of a week.")})
    settings: dict[str, Any] = {
        "evening_minutes": evening_minutes,
        "lids_at_home": lids_at_home,
        "is_counted": is_counted,
    }
    if evening_days:
        settings["evening_days"] = "".join(sorted(set(evening_days)))
    return HouseholdSeason.objects.update_or_create(kitchen=kitchen, defaults=settings)[0]


# When produce is ripe where the club is.


@transaction.atomic
def region_set(*, by: User, region: str) -> ClubRegion:
    """Where the club is. The same region again adds nothing."""
    if not by.has_perm(SET_HARVEST):
        raise PermissionDenied
    if region not in regions():
        raise ValidationError({"region": _("No calendar of this region is here.")})
    now = ClubRegion.objects.now()
    return now if now and now.region == region else ClubRegion.objects.create(region=region, set_by=by)


@transaction.atomic
def harvest_correct(
    *, by: User, produce: str, first_week: int | None, last_week: int | None, note: str = ""
) -> HarvestWeeks:
    """One more row of this produce, which holds from now on; without weeks the calendar's hold again."""
    if not by.has_perm(SET_HARVEST):
        raise PermissionDenied
    if not produce:
        raise ValidationError({"produce": _("Say of what.")})
    if (first_week is None) != (last_week is None):
        field = "first_week" if first_week is None else "last_week"
        raise ValidationError({field: _("Give both weeks, or neither.")})
    for field, week in (("first_week", first_week), ("last_week", last_week)):
        if week is not None and not 1 <= week <= WEEKS:
            raise ValidationError({field: _("A year has 52 weeks.")})
    return HarvestWeeks.objects.create(
        produce=produce, first_week=first_week, last_week=last_week, note=note, set_by=by
    )


class Harvests:
    """What is ripe when, here: the corrected weeks of a produce, else those of the region's calendar. Two queries."""

    def __init__(self) -> None:
        self.chosen = ClubRegion.objects.now()
        self.region = self.chosen.known if self.chosen else None
        self.lines: Mapping[str, tuple[Published, ...]] = published(self.region.key) if self.region else {}
        self.corrected = HarvestWeeks.objects.now()

    @property
    def british_first(self) -> bool:
        return self.region is not None and self.region.key == "england"

    def word(self, produce: str) -> str:
        """The calendar's word for what a recipe names; "" where it has none."""
        return calendar_word(produce, {*self.lines, *self.corrected})

    def of(self, produce: str) -> tuple[Weeks, ...]:
        """Nothing where neither knows it."""
        word = self.word(produce)
        row = self.corrected.get(word)
        if row is not None and row.weeks is not None:
            return (row.weeks,)
        return counted_weeks(self.lines[word]) if word in self.lines else ()


def produce_to_correct(harvests: Harvests) -> list[tuple[str, str]]:
    """What the calendar and the published recipes name, by name."""
    named = Recipe.objects.published().values_list("produce", flat=True)
    foods = {food for words in named for food in unbarred(words)} | {*harvests.lines, *harvests.corrected}
    return [(food, food_words(food, harvests.british_first)) for food in sorted(foods)]


def weeks_seen() -> dict[str, Counter[int]]:
    """By produce, how often each ISO week had fresh fruit offered or a batch of it begun. Two queries.

    Batches of one produce alone, and none that took of a freezer or was given up.
    """
    frozen = LotTaken.objects.filter(batch=OuterRef("pk"), freezer_item__isnull=False, taken_back_at=None)
    offers = (
        Offer.objects.filter(state=FruitState.FRESH)
        .exclude(stage=OfferStage.TAKEN_BACK)
        .annotate(week=ExtractWeek("created_at"))
        .order_by()
        .values_list("produce", "week")
        .annotate(n=Count("pk"))
    )
    batches = (
        Batch.objects.filter(~Exists(frozen), way=Way.RECIPE, revision__isnull=False)
        .exclude(state=BatchState.ABANDONED)
        .annotate(week=ExtractWeek("started_at"))
        .order_by()
        .values_list("revision__recipe__produce", "week")
        .annotate(n=Count("pk"))
    )
    found: dict[str, Counter[int]] = defaultdict(Counter)
    for produce, week, n in offers:
        found[produce][min(week, WEEKS)] += n
    for words, week, n in batches:
        foods = unbarred(words)
        if len(foods) == 1:
            found[foods[0]][min(week, WEEKS)] += n
    return found


SUMMED_UP_EVERY = timedelta(hours=1)


def club_sum_up(*, reckon: Callable[[Sequence[Kitchen]], dict[str, Any]], now: datetime) -> bool:
    """Keep what `reckon` makes of the households that are counted, where they are too many to ask for each page.

    Once an hour, whoever asks and however often: who moves the hour on reckons. Whether it was done.
    """
    kitchens = list(households_counted())
    if len(kitchens) <= MOST_AT_ONCE:
        return False
    ClubSummary.objects.get_or_create(pk=1, defaults={"next_at": now})
    if ClubSummary.objects.filter(pk=1, next_at__lte=now).update(next_at=now + SUMMED_UP_EVERY) != 1:
        return False
    ClubSummary.objects.filter(pk=1).update(made_at=now, sums=reckon(kitchens))
    return True


@transaction.atomic
def jars_used(
    *,
    by: User,
    kitchen: Kitchen,
    what: str,
    size: str,
    count: int,
    token: UUID,
    recipe_id: int = 0,
    food: str = "",
    now: datetime | None = None,
) -> Sequence[Movement | ContainerUse]:
    """Full jars left the shelf: opened (`what` "emptied") or given away ("given"). The oldest lot goes first.

    Of a recipe, or of a `food` that was kept in stages ("ferment/sauerkraut"), in jars or in containers of no process.
    Only from places that are this person's to use. The same `token` again finds the movements made the first time;
    NotEnough where there are fewer, and nothing is written then.
    """
    household_check(by, kitchen)
    count_check(count)
    if what not in USED:
        raise ValidationError({"what": _("Say whether the jars were opened or given away.")})
    if size in Container.values:
        full = _containers([kitchen], households_by_person([kitchen])).filter(size=size, **_batch_of(recipe_id, food))
        return containers_use(by=by, among=full, count=count, what=what, token=token, now=now)
    tokens = [part_token(token, f"lot {number}") for number in range(MOST_LOTS)]
    if before := list(Movement.objects.filter(token__in=tokens, by=by).order_by("pk")):
        return before
    rows = _shelf_of(by, kitchen, recipe_id, food, size)
    there = sum(row.count for row in rows)
    if there < count:
        text = _("There are %(there)s good ones of these on your shelf, not %(wanted)s.")
        raise NotEnough(text % {"there": there, "wanted": count}, there=there)
    movements: list[Movement] = []
    for row in rows:
        here = min(row.count, count)
        if not here:
            continue
        movements.append(
            jars_move(
                by=by,
                reason=what,
                size=row.size,
                count=here,
                source=row.place,
                target=row.place if what == Reason.EMPTIED else outside_place(PlaceKind.GIVEN_AWAY),
                token=tokens[len(movements)],
                state=JarState.FULL,
                batch_id=row.batch_id,
                now=now,
            )
        )
        count -= here
    return movements


def _containers(kitchens: Sequence[Kitchen], belongs: Mapping[int, int]) -> JarQuerySet:
    """Containers of these households, full or not; one that was filled in a hall is its maker's."""
    return Jar.objects.filter(Q(place__in=kitchens) | Q(place__is_hall=True, batch__made_by__in=list(belongs)))


def _shelf_of(by: User, kitchen: Kitchen, recipe_id: int, food: str, size: str) -> list[Balance]:
    """Full jars of the recipe or food on the household's shelves that this person may move, the oldest batch first."""
    places = household_places([kitchen], households_by_person([kitchen]))[kitchen.pk]
    mine = Place.objects.usable_by(by).filter(pk__in=[place.pk for place in places])
    rows = Balance.objects.there().filter(
        place__in=mine.values("pk"), size=size, state=JarState.FULL, **_batch_of(recipe_id, food)
    )
    # Nobody eats from a lot that was called back, nor gives it away: its own page says what becomes of it.
    rows = rows.exclude(batch__in=Jar.objects.recalled().values("batch"))
    ordered = rows.select_related("place").order_by("batch__jars_out_at", "batch", "place")
    return list(ordered[:MOST_LOTS])


def _batch_of(recipe_id: int, food: str) -> dict[str, Any]:
    if not food:
        return {"batch__revision__recipe": recipe_id}
    way, _slash, key = food.partition("/")
    return {"batch__revision": None, "batch__way": way, "batch__food": key}


# What a season is calculated from: targets, jars on the shelf, jars that left it, empties. Reads for many households
# at once, in a number of queries that does not grow with them.

YEAR = timedelta(days=365)
# Good to eat from the shelf, or kept cold on purpose. A jar nobody has looked at yet is neither.
GOOD = (
    Q(seal=Seal.SEALED, disposal__in=["", Disposal.SHELF], set_aside=None)
    | Q(seal__in=[Seal.NONE, Seal.UNSEALED], disposal=Disposal.FREEZE)
    | Q(seal=Seal.NONE, disposal=Disposal.REFRIGERATE)
)
RECIPE = "batch__revision__recipe"
OF_A_FOOD = ("batch__way", "batch__food", "batch__food_title")
OF_NO_RECIPE = 0  # no recipe's key
FACTS = (RECIPE, f"{RECIPE}__title", f"{RECIPE}__kind", f"{RECIPE}__produce", *OF_A_FOOD)


class Kept(NamedTuple):
    """Jars are told apart by size and recipe; what was kept in stages by its food, "ferment/sauerkraut"."""

    recipe: int
    size: str
    food: str = ""

    @property
    def made_of(self) -> int | str:
        return self.food or self.recipe


@dataclass(frozen=True)
class KnownRecipe:
    pk: int
    title: str
    kind: str
    produce: tuple[str, ...]

    def answers(self, target: YearlyTarget) -> bool:
        if target.recipe_id is not None:
            return target.recipe_id == self.pk
        return target.kind == self.kind and target.produce in self.produce


@dataclass
class ContainerDates:
    """Of containers of one food and kind that stand together: the first to pass its date, and where they are."""

    best_by: date | None = None
    is_cold: bool = False


@dataclass
class Reading:
    """One household as the books have it, in jars.

    `full` are all that are full; `unseen` of them wait for a look at their seals, `called_back` are of a recalled lot
    or a withdrawn revision, and neither is on the shelf. `in_halls` are of batches that its people made and stand in a
    hall still, so they are not on its shelf.
    """

    kitchen: Kitchen
    household: HouseholdSeason
    places: list[Place] = field(default_factory=list)
    targets: list[YearlyTarget] = field(default_factory=list)
    shelf: Counter[Kept] = field(default_factory=Counter)
    used: Counter[Kept] = field(default_factory=Counter)
    never_sealed: Counter[Kept] = field(default_factory=Counter)
    empties: dict[str, int] = field(default_factory=dict)
    full: int = 0
    unseen: int = 0
    called_back: int = 0
    in_halls: int = 0
    # By the recipe's key, or by the food that was kept in stages.
    recipes: dict[int | str, KnownRecipe] = field(default_factory=dict)
    oldest: dict[Kept, datetime] = field(default_factory=dict)  # when the oldest jar on the shelf left its canner
    containers: dict[Kept, ContainerDates] = field(default_factory=dict)
    # Bags and boxes in the freezer, whose own list takes them out: they count for targets and stand on no shelf.
    in_freezer: Counter[Kept] = field(default_factory=Counter)
    out_of_freezer: Counter[Kept] = field(default_factory=Counter)

    def target_of(self, kept: Kept) -> YearlyTarget | None:
        """The target that these jars count for: one for their recipe first, else for their kind. Never two."""
        recipe = self.recipes[kept.made_of]
        found = [target for target in self.targets if target.jar_size == kept.size and recipe.answers(target)]
        return min(found, key=lambda target: (target.recipe_id is None, target.pk), default=None)

    def counted(self, counts: Mapping[Kept, int]) -> dict[int | None, int]:
        """Jars by the target they count for; under None those that no target names."""
        sums: dict[int | None, int] = defaultdict(int)
        for kept, count in counts.items():
            target = self.target_of(kept)
            sums[target.pk if target else None] += count
        return sums


def households_by_person(kitchens: Sequence[Kitchen]) -> dict[int, int]:
    """The people of these kitchens, each with their first kitchen: nobody's jars count twice."""
    people = HouseholdMember.objects
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
    households = {one.kitchen_id: one for one in HouseholdSeason.objects.filter(kitchen__in=kitchens)}
    found = {
        kitchen.pk: Reading(kitchen, households.get(kitchen.pk) or HouseholdSeason(kitchen=kitchen))
        for kitchen in kitchens
    }
    for target in YearlyTarget.objects.filter(kitchen__in=kitchens).in_order():
        found[target.kitchen_id].targets.append(target)
    by_place: dict[int, Reading] = {}
    belongs = households_by_person(kitchens)
    for key, places in household_places(kitchens, belongs).items():
        found[key].places = places
        by_place |= {place.pk: found[key] for place in places}
    _read_shelf(by_place)
    _read_used(by_place, now)
    _read_never_sealed(found, now)
    _read_in_halls(found, belongs)
    _read_containers(found, belongs, now)
    _read_frozen(found, now)
    counts = Balance.objects.by_place([place for one in found.values() for place in one.places])
    for one in found.values():
        for place in one.places:
            for size, there in counts[place.pk].sizes.items():
                one.empties[size] = one.empties.get(size, 0) + there.empty
    return found


def _know(one: Reading, row: Mapping[str, Any]) -> Kept:
    pk, title, kind, produce, way, key, food_title = (row[name] for name in FACTS)
    if pk is not None:
        one.recipes.setdefault(pk, KnownRecipe(pk, title, kind, unbarred(produce)))
        return Kept(pk, row["size"])
    food = f"{way}/{key}"
    if food not in one.recipes:
        names = tuple(" ".join(search_key(name).split()) for name in keeping_names(way, key))
        one.recipes[food] = KnownRecipe(OF_NO_RECIPE, food_title, way, names)
    return Kept(OF_NO_RECIPE, row["size"], food)


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
    columns = ("place", "batch", "size", "count", "batch__jars_out_at", *FACTS)
    for row in full.order_by("place", "batch").values(*columns):
        one, key = by_place[row["place"]], (row["batch"], row["size"])
        sound, unseen, back = left.get(key, (0, 0, 0))
        doubtful = min(row["count"], back)
        here = min(row["count"] - doubtful, sound)
        waits = min(row["count"] - doubtful - here, unseen)
        left[key] = (sound - here, unseen - waits, back)
        one.full += row["count"]
        kept = _know(one, row)
        one.shelf[kept] += here
        if here and (out := row["batch__jars_out_at"]):
            one.oldest[kept] = min(out, one.oldest.get(kept, out))
        one.unseen += waits
        one.called_back += doubtful


def _read_used(by_place: Mapping[int, Reading], now: datetime) -> None:
    """Full jars opened or given away in the last twelve months, corrections taken into account: two queries."""
    uses = Q(reason__in=USED) | Q(reason=Reason.CORRECTED, corrects__reason__in=USED)
    moved = Movement.objects.filter(uses, at__gt=now - YEAR, at__lte=now).order_by()
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


def _read_containers(found: Mapping[int, Reading], belongs: Mapping[int, int], now: datetime) -> None:
    """Containers of what was kept in stages: full ones, those opened or given away in the last twelve months, and those
    that were called back. One query."""
    theirs = _containers([one.kitchen for one in found.values()], belongs).filter(size__in=Container.values)
    back = Q(pk__in=Jar.objects.recalled().values("pk"))
    is_full = Q(use=None, disposal__in=[Disposal.SHELF, Disposal.REFRIGERATE])
    dates = ("batch__jars_out_at", "batch__best_by", "disposal")
    rows = theirs.filter(batch__state=BatchState.KEPT).order_by()
    for row in rows.values("place", "batch__made_by", "size", *dates, *FACTS).annotate(
        full=Count("pk", filter=is_full & Q(set_aside=None) & ~back),
        back=Count("pk", filter=is_full & back),
        used=Count("pk", filter=Q(use__at__gt=now - YEAR, use__at__lte=now)),
    ):
        one = found.get(row["place"]) or found[belongs[row["batch__made_by"]]]
        one.called_back += row["back"]
        if not row["full"] and not row["used"]:
            continue
        kept = _know(one, row)
        one.used[kept] += row["used"]
        if row["full"]:
            one.shelf[kept] += row["full"]
            one.oldest[kept] = min(row["batch__jars_out_at"], one.oldest.get(kept, row["batch__jars_out_at"]))
            there = one.containers.setdefault(kept, ContainerDates(row["batch__best_by"]))
            there.best_by = min(filter(None, (there.best_by, row["batch__best_by"])), default=None)
            there.is_cold = row["disposal"] == Disposal.REFRIGERATE


def _read_frozen(found: Mapping[int, Reading], now: datetime) -> None:
    """Bags and boxes of food that was frozen in stages: those left by the freezer's list, and those taken out of lots
    that something was taken of in the last twelve months. One query.

    The list counts no kinds of container apart: of a lot in several, the smaller kind is taken first.
    """
    taken = FreezerTaking.objects.filter(item=OuterRef("batch__freezer_item"), at__gt=now - YEAR, at__lte=now)
    rows = Jar.objects.filter(batch__freezer_item__kitchen__in=list(found), size__in=Container.values).order_by()
    good = Q(set_aside=None) & ~Q(disposal=Disposal.DISCARD) & ~Q(pk__in=Jar.objects.recalled().values("pk"))
    lot = ("batch__freezer_item__kitchen", "batch__freezer_item__bags_left")
    counted = rows.values("batch", "size", *lot, *FACTS).annotate(
        n=Count("pk"), good=Count("pk", filter=good), is_used=Exists(taken)
    )
    left: dict[int, int] = {}
    for row in sorted(counted, key=lambda one: -Container.values.index(one["size"])):
        there = left.setdefault(row["batch"], row["batch__freezer_item__bags_left"] or 0)
        here = min(row["n"], there)
        left[row["batch"]] = there - here
        one = found[row["batch__freezer_item__kitchen"]]
        kept = _know(one, row)
        one.in_freezer[kept] += min(here, row["good"])
        one.out_of_freezer[kept] += row["n"] - here if row["is_used"] else 0


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


def frozen_grams(kitchen: Kitchen) -> dict[str, int]:
    """Grams by produce, as recipes name it. No pot is weighed by juice, nor by fruit frozen with sugar."""
    lots = FreezerItem.objects.there().filter(kitchen=kitchen, state=FreezerState.FRUIT, with_sugar=False)
    return dict(lots.exclude(produce="").order_by().values_list("produce").annotate(grams=Sum("grams_left")))


# Which tested recipe a target is put up by, and what the engine says of a pot of it in this kitchen.

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
    """Plans each recipe once for an altitude, size, canner and evening, however many households ask."""

    def __init__(self) -> None:
        self._known: dict[tuple[object, ...], Cooking] = {}

    def cooking(self, revision: Revision | None, target: YearlyTarget, one: Reading) -> Cooking:
        if revision is None:
            return NO_RECIPE
        altitude = one.kitchen.altitude
        key = (revision.pk, altitude, target.jar_size, target.canner, one.household.evening_minutes)
        if key not in self._known:
            canner = Canner(target.canner) if target.canner else None
            self._known[key] = _cooking(revision, altitude, target.jar_size, canner, one.household.evening_minutes)
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
    """The revision each target is planned from, by the target's key, in three queries.

    A recipe's own; for a kind the recipe of it that the household made last, else the first by its title with jars of
    that size. None where nothing tested fits.
    """
    all_readings = list(found)
    targets = [(one, target) for one in all_readings for target in one.targets]
    kinds = {target.kind for _one, target in targets if target.recipe_id is None}
    offered = _offered(kinds)
    made = _made_last(all_readings, kinds)
    chosen: dict[int, int | None] = {}
    for one, target in targets:
        if target.recipe is not None:
            chosen[target.pk] = target.recipe.current_id
        else:
            chosen[target.pk] = _choose(target, offered, made.get(one.kitchen.pk, {}))
    keys = [key for key in chosen.values() if key is not None]
    revisions = {one.pk: one for one in Revision.objects.filter(pk__in=keys).select_related("recipe")}
    return {target: revisions.get(key) if key is not None else None for target, key in chosen.items()}


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
    last = rows.order_by().values_list("kitchen", "revision__recipe").annotate(at=Max("started_at"))
    made: dict[int, dict[int, object]] = {}
    for kitchen, recipe, at in last:
        made.setdefault(kitchen, {})[recipe] = at
    return made


def _choose(target: YearlyTarget, offered: Iterable[_Offered], made: Mapping[int, object]) -> int | None:
    fitting = [one for one in offered if one.recipe.answers(target) and target.jar_size in one.sizes]
    known = [one for one in fitting if one.recipe.pk in made]
    if known:
        return max(known, key=lambda one: (made[one.recipe.pk], -one.recipe.pk)).current
    return fitting[0].current if fitting else None
