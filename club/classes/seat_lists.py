"""What the pages of sessions and seats show: a few queries each, however many people there are."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.utils import timezone

from club.classes.models import ClassSession, SignUp
from club.classes.needs import needs_of, teaches
from club.classes.seat_forms import SignUpForm
from club.classes.seat_rules import LAST_OFFER_BEFORE, RULES
from club.classes.services.seats import TEACHES, open_check
from club.classes.words import SessionState
from club.members.models import User
from recipes.models import Recipe

PAST_SHOWN = 20


def session_told(session: ClassSession, user: User, form: SignUpForm) -> dict[str, Any]:
    """The page of one session: for everybody, and for those who run it who comes and who waits."""
    now = timezone.now()
    signup = SignUp.objects.of(user).open().filter(session=session).defer("needs").with_place().first()
    if signup is not None:
        _tell_hours(signup, session, now)
    runs = ClassSession.objects.run_by(user).filter(pk=session.pk).exists()
    is_teacher = teaches(user, session)
    closed = TEACHES if is_teacher else why_closed(session, now)
    return {
        "session": session,
        "signup": signup,
        "form": None if signup or closed else form,
        "closed": closed,
        "recipes": Recipe.objects.readable().filter(revisions__stations__session=session).distinct(),
        "seat_rules": RULES,
        "runs": runs,
        "has_begun": session.starts_at <= now,
        **(people_told(session, user) if runs or is_teacher else {}),
    }


def _tell_hours(signup: SignUp, session: ClassSession, now: datetime) -> None:
    signup.has_begun = session.starts_at <= now  # type: ignore[attr-defined]
    signup.offers_are_over = now >= session.starts_at - LAST_OFFER_BEFORE  # type: ignore[attr-defined]


def people_told(session: ClassSession, user: User) -> dict[str, Any]:
    """Who comes, who was offered a seat and who waits; what they wrote, where this person is to see it."""
    rows = SignUp.objects.open().filter(session=session).select_related("person").defer("needs")
    wrote = needs_of(session, seen_by=user)
    shown = list(rows.order_by("joined_at", "pk"))
    for row in shown:
        row.told_needs = wrote.get(row.pk, "")  # type: ignore[attr-defined]
        row.hides_needs = row.told_needs is None  # type: ignore[attr-defined]
    return {
        "shows_people": True,
        "comes": [one for one in shown if one.state == "seated"],
        "offered": [one for one in shown if one.state == "offered"],
        "waits": [one for one in shown if one.state == "waiting"],
    }


def my_signups(user: User, now: datetime) -> dict[str, Any]:
    """What one is signed up for, soonest first; and where one was."""
    rows = SignUp.objects.of(user).defer("needs").select_related("session__hall")
    coming = rows.open().filter(session__ends_at__gt=now).with_place().order_by("session__starts_at", "pk")
    signups = list(coming)
    for signup in signups:
        _tell_hours(signup, signup.session, now)
    past = rows.seated().filter(session__ends_at__lte=now).exclude(session__state=SessionState.CANCELLED)
    return {"signups": signups, "past": past.order_by("-session__starts_at", "-pk")[:PAST_SHOWN]}


def why_closed(session: ClassSession, now: datetime) -> str:
    """Why nobody can sign up just now, in words; empty while it is open."""
    try:
        open_check(session, now)
    except ValidationError as error:
        return " ".join(error.messages)
    return ""
