"""Every write of the room: the life of a revision, loading the published library, and what things cost."""

from __future__ import annotations

from recipes.services.judging import findings_of, food_classify
from recipes.services.library import LoadReport, library_load
from recipes.services.prices import price_note
from recipes.services.publication import revision_publish, revision_withdraw
from recipes.services.revisions import revision_change, revision_draft, revision_send_back, revision_submit

__all__ = [
    "LoadReport",
    "findings_of",
    "food_classify",
    "library_load",
    "price_note",
    "revision_change",
    "revision_draft",
    "revision_publish",
    "revision_send_back",
    "revision_submit",
    "revision_withdraw",
]
