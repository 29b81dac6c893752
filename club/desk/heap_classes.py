"""Seats one is offered, classes one goes to, and those one runs."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from django.db.models import Case, Q, When
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from club.classes.choices import SEAT_STATES, SessionState, SignUpState
from club.classes.models import ClassSession, SignUp
from club.desk.heaps import SHOWN, Card, Heap, heap, hour_words
from club.members.models import User

# Our own choice, no source: what is further ahead stands on the classes' own page.
SOON = timedelta(days=14)


def class_heaps(user: User, now: datetime) -> Iterator[Heap]:
    mine = list(_seats(user, now))
    offered = [one for one in mine if one.state == SignUpState.OFFERED]
    seated = [one for one in mine if one.state == SignUpState.SEATED]
    yield heap("seats-offered", _("A seat for you"), map(_offer_card, offered))
    yield heap(
        "classes-mine",
        _("Your classes"),
        (_card(one.session, reverse("classes:session", args=[one.session_id])) for one in seated),
        more=_("All your classes"),
        more_url=reverse("classes:mine"),
    )
    yield heap("classes-taught", _("Classes you run"), _taught_cards(user, now))


def _seats(user: User, now: datetime) -> Iterator[SignUp]:
    """Seats near at hand; an offer runs out in hours, so it is shown however far ahead its session is, and first."""
    rows = SignUp.objects.of(user).filter(
        Q(state=SignUpState.OFFERED) | Q(session__starts_at__lt=now + SOON),
        state__in=SEAT_STATES,
        session__state=SessionState.PUBLISHED,
        session__ends_at__gt=now,
    )
    first = Case(When(state=SignUpState.OFFERED, then=0), default=1)
    yield from rows.select_related("session__hall").defer("needs").order_by(first, "session__starts_at", "pk")[:SHOWN]


def _offer_card(signup: SignUp) -> Card:
    until = hour_words(signup.offer_until) if signup.offer_until else ""
    told = _("take it or leave it until %(when)s") % {"when": until}
    return _card(signup.session, reverse("classes:session", args=[signup.session_id]), tag=told)


def _taught_cards(user: User, now: datetime) -> Iterator[Card]:
    """What one teaches, from two weeks before to the day it is closed; a draft that nobody published yet as well."""
    if not user.has_perm("classes.plan_session"):
        return
    sessions = ClassSession.objects.filter(
        instructors=user, state__in=[SessionState.DRAFT, SessionState.PUBLISHED], starts_at__lt=now + SOON
    ).select_related("hall")
    for session in sessions.order_by("starts_at", "pk")[:SHOWN]:
        if session.state == SessionState.DRAFT:
            yield _card(session, reverse("classes:plan", args=[session.pk]), tag=_("not published yet"))
        elif session.ends_at <= now:
            yield _card(session, reverse("classes:after", args=[session.pk]), tag=_("call the roll and close it"))
        else:
            taken = ngettext("%(n)s seat taken", "%(n)s seats taken", session.seats_taken) % {"n": session.seats_taken}
            yield _card(session, reverse("classes:session", args=[session.pk]), tag=taken, tone="go")


def _card(session: ClassSession, url: str, *, tag: str = "", tone: str = "wait") -> Card:
    return Card(session.title, url, f"{hour_words(session.starts_at)} · {session.hall.name}", tag, tone)
