"""Fruit that somebody can spare, who would like some, who gets how much, and what lies in the freezer."""

from __future__ import annotations

from inventory.fruit.models.claims import Claim
from inventory.fruit.models.freezer import FreezerItem, FreezerState, FreezerTaking, TakenFor
from inventory.fruit.models.offers import Offer, OfferPhoto, PickUpWindow
from inventory.fruit.models.shares import Share, SharingRound

__all__ = [
    "Claim",
    "FreezerItem",
    "FreezerState",
    "FreezerTaking",
    "Offer",
    "OfferPhoto",
    "PickUpWindow",
    "Share",
    "SharingRound",
    "TakenFor",
]
