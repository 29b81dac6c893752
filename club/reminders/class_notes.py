"""Somebody came to teach a session after a student wrote to its instructors: the student is asked before it is read."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime

from django.db.models import Exists, F, OuterRef, QuerySet
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from club.classes.choices import SessionState
from club.classes.models import SignUp
from club.members.models import User
from club.reminders.letters import Told, day_words, letter
from club.reminders.models import Reminder
from club.reminders.subjects import ids_of, subject_id
from club.reminders.terms import Rule
from club.reminders.wording import Due, Message

SUBJECT = "class-note:"


def due(now: datetime) -> Iterator[Due]:
    """At once, for each instructor who does not read what was written; until the session begins. One query."""
    for pk, person, teacher in _unread(now):
        yield Due(f"{SUBJECT}{pk}", str(teacher), person, now)


def still_due(reminder: Reminder, now: datetime) -> bool:
    """Neither sent again nor emptied since, and that instructor teaches it still."""
    same = _unread(now).filter(pk=subject_id(reminder))
    return (subject_id(reminder), reminder.person_id, int(reminder.occurrence)) in same


def message(reminder: Reminder, now: datetime) -> Message:
    signup = SignUp.objects.select_related("session").defer("needs").get(pk=subject_id(reminder))
    teacher = User.objects.get(pk=int(reminder.occurrence))

    def told() -> Told:
        session = signup.session
        names = {"teacher": str(teacher), "title": session.title, "day": day_words(session.day)}
        said = _("%(teacher)s teaches %(title)s on %(day)s too now.") % names
        then = _("They read what you wrote for the instructors only if you send it again. You can also change it.")
        return _("May %(teacher)s read your note? %(title)s") % names, [said, then], _("Look at your note")

    return letter(reminder, reverse("classes:notes", args=[signup.pk]), told)


def _unread(now: datetime) -> QuerySet[SignUp, tuple[int, int, int]]:
    """Sign-up, its person and an active instructor for whom what it wrote was not written, by their keys."""
    wrote = SignUp.objects.open().exclude(needs="").filter(person__is_active=True)
    coming = {"session__state": SessionState.PUBLISHED, "session__starts_at__gt": now}
    taught = wrote.filter(**coming, session__instructors__is_active=True).annotate(teacher=F("session__instructors"))
    meant = SignUp.needs_for.through.objects.filter(signup=OuterRef("pk"), user=OuterRef("teacher"))
    return taught.filter(~Exists(meant)).order_by().values_list("pk", "person", "teacher")


def words(subjects: Iterable[str]) -> dict[str, str]:
    """The session's title by subject; one query."""
    rows = SignUp.objects.filter(pk__in=ids_of(subjects, SUBJECT)).values_list("pk", "session__title")
    return {f"{SUBJECT}{pk}": title for pk, title in rows}


RULES: tuple[Rule, ...] = (
    Rule("class-note", gettext_lazy("a new instructor, and your note"), due, still_due, message),
)
