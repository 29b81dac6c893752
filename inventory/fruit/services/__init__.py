"""Every write of the room. Each is keyword-only, checks who asks before what is asked, and is one transaction.

And what other rooms ask: which recipes fit a fruit at hand (`fits`).

Refusals: `PermissionDenied`, `ValidationError` (by field where there is one), `AlreadyDone` for what was done before.
"""

from __future__ import annotations

from club.core.errors import AlreadyDone
from inventory.fruit.services.freezer import freezer_item_add, freezer_item_change, freezer_item_take
from inventory.fruit.services.offers import (
    claim_refusal,
    claim_set,
    claim_withdraw,
    offer_change,
    offer_keep_back,
    offer_make,
    offer_photo_set,
    offer_share_again,
    offer_share_out,
    offer_take_back,
    offers_share_due,
    person_forget,
    share_give_back,
    share_note_missed,
    share_note_picked_up,
)
from inventory.fruit.suggestions import (
    AtHand,
    Fit,
    fits,
    produce_named,
    produce_words,
    revisions_with,
    takes_thawed,
)
from inventory.fruit.validators import FreezerFields, Hours, OfferFields

__all__ = [
    "AlreadyDone",
    "AtHand",
    "Fit",
    "FreezerFields",
    "Hours",
    "OfferFields",
    "claim_refusal",
    "claim_set",
    "claim_withdraw",
    "fits",
    "freezer_item_add",
    "freezer_item_change",
    "freezer_item_take",
    "offer_change",
    "offer_keep_back",
    "offer_make",
    "offer_photo_set",
    "offer_share_again",
    "offer_share_out",
    "offer_take_back",
    "offers_share_due",
    "person_forget",
    "produce_named",
    "produce_words",
    "revisions_with",
    "share_give_back",
    "share_note_missed",
    "share_note_picked_up",
    "takes_thawed",
]
