"""The program of a process that opens one picture: it may be killed, and nothing else of the site is in it.

    python -I decoding.py (jpeg | codes) < picture > answer

Answers with a JPEG, or with what the squares in the picture say as a JSON list; and with the status NO_PICTURE or
TOO_MANY_PIXELS where it refuses. `club/core/photos.py` starts it; nobody imports it there but for these numbers.
"""

from __future__ import annotations

import io
import json
import resource
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from PIL.Image import Image, Transpose

NO_PICTURE, TOO_MANY_PIXELS = 3, 4
MOST_SECONDS = 20  # of work; the largest picture that is let in takes under 2 on a slow machine
MOST_MEMORY = 1024**3  # bytes of addresses; 50 million pixels of four colours are a fifth of it

MOST_PIXELS = 50_000_000
MOST_ALONG_A_SIDE = 20_000  # a strip of one pixel's width takes a decoder ten times the memory of a square
LONGEST_SIDE = 1200
LONGEST_TO_READ = 1600  # pixels in which a square that fills a tenth of the picture is still read
LONGEST_CODE, MOST_CODES = 300, 12
FORMATS = ("JPEG", "PNG", "WEBP")
SHRINK_AS_THEY_ARE = ("L", "RGB", "RGBA", "CMYK")  # the others have no colours between two of theirs

# Where the upper edge of what was seen stands in the stored picture (Exif 2.32, 4.6.4, tag 0x0112).
ORIENTATION = 0x0112


class TooManyPixels(Exception):
    pass


def jpeg(picture: Image) -> bytes:
    """Upright, at most LONGEST_SIDE along its longer side, without a word of its camera."""
    turn = turn_of(picture)
    upright = shrunk(picture, LONGEST_SIDE).convert("RGB")
    if turn is not None:
        upright = upright.transpose(turn)
    written = io.BytesIO()
    upright.save(written, "JPEG", quality=82, optimize=True)
    return written.getvalue()


def codes(picture: Image) -> bytes:
    import zxingcpp  # only who asks for it waits for it

    grey = shrunk(picture, LONGEST_TO_READ).convert("L")
    found = zxingcpp.read_barcodes(grey, formats=zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode))
    texts = dict.fromkeys(one.text[:LONGEST_CODE] for one in found if one.text)
    return json.dumps(list(texts)[:MOST_CODES]).encode()


def shrunk(picture: Image, longest: int) -> Image:
    small = picture if picture.mode in SHRINK_AS_THEY_ARE else picture.convert("RGB")
    small.thumbnail((longest, longest))
    return small


def turn_of(picture: Image) -> Transpose | None:
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


def answer(what: str, given: bytes) -> bytes:
    from PIL import Image as pillow

    try:
        picture = pillow.open(io.BytesIO(given), formats=FORMATS)
    except pillow.DecompressionBombError as error:
        raise TooManyPixels from error
    if picture.width * picture.height > MOST_PIXELS or max(picture.size) > MOST_ALONG_A_SIDE:
        raise TooManyPixels
    return {"jpeg": jpeg, "codes": codes}[what](picture)


def main() -> int:
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (MOST_SECONDS, MOST_SECONDS))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))  # it writes to its pipe and to no file
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))  # nothing of the picture stays behind where it fell
    try:
        answered = answer(sys.argv[1], sys.stdin.buffer.read())
    except TooManyPixels:
        return TOO_MANY_PIXELS
    except Exception:  # whatever a decoder stumbles over; where it runs away, the limits end it
        return NO_PICTURE
    sys.stdout.buffer.write(answered)
    return 0


if __name__ == "__main__":
    sys.exit(main())
