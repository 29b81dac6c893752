"""When the day is over: the session is closed, and what was learned, own notes and pictures are kept with it."""

from __future__ import annotations

from datetime import datetime
from typing import BinaryIO
from uuid import UUID

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from club.classes.models import ClassSession, OwnNote, SessionPhoto, SessionReport, SignUp
from club.classes.models.day import CAPTION_LENGTH, NOTE_LENGTH
from club.classes.services.on_the_day import session_on_the_day
from club.classes.services.running import form_used, run_check
from club.classes.words import SessionState
from club.core.photos import MOST_BYTES, photo_as_jpeg
from club.members.models import User
from club.members.services import skill_gain
from inventory.equipment.services.common import now_or

MOST_PHOTOS = 12  # our own choice, no source


@transaction.atomic
def session_close(*, by: User, session: ClassSession, learned: str = "", now: datetime | None = None) -> ClassSession:
    """The session was held. The roll must be whole: who was there is what everything afterwards hangs on.

    ValidationError before it began, while somebody is not called yet, and when it was closed already.
    """
    now = now_or(now)
    session = session_on_the_day(by, session, now)
    if now < session.starts_at:
        raise ValidationError(_("This session has not begun yet."))
    uncalled = SignUp.objects.seated().filter(session=session, came=None).count()
    if uncalled:
        text = ngettext("%(n)s sign-up is not called yet.", "%(n)s sign-ups are not called yet.", uncalled)
        raise ValidationError(f"{text % {'n': uncalled}} {_('Say of each who came, or that nobody did.')}")
    told = {"learned": _text(learned, "learned"), "closed_by": by, "changed_at": now}
    ClassSession.objects.filter(pk=session.pk).update(state=SessionState.HELD, held_at=now)
    SessionReport.objects.create(session=session, **told)
    _skills_note(by, session)
    return ClassSession.objects.get(pk=session.pk)


def _skills_note(by: User, session: ClassSession) -> None:
    """Whoever signed up and came has learned what the session teaches. An organiser closes for those who taught it.

    Nobody says it of herself: where nobody else may say it, it is not noted, and another instructor waives it.
    """
    if not session.skill:
        return
    teachers = [by, *session.instructors.filter(is_active=True).order_by("pk")]
    may_note = [one for one in teachers if one.has_perm("members.note_skill")]
    if not may_note:
        raise ValidationError(_("This class teaches a skill: an instructor closes it, who may say who learned it."))
    for signup in SignUp.objects.came().filter(session=session).select_related("person"):
        noted_by = next((one for one in may_note if one.pk != signup.person_id), None)
        if noted_by is not None:
            skill_gain(
                by=noted_by,
                person=signup.person,
                skill=session.skill,
                gained_on=session.day,
                class_title=session.title,
            )


@transaction.atomic
def learned_change(*, by: User, session: ClassSession, learned: str, now: datetime | None = None) -> None:
    """What was learned, written anew; only of a session that was held."""
    run_check(by, session)
    told = {"learned": _text(learned, "learned"), "changed_at": now_or(now)}
    if SessionReport.objects.filter(session=session).update(**told) != 1:
        raise ValidationError(_("Close the session first."))


@transaction.atomic
def own_note_write(*, by: User, signup: SignUp, text: str, now: datetime | None = None) -> None:
    """A student's own note; an empty one is taken away. Hers alone to write."""
    if not SignUp.objects.came().of(by).filter(pk=signup.pk).exists():
        raise PermissionDenied
    text = _text(text, "text")
    if text:
        OwnNote.objects.update_or_create(signup=signup, defaults={"text": text, "changed_at": now_or(now)})
    else:
        OwnNote.objects.filter(signup=signup).delete()


@transaction.atomic
def photo_add(
    *,
    by: User,
    session: ClassSession,
    file: BinaryIO,
    caption: str,
    token: UUID,
    now: datetime | None = None,
) -> SessionPhoto:
    """A picture of the day; place and time that a phone writes into it are left out. The caption is its text."""
    run_check(by, session)
    made = SessionPhoto.objects.filter(token=token, session=session).first()
    if made is not None:
        return made
    caption = " ".join(caption.split())
    if not caption or len(caption) > CAPTION_LENGTH:
        raise ValidationError({"caption": _("Say in a few words what it shows.")})
    jpeg = photo_as_jpeg(file.read(MOST_BYTES + 1))
    # An update that changes nothing makes a second press wait, so that the count below holds.
    ClassSession.objects.filter(pk=session.pk).update(title=F("title"))
    if SessionPhoto.objects.filter(session=session).count() >= MOST_PHOTOS:
        raise ValidationError({"photo": _("A session keeps %(n)s pictures: remove one first.") % {"n": MOST_PHOTOS}})
    if SessionPhoto.objects.filter(token=token).exists():
        raise form_used()
    told = {"jpeg": jpeg, "caption": caption, "added_by": by, "added_at": now_or(now)}
    return SessionPhoto.objects.create(session=session, token=token, **told)


@transaction.atomic
def photo_remove(*, by: User, photo: SessionPhoto) -> None:
    run_check(by, photo.session)
    SessionPhoto.objects.filter(pk=photo.pk).delete()


def _text(text: str, field: str) -> str:
    text = text.strip()
    if len(text) > NOTE_LENGTH:
        raise ValidationError({field: _("At most %(n)s characters, please.") % {"n": NOTE_LENGTH}})
    return text
