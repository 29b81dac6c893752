"""Lot codes: the year and day a batch was put up, and three letters that keep the day's batches apart."""

from __future__ import annotations

import re
from datetime import date

# Own choice: no vowels (no words), and nothing that handwriting confuses (0 O, 1 I L, 2 Z, 5 S, 8 B, U V).
ALPHABET = "34679CDFGHJKMNPQRTVWXY"
SALTS = len(ALPHABET) ** 3

_TYPED = re.compile(rf"([0-9]{{5}})([{ALPHABET}]{{3}})")


def lot_code(day: date, salt: int) -> str:
    """`YYDDD-XXX`: two-digit year, day of the year, and `salt` (0 to SALTS - 1) in the alphabet."""
    if not 0 <= salt < SALTS:
        raise ValueError(f"salt must be between 0 and {SALTS - 1}")
    high, low = divmod(salt, len(ALPHABET))
    first, second = divmod(high, len(ALPHABET))
    return f"{day:%y%j}-{ALPHABET[first]}{ALPHABET[second]}{ALPHABET[low]}"


def lot_code_typed(text: str) -> str | None:
    """What somebody read off a label, as we write it; None when it cannot be a lot code of ours."""
    found = _TYPED.fullmatch(bare(text))
    return f"{found[1]}-{found[2]}" if found else None


def bare(text: str) -> str:
    """Letters and digits only, in capitals: how a code is compared, whatever dashes and spaces were typed."""
    return re.sub(r"[\W_]", "", text).upper()
