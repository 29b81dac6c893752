"""Quiet hours and the weekly hour, by a person's own clock. Pure: the moment is an argument, and so is the zone.

Both are wall time: they mean what that clock shows, on the days it is put forward or back too. So "inside" is asked
of the clock, and an end is the first moment at which the clock shows something else: it comes when the clock gets
there, or when it jumps over it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta, tzinfo
from functools import cached_property
from urllib.parse import urlsplit
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.conf import settings
from django.core.exceptions import ObjectDoesNotExist
from django.db import models
from django.db.models import F, Func, Min, Q, QuerySet
from django.db.models.functions import Coalesce
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from club.core.clock import Doubled, moment_near
from club.core.sealing import SealedTextField
from club.members.models import BrowserSession, User

# No zone puts its clock twice within this long, and no quiet hours last longer.
A_DAY_AND_MORE = timedelta(hours=26)


@dataclass(frozen=True)
class QuietHours:
    """From the first to the second time of day, the second no longer quiet. Over midnight when it comes first.

    The same time twice: no quiet hours.
    """

    begin: time
    end: time

    def hold_at(self, wall: time) -> bool:
        if self.begin <= self.end:
            return self.begin <= wall < self.end
        return wall >= self.begin or wall < self.end


def quiet_until(now: datetime, hours: QuietHours, zone: tzinfo) -> datetime | None:
    """When the quiet hours that hold at `now` (aware) are over, in UTC; None when none hold.

    ValueError for a time without a zone.
    """
    if now.tzinfo is None:
        raise ValueError("a moment without a time zone is no hour on anybody's clock")
    at = now.astimezone(UTC)
    if not _is_quiet(at, hours, zone):
        return None
    ends = (*_moments_of(hours.end, at, zone), *_clock_is_put(at, zone))
    return min(moment for moment in ends if moment > at and not _is_quiet(moment, hours, zone))


def last_weekly(now: datetime, weekday: int, hour: int, zone: tzinfo) -> datetime:
    """The last moment, in UTC and not after `now`, at which a clock in `zone` showed that hour of that weekday.

    Monday is 0. An hour that the clock jumps over counts as the same stretch after midnight; of two, the first counts.
    """
    today = now.astimezone(zone).date()
    this_week = today - timedelta(days=(today.weekday() - weekday) % 7)
    moment = moment_near(this_week, time(hour), zone)
    return moment if moment <= now else moment_near(this_week - timedelta(days=7), time(hour), zone)


def _is_quiet(moment: datetime, hours: QuietHours, zone: tzinfo) -> bool:
    return hours.hold_at(moment.astimezone(zone).time())


def _moments_of(wall: time, at: datetime, zone: tzinfo) -> Iterator[datetime]:
    """When a clock shows `wall` on the days around `at`: twice on a day when it is put back over it."""
    today = at.astimezone(zone).date()
    for days in (-1, 0, 1):
        for doubled in (Doubled.FIRST, Doubled.SECOND):
            yield moment_near(today + timedelta(days=days), wall, zone, doubled=doubled)


def _clock_is_put(at: datetime, zone: tzinfo) -> Iterator[datetime]:
    """The moment after `at` when the clock is put forward or back, if that is within the day. To the second."""
    before = at.replace(microsecond=0)
    after = before + A_DAY_AND_MORE
    offset = _offset(before, zone)
    if _offset(after, zone) == offset:
        return
    while after - before > timedelta(seconds=1):
        middle = before + timedelta(seconds=(after - before) // timedelta(seconds=2))
        if _offset(middle, zone) == offset:
            before = middle
        else:
            after = middle
    yield after


def _offset(moment: datetime, zone: tzinfo) -> timedelta | None:
    return moment.astimezone(zone).utcoffset()


# How a person wants to be reached, and whether their mailbox takes our mail. No row means the defaults below.

# Our own choices, no source: what a household would call late, and the hour at which a week is looked over.
QUIET_FROM, QUIET_UNTIL = time(21, 30), time(7, 30)
DIGEST_HOUR = 8
BAR = "|"
MONDAY, SUNDAY = 0, 6


class NotificationSettings(models.Model):
    """One row for each person, so that a sender reads it together with the person."""

    person = models.OneToOneField(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="notification_settings"
    )
    zone_name = models.CharField(_("time zone"), max_length=64, blank=True)  # empty: the club's
    quiet_from = models.TimeField(default=QUIET_FROM)
    quiet_until = models.TimeField(default=QUIET_UNTIL)
    # "|gauge-due|supply-low|": names of rules shown on the site alone. One text, so that one more is a single UPDATE.
    muted = models.TextField(default=BAR, blank=True)
    # "|recall|seal-check|": names of rules that are shown on their phone as well.
    pushed = models.TextField(default=BAR, blank=True)
    digest_weekday = models.PositiveSmallIntegerField(null=True, blank=True)  # Monday is 0; none: each as it comes
    digest_hour = models.PositiveSmallIntegerField(default=DIGEST_HOUR)
    # The address that sent our mail back for good. Another address in their account lifts it by itself.
    bounced_address = models.CharField(max_length=254, blank=True)
    bounced_at = models.DateTimeField(null=True, blank=True)
    bounce_reason = models.CharField(max_length=300, blank=True)

    class Meta:
        db_table = "reminders_wishes"
        constraints = [
            models.CheckConstraint(
                name="digest_on_a_day_of_the_week",
                condition=Q(digest_weekday=None) | Q(digest_weekday__gte=MONDAY, digest_weekday__lte=SUNDAY),
            ),
            models.CheckConstraint(name="digest_at_an_hour_of_the_day", condition=Q(digest_hour__lte=23)),
            models.CheckConstraint(
                name="bounce_says_since_when",
                condition=Q(bounced_address="") | Q(bounced_at__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person_id}"

    @cached_property
    def zone(self) -> tzinfo:
        """Theirs, or the club's where they named none or one that this machine no longer knows."""
        try:
            return ZoneInfo(self.zone_name) if self.zone_name else timezone.get_default_timezone()
        except (ZoneInfoNotFoundError, ValueError):
            return timezone.get_default_timezone()

    @property
    def quiet(self) -> QuietHours:
        return QuietHours(self.quiet_from, self.quiet_until)

    @property
    def muted_kinds(self) -> frozenset[str]:
        return frozenset(self.muted.split(BAR)) - {""}

    @property
    def pushed_kinds(self) -> frozenset[str]:
        return frozenset(self.pushed.split(BAR)) - {""}

    @property
    def has_digest(self) -> bool:
        return self.digest_weekday is not None

    @property
    def is_bounced(self) -> bool:
        return bool(self.bounced_address) and self.bounced_address == self.person.email


