"""Fruit that somebody can spare, who would like some, who gets how much, and what lies in the freezer."""

from __future__ import annotations

from inventory.fruit.models.freezer import FreezerItem, FreezerState, FreezerTaking, TakenFor

__all__ = ["FreezerItem", "FreezerState", "FreezerTaking", "TakenFor"]
