"""What is due about people: a kitchen that asks a member in, a kitchen's altitude that was changed, a recipe that waits
for another instructor's eyes, and the week in one mail.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import F, QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext, gettext_lazy

from club.core.clock import in_utc
from club.members.choices import EventKind, Role, SignInChangeKind
from club.members.models import (
    AddressConsent,
    JoinRequest,
    JoinState,
    Kitchen,
    KitchenAltitude,
    KitchenInvitation,
    PersonEvent,
    SignInChange,
    User,
    height_words,
)
from club.members.services import consent_token
from club.reminders.models import (
    NightlyAudit,
    NotificationSettings,
    Reminder,
    ReminderQuerySet,
    ReminderState,
    last_weekly,
    notification_settings_of,
)
from club.reminders.rules import AnyRule, Rule, format_day, format_moment, stamp
from recipes.models import Revision, RevisionQuerySet, RevisionState

# Our own choice, no source: a site that was down for so long tells of it still.
NEWS_WITHIN = timedelta(days=14)
HOUSEHOLD_NEWS = (EventKind.HOUSEHOLD_RENAMED, EventKind.HOUSEHOLD_HANDED_ON)


class KitchenInvited(Rule[KitchenInvitation]):
    """At once, to the member who is asked."""

    name = "kitchen-invitation"
    title = gettext_lazy("you are asked into a kitchen")
    prefix = "kitchen-invitation:"
    model = KitchenInvitation
    subject_field = "kitchen__name"
    person_field = "person"
    at_once = True

    def due_rows(self, now: datetime) -> QuerySet[KitchenInvitation]:
        return KitchenInvitation.objects.open(now).order_by()

    def occurrence(self, invitation: KitchenInvitation, now: datetime) -> str:
        return stamp(invitation.invited_at)

    def due_at(self, invitation: KitchenInvitation, now: datetime) -> datetime:
        return invitation.invited_at

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        invitation = KitchenInvitation.objects.select_related("kitchen", "invited_by").get(pk=reminder.subject_id)
        return reverse("members:me"), {"by": invitation.invited_by, "kitchen": invitation.kitchen.name}


@dataclass(frozen=True)
class ChangeForPerson:
    """A kitchen's altitude as it was said last, and somebody of the household."""

    change: KitchenAltitude
    person_id: int


class AltitudeChanged(Rule[ChangeForPerson]):
    """At once, to everybody of the household, whoever changed it among them: it need not have been them who pressed.

    Of several changes of one kitchen the last; the altitude that it began with is none.
    """

    name = "kitchen-altitude"
    title = gettext_lazy("a kitchen's altitude was changed")
    prefix = "altitude:"
    model = KitchenAltitude
    subject_field = "kitchen__name"
    person_field = "person"
    may_mute = False
    at_once = True

    def due_rows(self, now: datetime) -> Iterator[ChangeForPerson]:
        """Two queries."""
        recent = KitchenAltitude.objects.filter(since__gt=now - NEWS_WITHIN).order_by("since", "pk")
        last = {row.kitchen_id: row for row in recent.with_the_one_before()}
        told = {pk: row for pk, row in last.items() if not row.is_first}  # type: ignore[attr-defined]
        if told:
            active = Kitchen.objects.filter(pk__in=told, people__is_active=True).order_by()
            for kitchen, person in active.values_list("pk", "people"):
                yield ChangeForPerson(told[kitchen], person)

    def open_row(self, reminder: Reminder, now: datetime) -> ChangeForPerson | None:
        """It is the last change of that kitchen, and the person is of the household still."""
        row = KitchenAltitude.objects.filter(pk=reminder.subject_id, kitchen__people=reminder.person_id).first()
        if row is None or row != KitchenAltitude.objects.filter(kitchen=row.kitchen_id).last():
            return None
        return ChangeForPerson(row, reminder.person_id)

    def occurrence(self, row: ChangeForPerson, now: datetime) -> str:
        return stamp(row.change.since)

    def due_at(self, row: ChangeForPerson, now: datetime) -> datetime:
        return row.change.since

    def key(self, row: ChangeForPerson) -> int:
        return row.change.pk

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        rows = KitchenAltitude.objects.with_the_one_before().select_related("kitchen", "noted_by")
        row = rows.get(pk=reminder.subject_id)
        context = {
            "kitchen": row.kitchen.name,
            "by": row.noted_by or gettext("Somebody"),
            "day": format_day(timezone.localdate(row.since)),
            "before": height_words(row.before_m) or gettext("unknown"),  # type: ignore[attr-defined]
            "now": row.altitude_words or gettext("unknown"),
            "how": row.get_how_display(),
        }
        return reverse("members:kitchen-change", args=[row.kitchen_id]), context


