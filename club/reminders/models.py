"""The outbox: one row for one reason, one subject, one occurrence and one person, whatever asks twice."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.conf import settings
from django.db import models
from django.db.models import Min, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from club.reminders.wishes_models import Wishes


class ReminderState(models.TextChoices):
    DUE = "due", _("due")
    SENDING = "sending", _("being sent")
    SENT = "sent", _("sent")
    SHOWN = "shown", _("shown on the site")  # to somebody who wants no mail of this kind, or a digest
    SETTLED = "settled", _("settled before it was sent")
    DEAD = "dead", _("could not be sent")


class ReminderQuerySet(models.QuerySet["Reminder"]):
    def waiting(self, now: datetime) -> ReminderQuerySet:
        """Rows a sender may take: due, or taken by a sender whose lease ran out, which therefore died."""
        due = Q(state=ReminderState.DUE, next_try_at__lte=now)
        abandoned = Q(state=ReminderState.SENDING, leased_until__lt=now)
        return self.filter(due | abandoned)

    def dead(self) -> ReminderQuerySet:
        return self.filter(state=ReminderState.DEAD).select_related("person").order_by("-due_at", "-pk")

    def lateness(self, now: datetime) -> timedelta:
        """How late the oldest reminder is that still wants to go out; nothing when none waits."""
        oldest = self.filter(state__in=[ReminderState.DUE, ReminderState.SENDING]).aggregate(at=Min("due_at"))["at"]
        return max(now - oldest, timedelta(0)) if oldest else timedelta(0)


class Reminder(models.Model):
    """Something due to one person at one time for one reason."""

    rule = models.CharField(max_length=40)
    subject = models.CharField(max_length=60)  # "batch:41"
    occurrence = models.CharField(max_length=40)  # what makes this due once more, such as the hour the jars came out
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="reminders")
    due_at = models.DateTimeField()
    state = models.CharField(max_length=10, choices=ReminderState.choices, default=ReminderState.DUE)
    attempts = models.PositiveSmallIntegerField(default=0)
    next_try_at = models.DateTimeField()
    # Put off on purpose, such as over somebody's quiet hours: until then it is not late.
    not_before = models.DateTimeField(null=True, blank=True)
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
        indexes = [models.Index(fields=["state", "next_try_at"])]

    def __str__(self) -> str:
        return f"{self.rule} {self.subject} {self.occurrence}"


__all__ = ["Reminder", "ReminderQuerySet", "ReminderState", "Wishes"]
