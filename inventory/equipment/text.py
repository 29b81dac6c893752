"""Text as it is kept."""

from __future__ import annotations

from club.core.text import plain

__all__ = ["plain"]