def people_bounced() -> QuerySet[NotificationSettings]:
    """Of active people whose address, the one they have now, sends our mail back; the latest first."""
    theirs = NotificationSettings.objects.exclude(bounced_address="").filter(bounced_address=F("person__email"))
    return theirs.filter(person__is_active=True).select_related("person").order_by("-bounced_at", "-pk")


def notification_settings_of(person: User) -> NotificationSettings:
    """Theirs, or the defaults, not saved. No query where they were read with the person by `select_related`."""
    try:
        preferences: NotificationSettings = person.notification_settings
    except ObjectDoesNotExist:
        return NotificationSettings(person=person)
    return preferences


# The outbox: one row for one reason, one subject, one occurrence and one person, whatever asks twice.


class ReminderState(models.TextChoices):
    DUE = "due", _("due")
    LEASED = "taken", _("about to be sent")  # by a sender, with others: nothing of it has left the house
    SENDING = "sending", _("being sent")  # if the sender dies now, nobody knows whether it left
    SENT = "sent", _("sent")
    SHOWN = "shown", _("shown on the site")  # to somebody who wants no mail of this kind, or a digest
    SETTLED = "settled", _("settled before it was sent")
    DEAD = "dead", _("could not be sent")


UNDER_LEASE = (ReminderState.LEASED, ReminderState.SENDING)
LIVE = (ReminderState.DUE, *UNDER_LEASE)


class IsIn(Func):
    """The states spelt out in the statement, not bound as parameters.

    SQLite uses a partial index only for a statement in which it reads the index's own condition.
    """

    output_field = models.BooleanField()

    def __init__(self, *states: ReminderState) -> None:
        names = ", ".join(f"'{state.value}'" for state in states)
        super().__init__("state", template=f"%(expressions)s IN ({names})")


