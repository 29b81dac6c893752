"""A picture that somebody sends: checked, decoded and written anew, so that nothing of the file that came is kept.

It lies down here because every room with pictures may import it, and because it guards people: the place and time that
a phone writes into its pictures must not reach the other members.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

if TYPE_CHECKING:
    from PIL.Image import Image, Transpose

MOST_BYTES = 8 * 1024 * 1024
MOST_PIXELS = 50_000_000
MOST_ALONG_A_SIDE = 20_000  # a strip of one pixel's width takes a decoder ten times the memory of a square
LONGEST_SIDE = 1200
LONGEST_TO_READ = 1600  # pixels in which a square that fills a tenth of the picture is still read
LONGEST_CODE, MOST_CODES = 300, 12
FORMATS = ("JPEG", "PNG", "WEBP")
SHRINK_AS_THEY_ARE = ("L", "RGB", "RGBA", "CMYK")  # the others have no colours between two of theirs


# Where the upper edge of what was seen stands in the stored picture (Exif 2.32, 4.6.4, tag 0x0112).
ORIENTATION = 0x0112


def photo_as_jpeg(given: bytes) -> bytes:
    """At most 1,200 pixels along its longer side. The size is read before anything is decoded.

    ValidationError on `photo` for what is no JPEG, PNG or WebP picture, or too large.
    """
    with _decoded(given) as picture:
        turn = _turn(picture)
        upright = _shrunk(picture, LONGEST_SIDE).convert("RGB")
    if turn is not None:
        upright = upright.transpose(turn)
    written = io.BytesIO()
    upright.save(written, "JPEG", quality=82, optimize=True)
    return written.getvalue()


def codes_in_photo(given: bytes) -> list[str]:
    """What the squares in a picture say, each once, in the order they were found. Nothing of the picture is kept.

    ValidationError as of `photo_as_jpeg`.
    """
    import zxingcpp  # only who asks for it waits for it

    with _decoded(given) as picture:
        grey = _shrunk(picture, LONGEST_TO_READ).convert("L")
    found = zxingcpp.read_barcodes(grey, formats=zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode))
    return list(dict.fromkeys(one.text[:LONGEST_CODE] for one in found if one.text))[:MOST_CODES]


@contextmanager
def _decoded(given: bytes) -> Iterator[Image]:
    """The picture, opened within bounds; what goes wrong while it is decoded is refused as well."""
    from PIL import Image as pillow  # a page without pictures does without it

    if len(given) > MOST_BYTES:
        raise ValidationError({"photo": _("A picture may have at most 8 MB.")})
    try:
        with pillow.open(io.BytesIO(given), formats=FORMATS) as picture:
            if picture.width * picture.height > MOST_PIXELS or max(picture.size) > MOST_ALONG_A_SIDE:
                raise ValidationError({"photo": _("This picture has too many pixels. Take a smaller one.")})
            yield picture
    except (OSError, ValueError, SyntaxError, pillow.DecompressionBombError) as error:
        raise ValidationError({"photo": _("This is no picture that can be read: JPEG, PNG or WebP.")}) from error


def _shrunk(picture: Image, longest: int) -> Image:
    small = picture if picture.mode in SHRINK_AS_THEY_ARE else picture.convert("RGB")
    small.thumbnail((longest, longest))
    return small


def _turn(picture: Image) -> Transpose | None:
    """How the picture is turned upright, as the camera says; None where it stands so, or says nothing we can read.

    What else a camera writes is not read at all: cameras, and people with a grudge, write all sorts of things there.
    """
    from PIL.Image import Transpose

    turns = {
        2: Transpose.FLIP_LEFT_RIGHT,
        3: Transpose.ROTATE_180,
        4: Transpose.FLIP_TOP_BOTTOM,
        5: Transpose.TRANSPOSE,
        6: Transpose.ROTATE_270,
        7: Transpose.TRANSVERSE,
        8: Transpose.ROTATE_90,
    }
    try:
        orientation = picture.getexif().get(ORIENTATION)
    except Exception:  # Pillow lets through whatever its own reading stumbles over
        return None
    return turns.get(orientation) if isinstance(orientation, int) else None
