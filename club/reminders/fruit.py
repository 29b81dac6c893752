"""What is due about fruit: to its giver while some is left and spoils, to who claimed how it was shared, to who comes
for a share the evening before. Hours are those on the wall of the club."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, time, timedelta

from django.db.models import F
from django.utils.translation import gettext_lazy as _

from club.core.clock import club_day
from club.reminders import fruit_mails
from club.reminders.fruit_mails import CLAIM, OFFER, SHARE
from club.reminders.models import Reminder
from club.reminders.subjects import at_hour, subject_id
from club.reminders.terms import Rule
from club.reminders.wording import Due
from inventory.fruit.choices import OfferStage
from inventory.fruit.models import Claim, ClaimQuerySet, Offer, OfferQuerySet, Share, ShareQuerySet
from inventory.fruit.rules import USE_BY_WARNING

MORNING_AT, EVENING_AT = time(9, 0), time(18, 0)
# News of yesterday is told still; older than that somebody has seen it on the site. Our own choice, no source.
NEWS_FOR = timedelta(days=2)


def use_by_due(now: datetime) -> Iterator[Due]:
    """To the giver, from 9:00 two days before its day, while some is left."""
    today = club_day(now)
    rows = _with_some_left().filter(use_by__gte=today, use_by__lte=today + USE_BY_WARNING, giver__is_active=True)
    for pk, giver, use_by in rows.values_list("pk", "giver", "use_by"):
        due_at = at_hour(use_by - USE_BY_WARNING, MORNING_AT)
        if due_at <= now:
            yield Due(f"{OFFER}{pk}", str(use_by), giver, due_at)


def use_by_still_due(reminder: Reminder, now: datetime) -> bool:
    same = _with_some_left().filter(pk=subject_id(reminder), use_by__gte=club_day(now))
    return reminder.person.is_active and same.exists()


def shared_due(now: datetime) -> Iterator[Due]:
    """At once to everybody who got a share, and again when a later round added to it."""
    for pk, person, number, at in _to_fetch(now).values_list("pk", "person", "round_number", "changed_at"):
        yield Due(f"{SHARE}{pk}", f"round {number}", person, at.astimezone(UTC))


def shared_still_due(reminder: Reminder, now: datetime) -> bool:
    """Not fetched or given back, and not overtaken by a round that is told on its own."""
    number = reminder.occurrence.removeprefix("round ")
    return _to_fetch(now).filter(pk=subject_id(reminder), round_number=number).exists()


def pick_up_due(now: datetime) -> Iterator[Due]:
    """From 18:00 of the day before until the pick-up is over; not to who has only just been told of the share."""
    soon = _to_fetch(now).filter(window__day__lte=club_day(now) + timedelta(days=1))
    for pk, person, window, day, told in soon.values_list("pk", "person", "window", "window__day", "changed_at"):
        due_at = at_hour(day - timedelta(days=1), EVENING_AT)
        if told < due_at <= now:
            yield Due(f"{SHARE}{pk}", f"window {window}", person, due_at)


def pick_up_still_due(reminder: Reminder, now: datetime) -> bool:
    return _to_fetch(now).filter(pk=subject_id(reminder)).exists()


def nothing_due(now: datetime) -> Iterator[Due]:
    """To who claimed and got nothing, so that she can look elsewhere."""
    rows = _without_share().filter(offer__shared_at__gt=now - NEWS_FOR, made_at__lte=F("offer__shared_at"))
    for pk, person, at in rows.values_list("pk", "person", "offer__shared_at"):
        if at is not None:
            yield Due(f"{CLAIM}{pk}", "nothing", person, at)


def nothing_still_due(reminder: Reminder, now: datetime) -> bool:
    return _without_share().filter(pk=subject_id(reminder)).exists()


def taken_back_due(now: datetime) -> Iterator[Due]:
    """To everybody who claimed some of an offer that its giver took back."""
    rows = _taken_back().filter(offer__taken_back_at__gt=now - NEWS_FOR)
    for pk, person, at in rows.values_list("pk", "person", "offer__taken_back_at"):
        if at is not None:
            yield Due(f"{CLAIM}{pk}", "taken back", person, at)


def taken_back_still_due(reminder: Reminder, now: datetime) -> bool:
    return _taken_back().filter(pk=subject_id(reminder)).exists()


def words(subjects: Iterable[str]) -> dict[str, str]:
    """What each subject of this room is about: "plums"; three queries, however many."""
    wanted = list(subjects)

    def ids(kind: str) -> list[int]:
        return [int(one.removeprefix(kind)) for one in wanted if one.startswith(kind)]

    found = {f"{OFFER}{one.pk}": str(one.title) for one in Offer.objects.filter(pk__in=ids(OFFER))}
    shares = Share.objects.filter(pk__in=ids(SHARE)).select_related("offer")
    claims = Claim.objects.filter(pk__in=ids(CLAIM)).select_related("offer")
    found |= {f"{SHARE}{one.pk}": str(one.offer.title) for one in shares}
    return found | {f"{CLAIM}{one.pk}": str(one.offer.title) for one in claims}


def _with_some_left() -> OfferQuerySet:
    return Offer.objects.exclude(stage=OfferStage.TAKEN_BACK).filter(units__gt=F("shared") + F("kept"))


def _to_fetch(now: datetime) -> ShareQuerySet:
    """Shares promised to active members, whose pick-up is not over."""
    return Share.objects.promised().filter(window__ends_at__gt=now, person__is_active=True).order_by("pk")


def _without_share() -> ClaimQuerySet:
    return Claim.objects.open().filter(offer__stage=OfferStage.SHARED, share=None, person__is_active=True)


def _taken_back() -> ClaimQuerySet:
    return Claim.objects.open().filter(offer__stage=OfferStage.TAKEN_BACK, person__is_active=True)


RULES: tuple[Rule, ...] = (
    Rule("fruit-use-by", _("fruit that spoils"), use_by_due, use_by_still_due, fruit_mails.use_by_message),
    Rule("fruit-shared", _("a share for you"), shared_due, shared_still_due, fruit_mails.shared_message),
    Rule("fruit-pick-up", _("a share to pick up"), pick_up_due, pick_up_still_due, fruit_mails.pick_up_message),
    Rule("fruit-nothing", _("no share this time"), nothing_due, nothing_still_due, fruit_mails.nothing_message),
    Rule(
        "fruit-taken-back",
        _("an offer taken back"),
        taken_back_due,
        taken_back_still_due,
        fruit_mails.taken_back_message,
    ),
)
