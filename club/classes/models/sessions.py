"""A class session: a day at the hall, from when to when on its wall clock, and how many seats are taken."""

from __future__ import annotations

from datetime import datetime

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from club.classes.queries import SessionQuerySet
from club.classes.words import SessionState
from club.members.choices import Skill
from club.members.models import Kitchen


class ClassSeries(models.Model):
    """Sessions that belong together, such as four Saturdays on pressure canning."""

    title = models.CharField(_("title"), max_length=120)
    token = models.UUIDField(unique=True, editable=False)
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-created_at", "-pk"]

    def __str__(self) -> str:
        return self.title


class ClassSession(models.Model):
    """One session. The wall day and hours are what people were told; the two moments are those hours in UTC.

    `seats_taken` counts seated and offered places. It is changed by a conditional update only, and a constraint keeps
    it within `seats_total`, so that a seat is never given twice, on any database and under any race.
    `sequence` counts every change that a calendar has to hear of (RFC 5545, SEQUENCE).
    """

    token = models.UUIDField(unique=True, editable=False)
    series = models.ForeignKey(ClassSeries, on_delete=models.PROTECT, null=True, blank=True, related_name="sessions")
    title = models.CharField(_("title"), max_length=120)
    hall = models.ForeignKey(
        Kitchen, on_delete=models.PROTECT, related_name="class_sessions", limit_choices_to={"is_hall": True}
    )
    day = models.DateField(_("day"))
    starts = models.TimeField(_("from"))
    ends = models.TimeField(_("to"))
    zone = models.CharField(max_length=60)  # whose wall clock that is
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()

    instructors = models.ManyToManyField(settings.AUTH_USER_MODEL, related_name="class_sessions_taught")
    about = models.TextField(_("what it is about"), blank=True)
    what_to_bring = models.TextField(_("what to bring"), blank=True)
    price_note = models.CharField(_("price"), max_length=200, blank=True)
    skill = models.CharField(_("skill that it teaches"), max_length=40, blank=True, choices=Skill.choices)

    minimum_people = models.PositiveSmallIntegerField(_("fewest people to run"), default=1)
    signup_opens_at = models.DateTimeField(_("sign-up opens"))
    signup_closes_at = models.DateTimeField(_("sign-up closes"))
    seats_total = models.PositiveSmallIntegerField(default=0)  # over all stations
    seats_taken = models.PositiveSmallIntegerField(default=0)

    state = models.CharField(max_length=10, choices=SessionState.choices, default=SessionState.DRAFT)
    published_at = models.DateTimeField(null=True, blank=True)
    cancelled_at = models.DateTimeField(null=True, blank=True)
    cancel_reason = models.CharField(max_length=300, blank=True)
    held_at = models.DateTimeField(null=True, blank=True)
    moved_at = models.DateTimeField(null=True, blank=True)  # its hours were changed: who signed up before is told
    sequence = models.PositiveIntegerField(default=0)
    changed_at = models.DateTimeField(default=timezone.now)
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)

    objects = SessionQuerySet.as_manager()

    class Meta:
        ordering = ["starts_at", "pk"]
        permissions = [("plan_session", "Can plan class sessions and run them")]
        indexes = [models.Index(fields=["state", "starts_at"])]
        constraints = [
            models.CheckConstraint(name="session_ends_after_it_starts", condition=Q(ends_at__gt=F("starts_at"))),
            models.CheckConstraint(name="session_never_oversold", condition=Q(seats_taken__lte=F("seats_total"))),
            models.CheckConstraint(
                name="session_signup_closes_after_it_opens", condition=Q(signup_closes_at__gt=F("signup_opens_at"))
            ),
            models.CheckConstraint(name="session_runs_with_somebody", condition=Q(minimum_people__gte=1)),
            models.CheckConstraint(
                name="session_published_says_when",
                condition=Q(state__in=["draft", "cancelled"]) | Q(published_at__isnull=False, seats_total__gte=1),
            ),
            models.CheckConstraint(
                name="session_cancelled_says_why",
                condition=~Q(state="cancelled") | (Q(cancelled_at__isnull=False) & ~Q(cancel_reason="")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.title} {self.day}"

    def get_absolute_url(self) -> str:
        return reverse("classes:session", args=[self.pk])

    @property
    def seats_left(self) -> int:
        return self.seats_total - self.seats_taken

    @property
    def is_published(self) -> bool:
        return self.state == SessionState.PUBLISHED

    def signup_is_open(self, now: datetime) -> bool:
        return self.is_published and self.signup_opens_at <= now < self.signup_closes_at