class ReminderQuerySet(models.QuerySet["Reminder"]):
    def waiting(self, now: datetime) -> ReminderQuerySet:
        """Rows a sender may take, the longest wait first: due, or under a lease that ran out, as its sender died."""
        due = Q(state=ReminderState.DUE, next_try_at__lte=now)
        abandoned = Q(state__in=UNDER_LEASE, leased_until__lt=now)
        return self.filter(IsIn(*LIVE)).filter(due | abandoned).order_by("due_at", "pk")

    def dead(self) -> ReminderQuerySet:
        return self.filter(IsIn(ReminderState.DEAD)).select_related("person").order_by("-due_at", "-pk")

    def late(self, now: datetime) -> ReminderQuerySet:
        """What wants to go out by now, under a lease or not; what was put off on purpose only from its hour on."""
        return self.filter(IsIn(*LIVE)).filter(Q(not_before=None) | Q(not_before__lte=now)).order_by()

    def lateness(self, now: datetime) -> timedelta:
        """How late the oldest reminder is that wants to go out; nothing when none waits. Counts from its own hour."""
        oldest = self.late(now).aggregate(at=Min(Coalesce("not_before", "due_at")))["at"]
        return max(now - oldest, timedelta(0)) if oldest else timedelta(0)


class Reminder(models.Model):
    """Something due to one person at one time for one reason."""

    rule = models.CharField(max_length=40)
    subject = models.CharField(max_length=60)  # "batch:41"
    occurrence = models.CharField(max_length=40)  # what makes this due once more, such as the hour the jars came out
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="reminders")
    due_at = models.DateTimeField()
    state = models.CharField(max_length=10, choices=ReminderState.choices, default=ReminderState.DUE)
    # How often sending it was begun.
    attempts = models.PositiveSmallIntegerField(default=0)
    next_try_at = models.DateTimeField()
    # Put off on purpose, such as over somebody's quiet hours: until then it is not late.
    not_before = models.DateTimeField(null=True, blank=True)
    # The lease under which a sender has it, with other rows. Its key is never used again, so a sender that was late
    # cannot speak for a row that another has leased since.
    lease = models.UUIDField(null=True, blank=True, db_column="holder")
    leased_until = models.DateTimeField(null=True, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    last_error = models.CharField(max_length=300, blank=True)
    # What it said and where it led, kept when it was sent or shown: the inbox lists these.
    headline = models.CharField(max_length=200, blank=True)
    path = models.CharField(max_length=200, blank=True)
    read_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(default=timezone.now)

    objects = ReminderQuerySet.as_manager()

    class Meta:
        ordering = ["due_at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["rule", "subject", "occurrence", "person"], name="one_reminder_per_reason_and_person"
            )
        ]
        # Both stay small: they hold what is still to be done, not the years of what was sent.
        indexes = [
            models.Index(fields=["due_at"], condition=Q(state__in=LIVE), name="reminders_live"),
            models.Index(fields=["due_at"], condition=Q(state__in=[ReminderState.DEAD]), name="reminders_dead"),
            models.Index(fields=["person"], condition=Q(read_at=None), name="reminders_unread"),
        ]

    def __str__(self) -> str:
        return f"{self.rule} {self.subject} {self.occurrence}"

    @property
    def subject_id(self) -> int:
        """41 of "batch:41"."""
        return int(self.subject.partition(":")[2])

    @property
    def message_id(self) -> str:
        """Of its mail. The same however often it is sent: a mailbox may then drop what came twice."""
        return message_id_of([self])


def message_id_of(reminders: Sequence[Reminder]) -> str:
    """Of the mail that says all of these; whatever order they are in."""
    keys = sorted((one.rule, one.subject, one.occurrence, one.person_id) for one in reminders)
    digest = hashlib.sha256("\0".join(str(part) for key in keys for part in key).encode()).hexdigest()[:32]
    return f"<{digest}@{urlsplit(settings.SITE_URL).hostname or 'localhost'}>"


# What is noted beside the rounds: the last backup, and the last time that one was restored to see whether it can be.
BACKUP_JOB, TEST_JOB = "backup", "restore-test"


class PeriodicJob(models.Model):
    """When a round of it was last begun, and the lease that keeps two clocks from beginning the same one twice."""

    name = models.CharField(max_length=20, primary_key=True)
    free_at = models.DateTimeField()  # nobody begins before
    began_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        db_table = "reminders_tick"

    def __str__(self) -> str:
        return self.name


