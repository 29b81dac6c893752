"""Text as it is kept, in whichever room."""

from __future__ import annotations

import unicodedata

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

# Control and format characters, of which bidi marks, zero-width ones and the soft hyphen are; lone surrogates.
UNSEEN_CATEGORIES = frozenset({"Cc", "Cf", "Cs"})
# What a screen leaves out though it is of another category: DerivedCoreProperties.txt of the Unicode Standard 15.0,
# Default_Ignorable_Code_Point, first and last of each run. The braille blank at the end is seen as a space.
UNSEEN_RUNS = (
    (0x034F, 0x034F),
    (0x115F, 0x1160),
    (0x17B4, 0x17B5),
    (0x180B, 0x180F),
    (0x2065, 0x2065),
    (0x3164, 0x3164),
    (0xFE00, 0xFE0F),
    (0xFFA0, 0xFFA0),
    (0xFFF0, 0xFFF8),
    (0xE0000, 0xE0FFF),
    (0x2800, 0x2800),
)


def seen(text: str) -> str:
    """One line of what a reader sees, so that two names which look the same are the same: composed (NFC), spaces put
    together, and nothing in it that no screen shows or that turns the direction of what follows.
    """
    spaced = " ".join(text.split())
    kept = "".join(char for char in spaced if not _is_unseen(char))
    return " ".join(unicodedata.normalize("NFC", kept).split())


def _is_unseen(char: str) -> bool:
    code = ord(char)
    return unicodedata.category(char) in UNSEEN_CATEGORIES or any(low <= code <= high for low, high in UNSEEN_RUNS)


def plain(text: str, *, field: str, longest: int) -> str:
    """One line of what is seen; ValidationError on `field` where it is too long."""
    line = seen(text)
    if len(line) > longest:
        raise ValidationError({field: _("At most %(n)s characters.") % {"n": longest}})
    return line
