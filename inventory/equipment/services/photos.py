"""The picture of a thing."""

from __future__ import annotations

from datetime import datetime
from typing import BinaryIO

from club.core.photos import MOST_BYTES, photo_as_jpeg
from club.members.models import User
from inventory.equipment.models import Thing, ThingPhoto
from inventory.equipment.services.common import keeper_check, now_or


def photo_set(*, by: User, thing: Thing, file: BinaryIO, now: datetime | None = None) -> ThingPhoto:
    """Replace the picture. The place and time that a phone writes into its pictures are left out.

    PermissionDenied; ValidationError on `photo` for what is no JPEG, PNG or WebP picture, or too large.
    """
    keeper_check(by)
    jpeg = photo_as_jpeg(file.read(MOST_BYTES + 1))
    photo, _made = ThingPhoto.objects.update_or_create(thing=thing, defaults={"jpeg": jpeg, "changed_at": now_or(now)})
    return photo


def photo_clear(*, by: User, thing: Thing) -> None:
    keeper_check(by)
    ThingPhoto.objects.filter(thing=thing).delete()
