"""The outbox: one row for one reason, one subject, one occurrence and one person, whatever asks twice."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.conf import settings
from django.db import models
from django.db.models import Func, Min, Q
from django.db.models.functions import Coalesce
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from club.reminders.wishes_models import Wishes


class ReminderState(models.TextChoices):
    DUE = "due", _("due")
    TAKEN = "taken", _("about to be sent")  # in a sender's basket: nothing of it has left the house
    SENDING = "sending", _("being sent")  # in a sender's hand: if the sender dies, nobody knows whether it left
    SENT = "sent", _("sent")
    SHOWN = "shown", _("shown on the site")  # to somebody who wants no mail of this kind, or a digest
    SETTLED = "settled", _("settled before it was sent")
    DEAD = "dead", _("could not be sent")


HELD = (ReminderState.TAKEN, ReminderState.SENDING)
LIVE = (ReminderState.DUE, *HELD)


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
        """Rows a sender may take, the longest wait first: due, or held by one whose lease ran out, who died."""
        due = Q(state=ReminderState.DUE, next_try_at__lte=now)
        abandoned = Q(state__in=HELD, leased_until__lt=now)
        return self.filter(IsIn(*LIVE)).filter(due | abandoned).order_by("due_at", "pk")

    def dead(self) -> ReminderQuerySet:
        return self.filter(IsIn(ReminderState.DEAD)).select_related("person").order_by("-due_at", "-pk")

    def late(self, now: datetime) -> ReminderQuerySet:
        """What wants to go out by now, in whose hands it may be; what was put off on purpose only from its hour on."""
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
    # How often it was in a sender's hand.
    attempts = models.PositiveSmallIntegerField(default=0)
    next_try_at = models.DateTimeField()
    # Put off on purpose, such as over somebody's quiet hours: until then it is not late.
    not_before = models.DateTimeField(null=True, blank=True)
    # The basket it lies in. A basket's name is never used again, so a sender that was taken for dead cannot speak for
    # a row that another has taken since.
    holder = models.UUIDField(null=True, blank=True)
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


class Tick(models.Model):
    """When the rules were last asked, and the lease that keeps two clocks from asking them twice."""

    name = models.CharField(max_length=20, primary_key=True)
    free_at = models.DateTimeField()  # nobody begins before
    began_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return self.name


__all__ = ["Reminder", "ReminderQuerySet", "ReminderState", "Tick", "Wishes"]
