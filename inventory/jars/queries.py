"""Reads of the jar room: who may see which place, what stands there, and what moved lately."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING

from django.db import models
from django.db.models import Q, Sum
from django.db.models.functions import Coalesce, Lower

from club.members.models import Kitchen, User
from inventory.jars.words import INSIDE, JarState, PlaceKind
from recipes.engine.quantities import JAR_SIZES

if TYPE_CHECKING:
    from inventory.jars.models import Balance, Deposit, Movement, Place, Supply, SupplyLot  # noqa: F401

KEEP = "jars.keep_ledger"


@dataclass
class Counts:
    """Jars by state; `sizes` in the order of the shelf."""

    empty: int = 0
    full: int = 0
    chipped: int = 0
    sizes: dict[str, Counts] = field(default_factory=dict)

    def add(self, state: str, count: int) -> None:
        setattr(self, state, getattr(self, state) + count)

    @property
    def total(self) -> int:
        return self.empty + self.full + self.chipped


class PlaceQuerySet(models.QuerySet["Place"]):
    def inside(self) -> PlaceQuerySet:
        return self.filter(kind__in=INSIDE)

    def usable_by(self, user: User) -> PlaceQuerySet:
        """The gate: one's own place and kitchens; who keeps the ledger sees every place inside the club."""
        inside = self.inside().select_related("kitchen", "person")
        if user.has_perm(KEEP):
            return inside
        return inside.filter(Q(person=user) | Q(kitchen__in=Kitchen.objects.filter(people=user)))

    def in_order(self) -> PlaceQuerySet:
        """The store, then kitchens, then members, each by name."""
        rank = models.Case(
            models.When(kind=PlaceKind.STORE, then=0), models.When(kind=PlaceKind.KITCHEN, then=1), default=2
        )
        return self.order_by(rank, Coalesce("kitchen__name", "person__name"), "pk")


class BalanceQuerySet(models.QuerySet["Balance"]):
    def there(self) -> BalanceQuerySet:
        """What stands somewhere inside the club: no zero rows, no outside accounts."""
        return self.filter(is_inside=True).exclude(count=0)

    def called_back(self) -> BalanceQuerySet:
        """Full jars of a lot that somebody may hold a recalled jar of: of a withdrawn revision, or of a revision, lot
        or lid lot whose recall was not cleared. The rooms above are named by words here, and not imported."""
        called = Q(batch__revision__state="withdrawn")
        for subject in ("batch", "batch__revision", "batch__jars__lid_lot"):
            called |= Q(**{f"{subject}__recalls__is_cleared": False})
        return self.filter(called)

    def sums_by_size(self) -> dict[str, int]:
        """Over all places, the outside ones included: always zero for every size."""
        rows = self.order_by().values("size").annotate(n=Sum("count"))
        return {row["size"]: row["n"] for row in rows}

    def totals(self) -> Counts:
        """Jars inside the club by size and state, in one query."""
        rows = self.there().order_by().values("size", "state").annotate(n=Sum("count"))
        return _counted((row["size"], row["state"], row["n"]) for row in rows)

    def by_place(self, places: Sequence[Place]) -> dict[int, Counts]:
        """The counts of each of these places, in one query."""
        rows = (
            self.there().filter(place__in=places).order_by().values("place", "size", "state").annotate(n=Sum("count"))
        )
        found: defaultdict[int, list[tuple[str, str, int]]] = defaultdict(list)
        for row in rows:
            found[row["place"]].append((row["size"], row["state"], row["n"]))
        return {place.pk: _counted(found[place.pk]) for place in places}


def _counted(rows: Iterable[tuple[str, str, int]]) -> Counts:
    whole, by_size = Counts(), defaultdict[str, Counts](Counts)
    for size, state, count in rows:
        whole.add(state, count)
        by_size[size].add(state, count)
    whole.sizes = {size: by_size[size] for size in JAR_SIZES if size in by_size}
    return whole


class MovementQuerySet(models.QuerySet["Movement"]):
    def for_list(self) -> MovementQuerySet:
        return self.select_related(
            "source__kitchen", "source__person", "target__kitchen", "target__person", "batch", "by", "corrected_by"
        ).defer("batch__plan", "corrected_by__note")

    def before(self, pk: int | None) -> MovementQuerySet:
        """By the key and not by an offset: the thousandth page costs what the first does."""
        rows = self.order_by("-pk")
        return rows if pk is None else rows.filter(pk__lt=pk)

    def at_place(self, place: Place, *, before: int | None, limit: int) -> list[Movement]:
        """The latest of a place. Two index walks: one query over "out or in" would sort all of a million."""
        keys: set[int] = set()
        for side in ("source", "target"):
            keys.update(self.filter(**{side: place}).before(before).values_list("pk", flat=True)[:limit])
        return list(self.for_list().filter(pk__in=sorted(keys, reverse=True)[:limit]).order_by("-pk"))


class DepositQuerySet(models.QuerySet["Deposit"]):
    def open(self) -> DepositQuerySet:
        return self.filter(jars__gt=0).select_related("person").order_by("person__name", "person", "size")


class SupplyQuerySet(models.QuerySet["Supply"]):
    def in_order(self) -> SupplyQuerySet:
        """Said again after counting, which drops the model's own order."""
        return self.order_by(Lower("name"), "pk")

    def with_counts(self, today: date) -> SupplyQuerySet:
        """How many can be used today, and how many are past their date."""
        fresh = Q(lots__use_by=None) | Q(lots__use_by__gte=today)
        return self.annotate(
            usable=Coalesce(Sum("lots__count", filter=fresh), 0),
            past=Coalesce(Sum("lots__count", filter=Q(lots__use_by__lt=today)), 0),
        )


def is_low(supply: Supply) -> bool:
    """Of a row of `with_counts`: too little is left that can be used."""
    usable: int = supply.usable  # type: ignore[attr-defined]
    return usable <= supply.low_level


class SupplyLotQuerySet(models.QuerySet["SupplyLot"]):
    def there(self) -> SupplyLotQuerySet:
        return self.filter(count__gt=0)

    def use_first(self) -> SupplyLotQuerySet:
        """The earliest use-by first; what has none, last."""
        return self.order_by(models.F("use_by").asc(nulls_last=True), "pk")

    def past(self, today: date) -> SupplyLotQuerySet:
        return self.there().filter(use_by__lt=today)


__all__ = ["KEEP", "Counts", "JarState"]
