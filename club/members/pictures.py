"""A picture that somebody sends: checked, decoded and written anew, so that nothing of the file that came is kept.

It lies down here because every room with pictures may import it, and because it guards people: the place and time that
a phone writes into its pictures must not reach the other members.
"""

from __future__ import annotations

import io

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

MOST_BYTES = 8 * 1024 * 1024
MOST_PIXELS = 50_000_000
LONGEST_SIDE = 1200
FORMATS = ("JPEG", "PNG", "WEBP")


def photo_as_jpeg(given: bytes) -> bytes:
    """At most 1,200 pixels along its longer side. The size is read before anything is decoded.

    ValidationError on `photo` for what is no JPEG, PNG or WebP picture, or too large.
    """
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
