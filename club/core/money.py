"""Money as people read it; it is kept in whole cents."""

from __future__ import annotations

import re


def money_text(cents: int) -> str:
    """ "1,204.99" """
    return f"{cents // 100:,}.{cents % 100:02d}"


# Money in whole cents, as people write it. Which money it is, the club knows.

_TYPED = re.compile(r"(\d{1,6})(?:[.,](\d{1,2}))?")


def money_words(cents: int) -> str:
    whole, rest = divmod(cents, 100)
    return f"{whole}.{rest:02d}"


def cents_typed(text: str) -> int | None:
    """Cents of "20", "20.5" or "20,50"; 0 of nothing; None of anything else."""
    if not text.strip():
        return 0
    found = _TYPED.fullmatch(text.strip())
    return int(found[1]) * 100 + int((found[2] or "").ljust(2, "0") or 0) if found else None
