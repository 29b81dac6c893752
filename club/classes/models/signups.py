"""Who comes, who waits, and who was offered a seat that came free."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from club.classes.models.sessions import ClassSession
from club.classes.models.stations import Station
from club.classes.queries import SignUpQuerySet
from club.classes.words import SignUpState


class SignUp(models.Model):
    """One person, or a party of two, for one session. The places of an offered or seated sign-up are taken seats.

    `needs` (allergies, access) is for the session's instructors alone: show it through one gate, and export it never.
    """

    session = models.ForeignKey(ClassSession, on_delete=models.PROTECT, related_name="signups")
    token = models.UUIDField(unique=True, editable=False)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="signups")
    places = models.PositiveSmallIntegerField(_("places"), default=1)
    companion = models.CharField(_("who comes along"), max_length=120, blank=True)
    needs = models.TextField(_("allergies and access"), blank=True)
    # The session's instructors when `needs` was last written: nobody who came after them reads it.
    needs_for = models.ManyToManyField(settings.AUTH_USER_MODEL, related_name="+", blank=True)
    state = models.CharField(max_length=10, choices=SignUpState.choices)
    is_walk_in = models.BooleanField(default=False)
    joined_at = models.DateTimeField()
    offered_at = models.DateTimeField(null=True, blank=True)
    offer_until = models.DateTimeField(null=True, blank=True)
    seated_at = models.DateTimeField(null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)  # cancelled or lapsed

    station = models.ForeignKey(Station, on_delete=models.SET_NULL, null=True, blank=True, related_name="signups")
    # Roll call: how many of the party came. Empty: not called yet.
    came = models.PositiveSmallIntegerField(null=True, blank=True)

    objects = SignUpQuerySet.as_manager()

    class Meta:
        ordering = ["joined_at", "pk"]
        indexes = [
            models.Index(fields=["session", "state", "joined_at"]),
            models.Index(fields=["person", "state"]),
            models.Index(fields=["state", "offer_until"]),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["session", "person"],
                name="one_open_signup_per_person",
                condition=Q(state__in=["waiting", "offered", "seated"]),
            ),
            models.CheckConstraint(name="signup_of_one_or_two", condition=Q(places__in=[1, 2])),
            models.CheckConstraint(
                name="signup_offered_until_when",
                condition=~Q(state="offered") | Q(offered_at__isnull=False, offer_until__isnull=False),
            ),
            models.CheckConstraint(
                name="signup_seated_since_when", condition=~Q(state="seated") | Q(seated_at__isnull=False)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.session_id} {self.person_id} {self.state}"

    @property
    def is_seated(self) -> bool:
        return self.state == SignUpState.SEATED

    @property
    def is_absent(self) -> bool:
        return self.came == 0

    @property
    def came_one(self) -> bool:
        return self.came == 1

    @property
    def came_both(self) -> bool:
        return self.came == 2