class HouseholdChanged(Rule[PersonEvent]):
    """At once, to everybody of a household but who pressed: it has another name, or another keeps it."""

    name = "household-change"
    title = gettext_lazy("your household was changed")
    prefix = "household:"
    model = PersonEvent
    subject_field = "kitchen__name"
    person_field = "person"
    at_once = True

    def due_rows(self, now: datetime) -> QuerySet[PersonEvent]:
        told = PersonEvent.objects.filter(kind__in=HOUSEHOLD_NEWS, at__gt=now - NEWS_WITHIN, person__is_active=True)
        return told.exclude(person=F("by")).order_by()

    def occurrence(self, event: PersonEvent, now: datetime) -> str:
        return stamp(event.at)

    def due_at(self, event: PersonEvent, now: datetime) -> datetime:
        return event.at

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        event = PersonEvent.objects.select_related("by", "kitchen").get(pk=reminder.subject_id)
        before, _arrow, after = event.reference.partition(" > ")
        assert event.kitchen is not None
        context = {
            "kitchen": event.kitchen.name,
            "by": event.by or gettext("Somebody"),
            "what": event.get_kind_display(),
            "before": before,
            "now": after,
            "when": format_moment(event.at),
        }
        return reverse("members:me"), context


class SignInChanged(Rule[SignInChange]):
    """At once, to whom it belongs, at the address that was theirs before: it need not have been them who pressed."""

    name = "sign-in-change"
    title = gettext_lazy("your sign-in was changed")
    prefix = "sign-in:"
    model = SignInChange
    subject_field = "kind"
    person_field = "person"
    may_mute = False
    may_wait = False
    at_once = True

    def due_rows(self, now: datetime) -> QuerySet[SignInChange]:
        return SignInChange.objects.filter(changed_at__gt=now - NEWS_WITHIN).order_by()

    def occurrence(self, change: SignInChange, now: datetime) -> str:
        return stamp(change.changed_at)

    def due_at(self, change: SignInChange, now: datetime) -> datetime:
        return change.changed_at

    def names(self, keys: Collection[int]) -> dict[int, str]:
        return {pk: str(SignInChangeKind(kind).label) for pk, kind in super().names(keys).items()}

    def address(self, reminder: Reminder) -> str:
        return SignInChange.objects.get(pk=reminder.subject_id).address

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        change = SignInChange.objects.get(pk=reminder.subject_id)
        context = {
            "what": change.get_kind_display(),
            "detail": change.detail,
            "when": format_moment(change.changed_at),
        }
        return reverse("members:me"), context


class AddressAsked(Rule[AddressConsent]):
    """At once, to somebody's present address, whether a further one is theirs as well."""

    name = "address-consent"
    title = gettext_lazy("another email of yours")
    prefix = "address:"
    model = AddressConsent
    subject_field = "address__email"
    may_mute = False
    may_wait = False
    at_once = True

    def due_rows(self, now: datetime) -> QuerySet[AddressConsent]:
        return AddressConsent.objects.waiting(now).order_by()

    def occurrence(self, consent: AddressConsent, now: datetime) -> str:
        return stamp(consent.asked_at)

    def due_at(self, consent: AddressConsent, now: datetime) -> datetime:
        return consent.asked_at

    def recipients(self, consent: AddressConsent) -> tuple[int, ...]:
        return (consent.address.user_id,)

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        consent = AddressConsent.objects.select_related("address__user").get(pk=reminder.subject_id)
        return reverse("members:address-agree", args=[consent_token(consent)]), {"email": consent.address.email}


