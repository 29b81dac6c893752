"""Every write of the room: the life of a revision, and loading the published library."""

from __future__ import annotations

from recipes.services.library import LoadReport, library_load
from recipes.services.publication import revision_publish, revision_withdraw
from recipes.services.revisions import revision_change, revision_draft, revision_send_back, revision_submit

__all__ = [
    "LoadReport",
    "library_load",
    "revision_change",
    "revision_draft",
    "revision_publish",
    "revision_send_back",
    "revision_submit",
    "revision_withdraw",
]
