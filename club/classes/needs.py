"""The one gate to what people wrote about allergies and access: a session's own instructors, and nobody else.

Of these, those who taught it when it was last written: whoever is named an instructor afterwards reads it once its
writer, who is told (club/reminders/class_notes.py), has sent it again.
Nor is it kept: a seat given up takes it along (services/waiting.py), and a week after the session it is erased.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime, timedelta

from django.db.models import Case, Exists, OuterRef, TextField, When

from club.classes.models import ClassSession, SignUp
from club.members.models import User

NEEDS_KEPT = timedelta(days=7)  # our own choice, no source


def teaches(user: User, session: ClassSession) -> bool:
    """One of the session's instructors by name. No role, permission or superuser stands in for that."""
    return user.is_active and session.instructors.filter(pk=user.pk).exists()


def needs_of(session: ClassSession, *, seen_by: User) -> dict[int, str | None]:
    """What was written, by sign-up key, of open sign-ups that wrote something; nothing for anybody else.

    None stands for what was written before this instructor was one.
    """
    if not teaches(seen_by, session):
        return {}
    written_for = SignUp.needs_for.through.objects.filter(signup=OuterRef("pk"), user=seen_by)
    wrote = SignUp.objects.open().filter(session=session).exclude(needs="").annotate(is_meant=Exists(written_for))
    # The text is not even read where it is not meant for them.
    text = Case(When(is_meant=True, then="needs"), default=None, output_field=TextField())
    return dict(wrote.annotate(read=text).values_list("pk", "read"))


def needs_written(signup: SignUp, *, named: Collection[int] | None) -> None:
    """Note for whom: who teaches the session and was named to the writer (by key; None: whoever teaches it now)."""
    teachers = [person.pk for person in teachers_of(signup.session)]
    meant = teachers if named is None else set(teachers).intersection(named)
    signup.needs_for.set(meant if signup.needs else [])


def teachers_of(session: ClassSession) -> list[User]:
    """Who reads what is written now: its active instructors."""
    return list(User.objects.get_queryset().filter(class_sessions_taught=session, is_active=True).in_order())


def unread_by(signup: SignUp) -> list[User]:
    """The session's instructors who do not read what this sign-up wrote."""
    if not signup.needs:
        return []
    meant = set(signup.needs_for.values_list("pk", flat=True))
    return [person for person in teachers_of(signup.session) if person.pk not in meant]


def needs_forget(*, now: datetime) -> int:
    """Erase what was written for sessions that ended a week ago or longer; how many sign-ups had something."""
    over = SignUp.objects.filter(session__ends_at__lte=now - NEEDS_KEPT).exclude(needs="")
    return over.update(needs="")
