"""Money as people read it; it is kept in whole cents."""

from __future__ import annotations


def money_text(cents: int) -> str:
    """ "1,204.99" """
    return f"{cents // 100:,}.{cents % 100:02d}"
