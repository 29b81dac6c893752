"""What is due about fruit: to whoever froze some that has passed its best months, to the giver while some is left and
spoils, to who claimed how it was shared, to who comes for a share the evening before.

Hours are those on the wall of the club.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from datetime import datetime, time, timedelta
from typing import Any

from django.db.models import F
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext_lazy as _

from club.core.clock import at_hour, club_day, in_utc
from club.members.models import Kitchen, User
from club.reminders.models import Reminder
from club.reminders.rules import AnyRule, Rule, format_day
from inventory.fruit.choices import OfferStage
from inventory.fruit.models import (
    Claim,
    ClaimQuerySet,
    FreezerItem,
    Offer,
    OfferQuerySet,
    Share,
    ShareQuerySet,
    SharingRound,
)
from inventory.fruit.presentation import sentences_for
from inventory.fruit.rules import CITRUS_MONTHS, PLAIN_MONTHS, USE_BY_WARNING, Age, months_later

A_DAY = timedelta(days=1)
MORNING_AT, EVENING_AT = time(9), time(18)
# News of yesterday is told still; older than that somebody has seen it on the site. Our own choice, no source.
NEWS_FOR = timedelta(days=2)
# For a lot in a freezer; our own choice, no source.
FREEZER_CALLED_FOR = timedelta(days=30)
SHORTEST_MONTHS = min(PLAIN_MONTHS[1], CITRUS_MONTHS[1])


class FreezerAgeing(Rule[FreezerItem]):
    """Told once, to whoever put it in.

    Quality, not safety: nothing has to be thrown away. The morning it passes its best, and for a month after, so that a
    list that was keyed in from an old freezer does not send a mail for every lot of years ago.
    """

    name = "freezer-ageing"
    gathers = True
    title = _("fruit past its best in the freezer")
    prefix = "freezer:"
    model = FreezerItem
    subject_field = "what"
    person_field = "put_in_by"
    keeps_a_week = True
    after_lost_lease = "hold"
    at_once = True  # a lot that was keyed in late is not late to be told

    def due_rows(self, now: datetime) -> Iterator[FreezerItem]:
        """Each lot that is still there and passed its best within the last month."""
        today = club_day(now)
        oldest = months_later(today, -PLAIN_MONTHS[1]) - 2 * FREEZER_CALLED_FOR
        youngest = months_later(today, -SHORTEST_MONTHS)
        frozen = FreezerItem.objects.there().filter(frozen_on__range=(oldest, youngest), put_in_by__is_active=True)
        for item in frozen:
            best_until = item.shelf_life.best_until
            if at_hour(best_until, MORNING_AT) <= now and best_until > today - FREEZER_CALLED_FOR:
                yield item

    def open_row(self, reminder: Reminder, now: datetime) -> FreezerItem | None:
        """Still there, still past by what is written now."""
        item = FreezerItem.objects.there().filter(pk=reminder.subject_id).first()
        return item if item is not None and item.shelf_life.age(club_day(now)) is Age.PAST else None

    def reaches(self, item: FreezerItem, person: User) -> bool:
        return Kitchen.objects.usable_by(person).filter(pk=item.kitchen_id).exists()

    def occurrence(self, item: FreezerItem, now: datetime) -> str:
        return str(item.shelf_life.best_until)

    def due_at(self, item: FreezerItem, now: datetime) -> datetime:
        return max(at_hour(item.shelf_life.best_until, MORNING_AT), item.created_at)

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        item = FreezerItem.objects.select_related("kitchen").get(pk=reminder.subject_id)
        context = {
            "what": item.what,
            "weight": item.weight_text(reminder.person.units),
            "kitchen": item.kitchen.name,
            "frozen": date_format(item.frozen_on, "j F Y"),
            "until": format_day(item.shelf_life.best_until),
        }
        return item.get_absolute_url(), context


class FruitSpoils(Rule[Offer]):
    """To the giver, from 9:00 two days before its day, while some is left."""

    name = "fruit-use-by"
    title = _("fruit that spoils")
    prefix = "fruit-offer:"
    model = Offer
    person_field = "giver"
    settles_with_occurrence = False

    def due_rows(self, now: datetime) -> OfferQuerySet:
        soon = self.open_rows(now).filter(use_by__lte=club_day(now) + USE_BY_WARNING)
        return soon.filter(giver__is_active=True)

    def open_rows(self, now: datetime) -> OfferQuerySet:
        some_left = Offer.objects.exclude(stage=OfferStage.TAKEN_BACK).filter(units__gt=F("shared") + F("kept"))
        return some_left.filter(use_by__gte=club_day(now))

    def occurrence(self, offer: Offer, now: datetime) -> str:
        return str(offer.use_by)

    def due_at(self, offer: Offer, now: datetime) -> datetime:
        return at_hour(offer.use_by - USE_BY_WARNING, MORNING_AT)

    def names(self, keys: Collection[int]) -> dict[int, str]:
        return {offer.pk: str(offer.title) for offer in Offer.objects.filter(pk__in=keys)}

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        offer = Offer.objects.get(pk=reminder.subject_id)
        left = offer.amount_text(offer.left, reminder.person.units)
        return offer.get_absolute_url(), {"what": offer.title, "left": left, "day": format_day(offer.use_by)}


class ShareRule(Rule[Share]):
    prefix = "fruit-share:"
    model = Share
    person_field = "person"

    def open_rows(self, now: datetime) -> ShareQuerySet:
        """Shares promised to active members, whose pick-up is not over."""
        return Share.objects.promised().filter(window__ends_at__gt=now, person__is_active=True).order_by("pk")

    def names(self, keys: Collection[int]) -> dict[int, str]:
        shares = Share.objects.filter(pk__in=keys).select_related("offer")
        return {share.pk: str(share.offer.title) for share in shares}

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        share = Share.objects.select_related("offer", "window").get(pk=reminder.subject_id)
        context = {
            "what": share.offer.title,
            "amount": share.offer.amount_text(share.units, reminder.person.units),
            "day": format_day(share.window.day),
            "first": f"{share.window.starts:%H:%M}",
            "last": f"{share.window.ends:%H:%M}",
            "where": share.offer.where,
        }
        return share.offer.get_absolute_url(), context


class FruitShared(ShareRule):
    """At once to everybody who got a share, and again when a later round added to it."""

    name = "fruit-shared"
    title = _("a share for you")
    at_once = True

    def due_rows(self, now: datetime) -> ShareQuerySet:
        return self.open_rows(now)

    def occurrence(self, share: Share, now: datetime) -> str:
        return f"round {share.round_number}"

    def due_at(self, share: Share, now: datetime) -> datetime:
        return in_utc(share.changed_at)

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        path, context = super().mail(reminder, now)
        share = Share.objects.select_related("offer").get(pk=reminder.subject_id)
        made = SharingRound.objects.filter(offer=share.offer).latest("number")
        why = sentences_for(made, share.claim_id, share.offer, reminder.person.units)
        return path, {**context, "why": " ".join(why)}


class FruitPickUp(ShareRule):
    """From 18:00 of the day before until the pick-up is over; not to who has only just been told of the share."""

    name = "fruit-pick-up"
    title = _("a share to pick up")
    settles_with_occurrence = False

    def due_rows(self, now: datetime) -> Iterator[Share]:
        soon = self.open_rows(now).filter(window__day__lte=club_day(now) + A_DAY).select_related("window")
        return (share for share in soon if share.changed_at < self.due_at(share, now))

    def occurrence(self, share: Share, now: datetime) -> str:
        return f"window {share.window_id}"

    def due_at(self, share: Share, now: datetime) -> datetime:
        return at_hour(share.window.day - A_DAY, EVENING_AT)


class ClaimRule(Rule[Claim]):
    prefix = "fruit-claim:"
    model = Claim
    person_field = "person"
    at_once = True

    def names(self, keys: Collection[int]) -> dict[int, str]:
        claims = Claim.objects.filter(pk__in=keys).select_related("offer")
        return {claim.pk: str(claim.offer.title) for claim in claims}


class FruitNothing(ClaimRule):
    """To who claimed and got nothing, so that they can look elsewhere."""

    name = "fruit-nothing"
    title = _("no share this time")

    def due_rows(self, now: datetime) -> ClaimQuerySet:
        lately = self.open_rows(now).filter(offer__shared_at__gt=now - NEWS_FOR, made_at__lte=F("offer__shared_at"))
        return lately.select_related("offer")

    def open_rows(self, now: datetime) -> ClaimQuerySet:
        return Claim.objects.open().filter(offer__stage=OfferStage.SHARED, share=None, person__is_active=True)

    def occurrence(self, claim: Claim, now: datetime) -> str:
        return "nothing"

    def due_at(self, claim: Claim, now: datetime) -> datetime:
        assert claim.offer.shared_at is not None  # what is not, is not later than anything
        return claim.offer.shared_at

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        claim = Claim.objects.select_related("offer").get(pk=reminder.subject_id)
        made = SharingRound.objects.filter(offer=claim.offer).latest("number")
        why = sentences_for(made, claim.pk, claim.offer, reminder.person.units)
        return reverse("fruit:list"), {"what": claim.offer.title, "why": " ".join(why)}


class FruitTakenBack(ClaimRule):
    """To everybody who claimed some of an offer that its giver took back."""

    name = "fruit-taken-back"
    title = _("an offer taken back")

    def due_rows(self, now: datetime) -> ClaimQuerySet:
        return self.open_rows(now).filter(offer__taken_back_at__gt=now - NEWS_FOR).select_related("offer")

    def open_rows(self, now: datetime) -> ClaimQuerySet:
        return Claim.objects.open().filter(offer__stage=OfferStage.TAKEN_BACK, person__is_active=True)

    def occurrence(self, claim: Claim, now: datetime) -> str:
        return "taken back"

    def due_at(self, claim: Claim, now: datetime) -> datetime:
        assert claim.offer.taken_back_at is not None  # what is not, is not later than anything
        return claim.offer.taken_back_at

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        offer = Claim.objects.select_related("offer").get(pk=reminder.subject_id).offer
        return reverse("fruit:list"), {"what": offer.title, "why": offer.taken_back_reason}


RULES: tuple[AnyRule, ...] = (
    FreezerAgeing(),
    FruitSpoils(),
    FruitShared(),
    FruitPickUp(),
    FruitNothing(),
    FruitTakenBack(),
)
