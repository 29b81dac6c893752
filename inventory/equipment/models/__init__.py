"""Things lent, how they are and were, and who has them when."""

from __future__ import annotations

from inventory.equipment.models.lending import Hold, Loan, ThingDay, WaitingEntry
from inventory.equipment.models.things import ConditionNote, InstrumentTest, Thing, ThingPhoto

__all__ = ["ConditionNote", "Hold", "InstrumentTest", "Loan", "Thing", "ThingDay", "ThingPhoto", "WaitingEntry"]
