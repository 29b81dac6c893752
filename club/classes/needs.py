"""The one gate to what people wrote about allergies and access: a session's own instructors, and nobody else.

Nor is it kept: a seat given up takes it along (services/waiting.py), and a week after the session it is erased.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from club.classes.models import ClassSession, SignUp
from club.members.models import User

NEEDS_KEPT = timedelta(days=7)  # our own choice, no source


def teaches(user: User, session: ClassSession) -> bool:
    """One of the session's instructors by name. No role, permission or superuser stands in for that."""
    return user.is_active and session.instructors.filter(pk=user.pk).exists()


def needs_of(session: ClassSession, *, seen_by: User) -> dict[int, str]:
    """What was written, by sign-up key, of open sign-ups that wrote something; nothing for anybody else."""
    if not teaches(seen_by, session):
        return {}
    wrote = SignUp.objects.open().filter(session=session).exclude(needs="")
    return dict(wrote.values_list("pk", "needs"))


def needs_forget(*, now: datetime) -> int:
    """Erase what was written for sessions that ended a week ago or longer; how many sign-ups had something."""
    over = SignUp.objects.filter(session__ends_at__lte=now - NEEDS_KEPT).exclude(needs="")
    return over.update(needs="")
