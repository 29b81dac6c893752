"""What a person may see of the classes, and the questions the rooms ask of them."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from django.db import models
from django.db.models import Count, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce

from club.classes.words import OPEN_STATES, SEAT_STATES, SessionState, SignUpState
from club.members.models import User

if TYPE_CHECKING:
    from club.classes.models import ClassSession, SetAside, SignUp  # noqa: F401 - only names here, models import this module

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

    def with_line(self, user: User) -> SessionQuerySet:
        """Each row with `waiting`, how many parties wait, and `my_state`, the state of this person's open sign-up."""
        from club.classes.models import SignUp

        line = SignUp.objects.filter(session=OuterRef("pk"), state=SignUpState.WAITING, person__is_active=True)
        waiting = line.values("session").annotate(n=Count("pk")).values("n")
        mine = SignUp.objects.open().of(user).filter(session=OuterRef("pk")).values("state")
        return self.annotate(waiting=Coalesce(Subquery(waiting), 0), my_state=Subquery(mine[:1]))


class SignUpQuerySet(models.QuerySet["SignUp"]):
    def of(self, user: User) -> SignUpQuerySet:
        return self.filter(person=user)

    def visible_to(self, user: User) -> SignUpQuerySet:
        """The gate: one's own, and those of the sessions one runs. `needs` has a gate of its own, needs.py."""
        from club.classes.models import ClassSession

        return self.filter(Q(person=user) | Q(session__in=ClassSession.objects.run_by(user))).defer("needs")

    def with_place(self) -> SignUpQuerySet:
        """Each row with `ahead`: how many parties wait in front of it."""
        before = Q(joined_at__lt=OuterRef("joined_at")) | Q(joined_at=OuterRef("joined_at"), pk__lt=OuterRef("pk"))
        line = self.model.objects.filter(before, session=OuterRef("session"), person__is_active=True)
        ahead = line.waiting().order_by().values("session").annotate(n=Count("pk")).values("n")
        return self.annotate(ahead=Coalesce(Subquery(ahead), 0))

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


class SetAsideQuerySet(models.QuerySet["SetAside"]):
    def standing(self, now: datetime) -> SetAsideQuerySet:
        """What is still kept: of sessions that are to come or going on. It ends by itself with the session."""
        kept = [SessionState.DRAFT, SessionState.PUBLISHED]
        return self.filter(session__state__in=kept, session__ends_at__gt=now)