# Our own choice, no source: a day in which somebody may have seen it on the desk. A second mail would be nagging.
REVIEW_AFTER = timedelta(days=1)


class RevisionToReview(Rule[Revision]):
    """To every instructor but the author, a day after a revision was handed over, once for each time it is."""

    name = "revision-to-review"
    gathers = True
    title = gettext_lazy("review a recipe")
    prefix = "revision:"
    model = Revision
    subject_field = "recipe__title"
    role = Role.INSTRUCTOR
    but_not_field = "author"
    keeps_a_week = True

    def due_rows(self, now: datetime) -> RevisionQuerySet:
        waiting = Revision.objects.filter(state=RevisionState.IN_REVIEW, submitted_at__lte=in_utc(now) - REVIEW_AFTER)
        return waiting.only("author", "submitted_at")

    def occurrence(self, revision: Revision, now: datetime) -> str:
        return stamp(revision.submitted_at)

    def due_at(self, revision: Revision, now: datetime) -> datetime:
        assert revision.submitted_at is not None  # what is not, is not earlier than anything
        return in_utc(revision.submitted_at) + REVIEW_AFTER

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        revision = Revision.objects.select_related("recipe", "author").get(pk=reminder.subject_id)
        since = timezone.localtime(datetime.fromisoformat(reminder.occurrence)).date()
        context = {"recipe": revision.recipe.title, "author": revision.author or "", "since": format_day(since)}
        return reverse("recipes:draft", args=[revision.pk]), context


class JoinAsked(Rule[JoinRequest]):
    """To every organiser, at once, when somebody from the street asks to join, while nobody has answered."""

    name = "join-asked"
    gathers = True
    title = gettext_lazy("answer who asks to join")
    prefix = "join:"
    model = JoinRequest
    subject_field = "name"
    role = Role.ORGANISER
    keeps_a_week = True
    at_once = True

    def due_rows(self, now: datetime) -> QuerySet[JoinRequest]:
        return JoinRequest.objects.filter(state=JoinState.ASKED)

    def occurrence(self, asked: JoinRequest, now: datetime) -> str:
        return stamp(asked.asked_at)

    def due_at(self, asked: JoinRequest, now: datetime) -> datetime:
        return asked.asked_at

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        asked = JoinRequest.objects.get(pk=reminder.subject_id)
        return reverse("members:joins"), {
            "name": asked.name,
            "since": format_day(timezone.localtime(asked.asked_at).date()),
        }


# Our own choice, no source: after a night without the site the week's mail is still welcome, days later it is not.
DIGEST_WITHIN = timedelta(days=2)
A_MOMENT = timedelta(seconds=1)


@dataclass(frozen=True)
class DigestHour:
    """Somebody who wants a digest, and the last hour at which it was due."""

    person_id: int
    hour: datetime


