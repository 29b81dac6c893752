"""What a person may see of the classes, and the questions the rooms ask of them."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from django.db import models
from django.db.models import Q

from club.classes.words import OPEN_STATES, SEAT_STATES, SessionState, SignUpState
from club.members.models import User

if TYPE_CHECKING:
    from club.classes.models import ClassSession, SignUp  # noqa: F401 - only names here, models import this module

PLAN = "classes.plan_session"


class SessionQuerySet(models.QuerySet["ClassSession"]):
    def visible_to(self, user: User) -> SessionQuerySet:
        """The gate: what was published once is everybody's to see; a plan in the making is its planners'."""
        if user.has_perm(PLAN):
            return self
        return self.exclude(state=SessionState.DRAFT).exclude(published_at=None)

    def run_by(self, user: User) -> SessionQuerySet:
        """The gate for changing and running: its own instructors who may plan, and whoever made it."""
        if not user.has_perm(PLAN):
            return self.none()
        if user.is_superuser:
            return self
        mine = Q(created_by=user) | Q(pk__in=user.class_sessions_taught.values("pk"))
        return self.filter(mine)

    def published(self) -> SessionQuerySet:
        return self.filter(state=SessionState.PUBLISHED)

    def coming(self, now: datetime) -> SessionQuerySet:
        return self.published().filter(ends_at__gt=now)

    def past(self, now: datetime) -> SessionQuerySet:
        return self.filter(Q(ends_at__lte=now) | Q(state=SessionState.HELD)).order_by("-starts_at", "-pk")

    def for_list(self) -> SessionQuerySet:
        return self.select_related("hall", "series").prefetch_related("instructors")


class SignUpQuerySet(models.QuerySet["SignUp"]):
    def of(self, user: User) -> SignUpQuerySet:
        return self.filter(person=user)

    def open(self) -> SignUpQuerySet:
        return self.filter(state__in=OPEN_STATES)

    def holding_seats(self) -> SignUpQuerySet:
        """Offered and seated: what `ClassSession.seats_taken` counts."""
        return self.filter(state__in=SEAT_STATES)

    def seated(self) -> SignUpQuerySet:
        return self.filter(state=SignUpState.SEATED)

    def at_the_hall(self) -> SignUpQuerySet:
        """Seated and not known to be absent: who sits at a station, or is still awaited."""
        return self.seated().exclude(came=0)

    def came(self) -> SignUpQuerySet:
        """Who was there, as far as the roll was called."""
        return self.seated().filter(came__gte=1)

    def handouts_for(self, user: User) -> SignUpQuerySet:
        """The gate to a handout: one's own, where one came, and those of the sessions that one runs."""
        from club.classes.models import ClassSession

        run = ClassSession.objects.run_by(user).values("pk")
        return self.came().filter(Q(person=user) | Q(session__in=run))

    def waiting(self) -> SignUpQuerySet:
        """In the order in which they are asked."""
        return self.filter(state=SignUpState.WAITING).order_by("joined_at", "pk")
