"""Writes of the season: a household's wishes and settings, and jars that left its shelf."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from club.desk.models import HouseholdSeason, YearlyWish, households_of
from club.desk.season_reading import household_places, households_by_person
from club.members.models import Kitchen, User
from inventory.batches.models import Jar
from inventory.jars.choices import JarState, PlaceKind, Reason
from inventory.jars.models import Balance, Movement, Place
from inventory.jars.services import NotEnough, jars_move, outside_place
from inventory.jars.services.ledger import count_check, part_token
from recipes.choices import JARS
from recipes.engine.terms import Canner
from recipes.models import Recipe, search_key

MOST_JARS = 999
MOST_LOTS = 50
USES = (Reason.EMPTIED.value, Reason.GIVEN.value)


def household_check(by: User, kitchen: Kitchen) -> None:
    """PermissionDenied for somebody whose kitchen it is not."""
    if not households_of(by).filter(pk=kitchen.pk).exists():
        raise PermissionDenied


@transaction.atomic
def wish_set(
    *,
    by: User,
    kitchen: Kitchen,
    jar_size: str,
    jars: int,
    recipe: Recipe | None = None,
    kind: str = "",
    produce: str = "",
    canner: str = "",
) -> YearlyWish:
    """The household goes through so many jars a year. Said again of the same thing and size, the number is changed.

    For a recipe, or for a kind of some produce. PermissionDenied; ValidationError by field.
    """
    household_check(by, kitchen)
    _wish_check(recipe, kind, produce, jar_size, jars, canner)
    what = {"recipe": recipe, "kind": "", "produce": ""}
    if recipe is None:
        what = {"recipe": None, "kind": kind, "produce": " ".join(search_key(produce).split())}
    same = {"kitchen": kitchen, "jar_size": jar_size, **what}
    told = {"jars": jars, "canner": canner}
    if YearlyWish.objects.filter(**same).update(**told) != 1:
        try:
            with transaction.atomic():
                return YearlyWish.objects.create(**same, **told)
        except IntegrityError:  # somebody of the household said it at the same moment
            YearlyWish.objects.filter(**same).update(**told)
    return YearlyWish.objects.get(**same)


def _wish_check(recipe: Recipe | None, kind: str, produce: str, jar_size: str, jars: int, canner: str) -> None:
    problems = {}
    if (recipe is None) == (not (kind and produce.strip())):
        problems["recipe"] = _("Choose a recipe, or a kind and its produce, and not both.")
    if recipe is not None and recipe.current_id is None:
        problems["recipe"] = _("This recipe is not published, so nothing can be planned from it.")
    if len(produce) > 80 or len(kind) > 40:
        problems["produce"] = _("At most %(n)s characters, please.") % {"n": 80}
    if jar_size not in JARS:
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
def wish_count(*, by: User, wish: YearlyWish, jars: int) -> None:
    """The same wish with another number."""
    household_check(by, wish.kitchen)
    _wish_check(wish.recipe, wish.kind, wish.produce, wish.jar_size, jars, wish.canner)
    YearlyWish.objects.filter(pk=wish.pk).update(jars=jars)


@transaction.atomic
def wish_drop(*, by: User, wish: YearlyWish) -> None:
    household_check(by, wish.kitchen)
    YearlyWish.objects.filter(pk=wish.pk).delete()


@transaction.atomic
def household_set(
    *, by: User, kitchen: Kitchen, evening_minutes: int, lids_at_home: int, is_counted: bool
) -> HouseholdSeason:
    """How long an evening is, how many lids lie at home, and whether the club counts this household in."""
    household_check(by, kitchen)
    if not 30 <= evening_minutes <= 900:
        raise ValidationError({"evening_minutes": _("An evening has from half an hour to 15 hours.")})
    count_check(lids_at_home, least=0, field="lids_at_home")
    told = {"evening_minutes": evening_minutes, "lids_at_home": lids_at_home, "is_counted": is_counted}
    return HouseholdSeason.objects.update_or_create(kitchen=kitchen, defaults=told)[0]


@transaction.atomic
def jars_used(
    *,
    by: User,
    kitchen: Kitchen,
    what: str,
    recipe_id: int,
    size: str,
    count: int,
    token: UUID,
    now: datetime | None = None,
) -> list[Movement]:
    """Full jars left the shelf: opened (`what` "emptied") or given away ("given"). The oldest lot goes first.

    Only from places that are this person's to use. The same `token` again finds the movements made the first time;
    NotEnough where there are fewer, and nothing is written then.
    """
    household_check(by, kitchen)
    count_check(count)
    if what not in USES:
        raise ValidationError({"what": _("Say whether the jars were opened or given away.")})
    if before := _used_before(by, token):
        return before
    rows = _rows(by, kitchen, recipe_id, size)
    there = sum(row.count for row in rows)
    if there < count:
        text = _("There are %(there)s good ones of these on your shelf, not %(wanted)s.")
        raise NotEnough(text % {"there": there, "wanted": count}, there=there)
    movements: list[Movement] = []
    for row in rows:
        here = min(row.count, count)
        if here:
            movements.append(_out(by, row, what, here, part_token(token, f"lot {len(movements)}"), now))
            count -= here
    return movements


def _used_before(by: User, token: UUID) -> list[Movement]:
    tokens = [part_token(token, f"lot {number}") for number in range(MOST_LOTS)]
    return list(Movement.objects.filter(token__in=tokens, by=by).order_by("pk"))


def _rows(by: User, kitchen: Kitchen, recipe_id: int, size: str) -> list[Balance]:
    """Full jars of the recipe on the household's shelves that this person may move, the oldest batch first."""
    places = household_places([kitchen], households_by_person([kitchen]))[kitchen.pk]
    mine = Place.objects.usable_by(by).filter(pk__in=[place.pk for place in places])
    rows = Balance.objects.there().filter(
        place__in=mine.values("pk"), size=size, state=JarState.FULL, batch__revision__recipe=recipe_id
    )
    # Nobody eats from a lot that was called back, nor gives it away: its own page says what becomes of it.
    rows = rows.exclude(batch__in=Jar.objects.recalled().values("batch"))
    ordered = rows.select_related("place").order_by("batch__jars_out_at", "batch", "place")
    return list(ordered[:MOST_LOTS])


def _out(by: User, row: Balance, what: str, count: int, token: UUID, now: datetime | None) -> Movement:
    target = row.place if what == Reason.EMPTIED else outside_place(PlaceKind.GIVEN_AWAY)
    return jars_move(
        by=by,
        reason=what,
        size=row.size,
        count=count,
        source=row.place,
        target=target,
        token=token,
        state=JarState.FULL,
        batch_id=row.batch_id,
        now=now,
    )
