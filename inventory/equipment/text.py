"""Text as it is kept."""

from __future__ import annotations

from club.members.text import plain

__all__ = ["plain"]
