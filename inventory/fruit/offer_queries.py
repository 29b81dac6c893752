"""Who may see which offers, claims and shares, and what the pages and the sharing ask of them."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from django.db import models
from django.db.models import Count, Exists, F, OuterRef, Q, Subquery, Sum
from django.db.models.functions import Coalesce
from django.utils import timezone

from club.core.clock import club_day
from club.members.models import User
from inventory.fruit.offer_words import STANDING, ClaimStage, OfferStage, ShareStage
from inventory.fruit.rules import season_of

if TYPE_CHECKING:
    from inventory.fruit.models import Claim, Offer, Share  # noqa: F401 - only names here, models import this module

RUN = "fruit.run_offers"


class OfferQuerySet(models.QuerySet["Offer"]):
    def visible_to(self, user: User) -> OfferQuerySet:
        """The gate: everybody sees what is offered; what was taken back only its giver, who claimed, and organisers."""
        if user.has_perm(RUN):
            return self
        from inventory.fruit.models import Claim

        mine = Q(giver=user) | Exists(Claim.objects.filter(offer=OuterRef("pk"), person=user))
        return self.filter(~Q(stage=OfferStage.TAKEN_BACK) | mine)

    def run_by(self, user: User) -> OfferQuerySet:
        """The gate for running one: its giver, and organisers."""
        return self if user.has_perm(RUN) else self.filter(giver=user)

    def claimable(self, now: datetime) -> OfferQuerySet:
        """Open for claims, or shared out with something left; with a pick-up window still ahead."""
        open_still = Q(stage=OfferStage.OPEN, closes_at__gt=now)
        has_left = Q(stage=OfferStage.SHARED, units__gt=F("shared") + F("kept"))
        return self.filter(open_still | has_left, self._window_ahead(now))

    def due_to_share(self, now: datetime) -> OfferQuerySet:
        """Claims have closed and nobody shared it out."""
        return self.filter(stage=OfferStage.OPEN, closes_at__lte=now)

    def spoils_first(self) -> OfferQuerySet:
        return self.order_by("use_by", "closes_at", "pk")

    def for_list(self, user: User) -> OfferQuerySet:
        """With its giver, its windows, how many claims it has and the person's own."""
        from inventory.fruit.models import Claim

        open_claims = Claim.objects.filter(offer=OuterRef("pk"), stage=ClaimStage.OPEN).order_by()
        return (
            self.select_related("giver")
            .prefetch_related("windows")
            .annotate(
                claims_count=Coalesce(
                    Subquery(open_claims.values("offer").annotate(n=Count("pk")).values("n")),
                    0,
                ),
                is_claimed=Exists(open_claims.filter(person=user)),
            )
        )

    @staticmethod
    def _window_ahead(now: datetime) -> Exists:
        from inventory.fruit.models import PickUpWindow

        return Exists(PickUpWindow.objects.filter(offer=OuterRef("pk"), ends_at__gt=now))


class ClaimQuerySet(models.QuerySet["Claim"]):
    def visible_to(self, user: User) -> ClaimQuerySet:
        """The gate: one's own, those on one's own offers, and all to organisers."""
        return self if user.has_perm(RUN) else self.filter(Q(person=user) | Q(offer__giver=user))

    def open(self) -> ClaimQuerySet:
        return self.filter(stage=ClaimStage.OPEN)


class ShareQuerySet(models.QuerySet["Share"]):
    def visible_to(self, user: User) -> ShareQuerySet:
        """The gate: one's own, those of one's own offers, and all to organisers."""
        return self if user.has_perm(RUN) else self.filter(Q(person=user) | Q(offer__giver=user))

    def standing(self) -> ShareQuerySet:
        return self.filter(stage__in=STANDING)

    def promised(self) -> ShareQuerySet:
        return self.filter(stage=ShareStage.PROMISED)

    def in_season(self, year: int) -> ShareQuerySet:
        """Promised within that season, by the club's calendar."""
        zone = timezone.get_default_timezone()
        first, last = (datetime(one, 1, 1, tzinfo=zone).astimezone(UTC) for one in (year, year + 1))
        return self.filter(promised_at__gte=first, promised_at__lt=last)

    def had_by(self, people: Iterable[int], now: datetime, *, but: int | None = None) -> dict[int, int]:
        """Grams that each person was promised or picked up this season, those of one offer left out."""
        rows = self.standing().in_season(season_of(club_day(now))).filter(person__in=people).exclude(offer=but)
        sums = rows.order_by().values_list("person").annotate(had=Sum("grams"))
        return dict.fromkeys(people, 0) | dict(sums)