class NightlyAudit(models.Model):
    """What the audits of one club day found: the house's books, worked out again from the rows they follow from."""

    day = models.DateField(unique=True)
    began_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    # How many things do not go together, and the first of them in words for whoever mends them.
    problems = models.PositiveIntegerField(default=0)
    findings = models.TextField(blank=True)

    class Meta:
        ordering = ["-day"]

    def __str__(self) -> str:
        return f"{self.day:%Y-%m-%d}"

    @property
    def lines(self) -> list[str]:
        return self.findings.splitlines()


def audit_to_tell(now: datetime) -> NightlyAudit | None:
    """The newest one that ended, where it found something and is no older than two days."""
    newest = NightlyAudit.objects.filter(ended_at__isnull=False, ended_at__gte=now - timedelta(days=2)).first()
    return newest if newest is not None and newest.problems else None


class CalendarMark(models.Model):
    """What tells this club's calendar entries from another's, whatever address the site has. One row, made once."""

    only = models.BooleanField(default=True, unique=True, editable=False)
    mark = models.UUIDField(default=uuid4)

    class Meta:
        constraints = [models.CheckConstraint(name="calendar_mark_is_one_row", condition=Q(only=True))]

    def __str__(self) -> str:
        return str(self.mark)


def calendar_mark() -> UUID:
    found = CalendarMark.objects.first() or CalendarMark.objects.get_or_create(only=True)[0]
    return found.mark


# What may be shown on a phone as well: what runs out within hours, what is not to be eaten, and who waits at a stove.
PUSHED = ("recall", "seal-check", "seal-second-call", "reprocess-closing", "hand-asked")

# Web push: the club's own keys, the browsers that take it, and what waits to go there beside the mail.


class PushKeys(models.Model):
    """By what push servers know this club (RFC 8292). One row, made once: with other keys every phone asks anew."""

    only = models.BooleanField(default=True, unique=True, editable=False)
    private = SealedTextField()  # 32 bytes in URL-safe base64
    public = models.CharField(max_length=90)  # the point, not compressed: 65 bytes in URL-safe base64
    made_at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [models.CheckConstraint(name="push_keys_are_one_row", condition=Q(only=True))]

    def __str__(self) -> str:
        return self.public


class PushDevice(models.Model):
    """A browser that shows what cannot wait, for as long as its person is signed in there."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="push_devices")
    browser = models.OneToOneField(BrowserSession, on_delete=models.CASCADE, related_name="push_device")
    endpoint = models.CharField(max_length=500, unique=True)  # at the push server; whoever knows it may write there
    p256dh = models.CharField(max_length=90)  # the browser's public key
    auth = models.CharField(max_length=30)
    made_at = models.DateTimeField(default=timezone.now)

    def __str__(self) -> str:
        return f"{self.person_id} {self.made_at:%Y-%m-%d}"


class PushNoteQuerySet(models.QuerySet["PushNote"]):
    def waiting(self, now: datetime) -> PushNoteQuerySet:
        """Due, or being sent by a sender that died; the longest wait first."""
        due = Q(state=ReminderState.DUE, next_try_at__lte=now)
        abandoned = Q(state=ReminderState.SENDING, leased_until__lt=now)
        return self.filter(due | abandoned).order_by("next_try_at", "pk")


class PushNote(models.Model):
    """One reminder for one browser: whatever asks twice, one row."""

    reminder = models.ForeignKey(Reminder, on_delete=models.CASCADE, related_name="push_notes")
    device = models.ForeignKey(PushDevice, on_delete=models.CASCADE, related_name="notes")
    state = models.CharField(max_length=10, choices=ReminderState.choices, default=ReminderState.DUE)
    attempts = models.PositiveSmallIntegerField(default=0)
    next_try_at = models.DateTimeField()
    lease = models.UUIDField(null=True, blank=True)
    leased_until = models.DateTimeField(null=True, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    last_error = models.CharField(max_length=300, blank=True)

    objects = PushNoteQuerySet.as_manager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["reminder", "device"], name="one_push_of_a_reminder_a_browser")]
        indexes = [
            models.Index(
                fields=["next_try_at"],
                condition=Q(state__in=[ReminderState.DUE, ReminderState.SENDING]),
                name="push_notes_live",
            )
        ]

    def __str__(self) -> str:
        return f"{self.reminder_id} {self.device_id}"