class WeeklyDigest(Rule[DigestHour]):
    """What could wait, in one mail, on the weekday and at the hour that a person chose.

    What goes into it was shown on the site when it fell due. The digest lists what the person has not read there since
    the last one, and leaves out what was settled meanwhile; with nothing left it is not sent.
    """

    name = "weekly-digest"
    title = gettext_lazy("the week in one mail, for those who want one")
    prefix = "person:"
    model = User
    person_field = "person"
    may_wait = False  # the person chose the hour
    after_lost_lease = "hold"  # a digest twice is a nuisance, and what it lists is on the site

    def __init__(self, rules: Mapping[str, AnyRule]) -> None:
        """`rules`: those that it may list, by name."""
        self._rules = rules

    def due_rows(self, now: datetime) -> Iterator[DigestHour]:
        """To each whose hour came within the last two days, when something was kept for them. Two queries."""
        wanted = NotificationSettings.objects.filter(
            digest_weekday__isnull=False, person__is_active=True
        ).select_related("person")
        theirs = {preferences.person_id: preferences for preferences in wanted if self._is_wanted(preferences)}
        hours = {
            pk: hour for pk, preferences in theirs.items() if now - (hour := _hour(preferences, now)) < DIGEST_WITHIN
        }
        kept = self._kept().filter(person__in=hours).values_list("person", "rule", "sent_at") if hours else []
        people = {pk for pk, rule, at in kept if _goes_in(theirs[pk], rule, at, hours[pk])}
        return (DigestHour(pk, hours[pk]) for pk in sorted(people))

    def open_row(self, reminder: Reminder, now: datetime) -> DigestHour | None:
        """The person wants one still, and something is left to say."""
        preferences = notification_settings_of(reminder.person)
        if not self._is_wanted(preferences) or not self._still_open(reminder, now):
            return None
        return DigestHour(reminder.person_id, _hour(preferences, now))

    def occurrence(self, row: DigestHour, now: datetime) -> str:
        return row.hour.isoformat()

    def due_at(self, row: DigestHour, now: datetime) -> datetime:
        return row.hour

    def key(self, row: DigestHour) -> int:
        return row.person_id

    def names(self, keys: Collection[int]) -> dict[int, str]:
        return {person.pk: str(person) for person in User.objects.filter(pk__in=keys)}

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        headlines = [one.headline for one in self._still_open(reminder, now)]
        return reverse("reminders:inbox"), {"headlines": headlines}

    def _still_open(self, digest: Reminder, now: datetime) -> list[Reminder]:
        """What the digest lists; each one's rule is asked again."""
        hour, preferences = datetime.fromisoformat(digest.occurrence), notification_settings_of(digest.person)
        kept = self._kept().filter(person=digest.person_id).select_related("person").order_by("sent_at", "pk")
        rows = [one for one in kept if _goes_in(preferences, one.rule, one.sent_at, hour)]
        return [one for one in rows if self._rules[one.rule].still_due(one, now)]

    def _kept(self) -> ReminderQuerySet:
        """What was shown on the site for a digest to list, and was not read there."""
        weekly = [rule.name for rule in self._rules.values() if rule.may_wait and rule.keeps_a_week]
        return Reminder.objects.filter(state=ReminderState.SHOWN, read_at=None, rule__in=weekly).exclude(headline="")

    def _is_wanted(self, preferences: NotificationSettings) -> bool:
        return preferences.has_digest and self.name not in preferences.muted_kinds and not preferences.is_bounced


def _goes_in(preferences: NotificationSettings, rule: str, shown_at: datetime | None, hour: datetime) -> bool:
    """Shown in the week that ends with `hour`, and not of a kind of which the person wants no mail at all."""
    if shown_at is None or rule in preferences.muted_kinds:
        return False
    return _hour(preferences, hour - A_MOMENT) < shown_at <= hour


def _hour(preferences: NotificationSettings, now: datetime) -> datetime:
    return last_weekly(now, preferences.digest_weekday or 0, preferences.digest_hour, preferences.zone)


class AuditFoundSomething(Rule[NightlyAudit]):
    """At once, to every organiser: the night's audit found what does not go together, or could not be made."""

    name = "audit"
    title = gettext_lazy("the night's audit found something")
    prefix = "audit:"
    model = NightlyAudit
    subject_field = "day"
    role = Role.ORGANISER
    may_mute = False
    at_once = True

    def due_rows(self, now: datetime) -> QuerySet[NightlyAudit]:
        return NightlyAudit.objects.filter(problems__gt=0, ended_at__gte=now - timedelta(days=2))

    def occurrence(self, audit: NightlyAudit, now: datetime) -> str:
        return stamp(audit.ended_at)

    def due_at(self, audit: NightlyAudit, now: datetime) -> datetime:
        return audit.ended_at or now

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        audit = NightlyAudit.objects.get(pk=reminder.subject_id)
        return reverse("reminders:audit"), {"audit": audit, "day": format_day(audit.day)}


KITCHENS: tuple[AnyRule, ...] = (KitchenInvited(), AltitudeChanged(), HouseholdChanged())
SIGN_IN: tuple[AnyRule, ...] = (SignInChanged(), AddressAsked())
REVIEWS: tuple[AnyRule, ...] = (RevisionToReview(), JoinAsked())
AUDITS: tuple[AnyRule, ...] = (AuditFoundSomething(),)
