"""A picture that somebody sends: checked, decoded and written anew, so that nothing of the file that came is kept.

It lies down here because every room with pictures may import it, and because it guards people: the place and time that
a phone writes into its pictures must not reach the other members. It is opened in a process of its own, with bounds of
memory and time: what breaks a decoder, or keeps it busy for ever, ends there.
"""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from typing import Literal

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from club.core import decoding

MOST_BYTES = 8 * 1024 * 1024
LONGEST_WAIT = 30  # seconds
AT_ONCE = threading.BoundedSemaphore(2)  # of one web server: more would take the memory that its pages need


def photo_as_jpeg(given: bytes) -> bytes:
    """At most 1,200 pixels along its longer side. The size is read before anything is decoded.

    ValidationError on `photo` for what is no JPEG, PNG or WebP picture, or too large.
    """
    return _opened("jpeg", given)


def codes_in_photo(given: bytes) -> list[str]:
    """What the squares in a picture say, each once, in the order they were found. Nothing of the picture is kept.

    ValidationError as of `photo_as_jpeg`.
    """
    return [str(text) for text in json.loads(_opened("codes", given))]


def _opened(what: Literal["jpeg", "codes"], given: bytes) -> bytes:
    if len(given) > MOST_BYTES:
        raise ValidationError({"photo": _("A picture may have at most 8 MB.")})
    argv = [sys.executable, "-I", decoding.__file__, what]
    try:
        with AT_ONCE:
            done = subprocess.run(argv, input=given, capture_output=True, timeout=LONGEST_WAIT, env={}, check=False)
    except subprocess.TimeoutExpired as error:
        raise ValidationError({"photo": _("This picture takes too long to read. Take a smaller one.")}) from error
    if done.returncode == decoding.TOO_MANY_PIXELS:
        raise ValidationError({"photo": _("This picture has too many pixels. Take a smaller one.")})
    if done.returncode:
        raise ValidationError({"photo": _("This is no picture that can be read: JPEG, PNG or WebP.")})
    return done.stdout
