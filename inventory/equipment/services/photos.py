"""The picture of a thing: checked, decoded and written anew, so that nothing of the file that came is kept."""

from __future__ import annotations

import io
from datetime import datetime
from typing import BinaryIO

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from club.members.models import User
from inventory.equipment.models import Thing, ThingPhoto
from inventory.equipment.services.common import keeper_check, now_or

MOST_BYTES = 8 * 1024 * 1024
MOST_PIXELS = 50_000_000
LONGEST_SIDE = 1200
FORMATS = ("JPEG", "PNG", "WEBP")


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


def photo_as_jpeg(given: bytes) -> bytes:
    """At most 1,200 pixels along its longer side. The size is read before anything is decoded."""
    from PIL import Image, ImageOps  # a page without pictures does without it

    if len(given) > MOST_BYTES:
        raise ValidationError({"photo": _("A picture may have at most 8 MB.")})
    try:
        with Image.open(io.BytesIO(given), formats=FORMATS) as picture:
            if picture.width * picture.height > MOST_PIXELS:
                raise ValidationError({"photo": _("This picture has too many pixels. Take a smaller one.")})
            upright = ImageOps.exif_transpose(picture).convert("RGB")
            upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        raise ValidationError({"photo": _("This is no picture that can be read: JPEG, PNG or WebP.")}) from error
    written = io.BytesIO()
    upright.save(written, "JPEG", quality=82, optimize=True)
    return written.getvalue()
