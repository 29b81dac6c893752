"""When a batch is eaten: how it came out, pictures of it, and what the next plan of its recipe says of that."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import BinaryIO
from uuid import UUID

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from club.core.clock import now_or
from club.core.errors import AlreadyDone, same_form
from club.core.photos import MOST_BYTES, photo_as_jpeg
from club.members.models import User
from inventory.batches.choices import Set, Texture
from inventory.batches.models import CAME_OUT_LENGTH, CAPTION_LENGTH, Batch, BatchPhoto, CameOut
from inventory.batches.services.common import Problems, batch_lock, stove_check, writing_check
from recipes.models import Revision

MOST_PHOTOS = 12  # of one batch
SHOWN_BEFORE = 3  # notes of earlier batches beside a plan


@transaction.atomic
def came_out_note(
    *, by: User, batch: Batch, set_how: str = "", texture: str = "", note: str = "", now: datetime | None = None
) -> CameOut | None:
    """How it set, how it was to the bite, and what to do otherwise; written anew as often as one likes. None: nothing
    was said, and what stood there is taken away.

    ValidationError by field; AlreadyDone for a batch whose jars are not out yet, or that was given up.
    """
    writing_check(by, batch)
    batch_lock(batch.pk)
    if Batch.objects.filter(pk=batch.pk, jars_out_at=None).exists():
        raise AlreadyDone(_("It is not out yet, or was given up: nobody knows how it came out."))
    note, problems = " ".join(note.split()), Problems()
    if set_how not in ("", *Set.values):
        problems.add("set_how", _("Choose one of these."))
    if texture not in ("", *Texture.values):
        problems.add("texture", _("Choose one of these."))
    if len(note) > CAME_OUT_LENGTH:
        problems.add("note", _("At most %(n)s characters, please.") % {"n": CAME_OUT_LENGTH})
    problems.raise_if_any()
    if not (set_how or texture or note):
        CameOut.objects.filter(batch=batch).delete()
        return None
    said = {"set_how": set_how, "texture": texture, "note": note, "noted_by": by, "noted_at": now_or(now)}
    return CameOut.objects.update_or_create(batch=batch, defaults=said)[0]


def came_out_before(user: User, revision: Revision) -> Sequence[CameOut]:
    """What a plan of this recipe shows to this person; asked by name from the room below (NOTES_OF_PLANS)."""
    return list(CameOut.objects.before(user, revision.recipe_id)[:SHOWN_BEFORE])


@transaction.atomic
def batch_photo_add(
    *,
    by: User,
    batch: Batch,
    file: BinaryIO,
    caption: str,
    token: UUID,
    is_fault: bool = False,
    now: datetime | None = None,
) -> BatchPhoto:
    """A picture, without the place and time that a phone writes into it. The same `token` again finds it.

    ValidationError on `photo` or `caption`, and where the batch has as many as it keeps.
    """
    stove_check(by, batch)
    made = BatchPhoto.objects.filter(token=token).first()
    if made is not None:
        return same_form(made, batch_id=batch.pk, added_by_id=by.pk)
    caption = " ".join(caption.split())
    if not caption or len(caption) > CAPTION_LENGTH:
        raise ValidationError({"caption": _("Say in a few words what it shows.")})
    jpeg = photo_as_jpeg(file.read(MOST_BYTES + 1))
    batch_lock(batch.pk)
    if BatchPhoto.objects.filter(batch=batch).count() >= MOST_PHOTOS:
        raise ValidationError({"photo": _("A batch keeps %(n)s pictures: remove one first.") % {"n": MOST_PHOTOS}})
    return BatchPhoto.objects.create(
        batch=batch, token=token, jpeg=jpeg, is_fault=is_fault, caption=caption, added_by=by, added_at=now_or(now)
    )


@transaction.atomic
def batch_photo_remove(*, by: User, photo: BatchPhoto) -> None:
    """Whoever added it, or may write in the batch's log. AlreadyDone where it is gone."""
    if photo.added_by_id != by.pk:
        writing_check(by, photo.batch)
    elif not by.has_perm("batches.add_batch"):
        raise PermissionDenied
    if not BatchPhoto.objects.filter(pk=photo.pk).delete()[0]:
        raise AlreadyDone(_("This picture was removed before."))


@transaction.atomic
def person_forget(*, person: User) -> None:
    """Pictures and what was noted of the taste go with the name; lots and logs stay. Its caller checked who may."""
    BatchPhoto.objects.filter(added_by=person).delete()
    CameOut.objects.filter(noted_by=person).delete()
