"""What people wrote about allergies and access: for whom it is, who read it, and when it is erased.

The gate to it is `needs_of` in the room's models; whoever shows it asks here, so that each look is noted.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime, timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from club.classes.models import ClassSession, OwnNote, SignUp, needs_of, teachers_of
from club.classes.services.common import session_reference
from club.core.sealing import Unreadable, can_seal
from club.members.choices import EventKind
from club.members.models import User
from club.members.services import people_event

NEEDS_KEPT = timedelta(days=7)  # after the session; our own choice, no source


def needs_check(needs: str) -> None:
    """ValidationError (needs) where there is no key to seal it with: it is not kept open instead."""
    if needs and not can_seal():
        text = _("This cannot be kept safely just now, so it was not saved. Tell the instructor in person.")
        raise ValidationError({"needs": text})


def needs_written(signup: SignUp, *, named: Collection[int] | None) -> None:
    """Note for whom: who teaches the session and was named to the writer (by key; None: whoever teaches it now)."""
    teachers = [person.pk for person in teachers_of(signup.session)]
    meant = teachers if named is None else set(teachers).intersection(named)
    signup.needs_for.set(meant if signup.needs else [])


def needs_read(*, by: User, session: ClassSession, now: datetime | None = None) -> dict[int, str | None]:
    """As needs_of, and each note that they get to read is a row of the people's ledger: what cannot be noted is not
    read. Where there is none to read nothing is written.
    """
    found = needs_of(session, seen_by=by)
    if opened := [key for key, text in found.items() if text is not None and not isinstance(text, Unreadable)]:
        writers = User.objects.filter(signups__in=opened).order_by("pk")
        people_event(EventKind.NOTE_READ, by=by, people=writers, reference=session_reference(session), now=now)
    return found


def needs_erase(*, now: datetime) -> int:
    """Erase what was written for sessions that ended a week ago or longer; how many sign-ups had something."""
    over = SignUp.objects.filter(session__ends_at__lte=now - NEEDS_KEPT).exclude(needs="")
    return over.update(needs="")


def needs_reseal() -> tuple[int, int]:
    """Seal everything with the newest key; how many notes were, and how many no key here opens."""
    done = unreadable = 0
    for key in SignUp.objects.exclude(needs="").values_list("pk", flat=True):
        with transaction.atomic():
            signup = SignUp.objects.select_for_update().only("needs").get(pk=key)
            if isinstance(signup.needs, Unreadable):
                unreadable += 1
            elif signup.needs:
                SignUp.objects.filter(pk=key).update(needs=signup.needs)
                done += 1
    return done, unreadable


@transaction.atomic
def person_forget(*, person: User) -> None:
    """What a former member wrote, and whom they brought along. Checks no permission: its caller has."""
    SignUp.objects.of(person).update(needs="", companion="")
    OwnNote.objects.filter(signup__person=person).delete()
