"""Text as it is kept, in whichever room."""

from __future__ import annotations

import unicodedata
from functools import cache

from confusable_homoglyphs import confusables
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


def has_unseen(text: str) -> bool:
    """Whether `seen` leaves out more of it than spaces."""
    return any(_is_unseen(char) for char in text if not char.isspace())


def _is_unseen(char: str) -> bool:
    code = ord(char)
    return unicodedata.category(char) in UNSEEN_CATEGORIES or any(low <= code <= high for low, high in UNSEEN_RUNS)


def first_name(name: str) -> str:
    """The first word of a name: all that is kept of somebody who was never asked."""
    return next(iter(name.split()), "")


def plain(text: str, *, field: str, longest: int) -> str:
    """One line of what is seen; ValidationError on `field` where it is too long."""
    line = seen(text)
    if len(line) > longest:
        raise ValidationError({field: _("At most %(n)s characters.") % {"n": longest}})
    return line


# Which letters look alike: confusables.txt of Unicode's UTS 39, as the package confusable_homoglyphs has it.


def reads_like(name: str) -> tuple[str, str]:
    """Two keys of a name. Of two names that read alike, in whatever script, case or spacing, the first or the second
    keys are the same.

    Letters first, then case: "IIse" is "llse". Case first, then letters: "ILSE" is "ilse". What is neither letter nor
    digit is left out.
    """
    line = seen(name)
    return _skeleton(line), _skeleton(line.casefold())


def _skeleton(text: str) -> str:
    same, drawn = _prototypes(), text
    for _once_more in range(2):  # some stand for what has another stand for it
        drawn = "".join(same.get(char, char) for char in unicodedata.normalize("NFKD", drawn))
    plain_case = unicodedata.normalize("NFKD", drawn.casefold())
    return "".join(char for char in plain_case if unicodedata.category(char)[0] in "LMN") or plain_case


@cache
def _prototypes() -> dict[str, str]:
    """The one that stands for all that look like it, by each single character that does.

    The package lists for one that stands for others all of these, and for each of these that one alone.
    """
    listed = confusables.confusables_data
    same: dict[str, str] = {}
    for char, others in listed.items():
        other = seen(others[0]["c"])
        stands = len(others) > 1 or (len(listed.get(others[0]["c"], ())) == 1 and char < other)
        if len(char) == 1 and not stands:
            same[char] = other
    return same
