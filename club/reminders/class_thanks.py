"""Thanks to everybody who came to a session, with the way to the handout; due once the session is closed.

The handout is a page behind the sign-in, which also gives it as a PDF: a mail carries no attachment, so that a letter
that went astray shows nobody's kitchens.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, timedelta

from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from club.classes.choices import SessionState
from club.classes.models import SignUp
from club.reminders.letters import Told, letter
from club.reminders.models import Reminder
from club.reminders.terms import Rule
from club.reminders.wording import Due, Message
from inventory.batches.choices import BatchState

SUBJECT = "class-thanks:"
# Our own choice, no source: thanks that come later than this look like an error.
TOO_LATE_TO_THANK = timedelta(days=7)


def due(now: datetime) -> Iterator[Due]:
    """To each who came to a session that was closed within the week."""
    after = now.astimezone(UTC) - TOO_LATE_TO_THANK
    thanked = SignUp.objects.came().filter(
        session__state=SessionState.HELD,
        session__held_at__gt=after,
        session__held_at__lte=now,
        person__is_active=True,
    )
    for pk, person, held in thanked.values_list("pk", "person_id", "session__held_at"):
        assert held is not None  # what is not, is not later than anything
        yield Due(f"{SUBJECT}{pk}", held.astimezone(UTC).isoformat(), person, due_at=held.astimezone(UTC))


def still_due(reminder: Reminder, now: datetime) -> bool:
    signup = _signup(reminder)
    if signup is None or not reminder.person.is_active or signup.session.held_at is None:
        return False
    held = signup.session.held_at.astimezone(UTC)
    return held.isoformat() == reminder.occurrence and now.astimezone(UTC) < held + TOO_LATE_TO_THANK


def message(reminder: Reminder, now: datetime) -> Message:
    signup = _signup(reminder)
    assert signup is not None  # still due, a moment ago

    def told() -> Told:
        session, cooking = signup.session, getattr(signup.station, "cooking", None)
        names = {"title": session.title, "day": date_format(session.day, "l j F")}
        paragraphs = [_("Thank you for coming to %(title)s on %(day)s.") % names]
        if cooking is not None and cooking.batch.state != BatchState.ABANDONED:
            paragraphs.append(_lot(signup, cooking.batch.lot_code, cooking.batch.made_by_id))
        paragraphs.append(
            _("Your handout has the recipe as your station cooked it, and the process time of your own kitchen.")
        )
        return _("Thank you for coming: %(title)s") % names, paragraphs, _("Read and print the handout")

    return letter(reminder, reverse("classes:handout", args=[signup.pk]), told)


def _lot(signup: SignUp, lot: str, taker: int) -> str:
    if taker == signup.person_id:
        said = _("The jars with lot code %(lot)s are yours: we write again when it is time to look at their seals.")
    else:
        said = _("The jars of your station have the lot code %(lot)s.")
    return said % {"lot": lot}


def _signup(reminder: Reminder) -> SignUp | None:
    pk = int(reminder.subject.removeprefix(SUBJECT))
    held = SignUp.objects.came().filter(session__state=SessionState.HELD)
    return held.select_related("session", "station__cooking__batch").filter(pk=pk, person=reminder.person_id).first()


def words(subjects: Iterable[str]) -> dict[str, str]:
    """The session's title by subject."""
    pks = [int(one.removeprefix(SUBJECT)) for one in subjects if one.startswith(SUBJECT)]
    if not pks:
        return {}
    rows = SignUp.objects.filter(pk__in=pks).values_list("pk", "session__title")
    return {f"{SUBJECT}{pk}": title for pk, title in rows}


RULES: tuple[Rule, ...] = (
    Rule("class-thanks", gettext_lazy("thank you, and the handout"), due, still_due, message, after_lost_lease="hold"),
)
