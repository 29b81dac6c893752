"""From a code to batches and jars: a lot code, a lid lot's code, or a recipe's short name with a revision number.

Everything found is what the person may see; what she may not see is as if it were not there.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from django.db.models import Q

from club.members.models import User
from inventory.batches.lots import lot_code_typed
from inventory.batches.models import Batch, Jar
from inventory.batches.queries import BatchQuerySet, Whereabouts
from inventory.jars.models import LidLot
from recipes.models import Revision


@dataclass(frozen=True)
class Trace:
    """`batches` is a queryset to page through; `whereabouts` counts the jars of all of them."""

    code: str
    batches: BatchQuerySet
    lid_lots: list[LidLot] = field(default_factory=list)
    revisions: list[Revision] = field(default_factory=list)
    whereabouts: list[Whereabouts] = field(default_factory=list)


def trace(user: User, code: str) -> Trace | None:
    """What the code leads to; None when it leads to nothing that this person may see."""
    visible = Batch.objects.visible_to(user)
    lot = lot_code_typed(code)
    batches = visible.filter(lot_code=lot) if lot else visible.none()
    if batches.exists():
        return Trace(code, _rows(batches), whereabouts=Jar.objects.filter(batch__in=batches).whereabouts())
    return _by_lids(visible, code) or _by_revision(visible, code)


def _by_lids(visible: BatchQuerySet, code: str) -> Trace | None:
    lots = list(LidLot.objects.coded(code))
    if not lots:
        return None
    under = Q(lid_lot__in=lots) | Q(failed_lid_lot__in=lots)
    jars = Jar.objects.filter(under, batch__in=visible)
    batches = visible.filter(pk__in=jars.values("batch"))
    if not batches.exists():
        return None
    return Trace(code, _rows(batches), lid_lots=lots, whereabouts=jars.whereabouts())


def _by_revision(visible: BatchQuerySet, code: str) -> Trace | None:
    """`plum-jam` for every revision, `plum-jam 3` for one."""
    slug, _space, number = code.strip().lower().partition(" ")
    revisions = Revision.objects.numbered().filter(recipe__slug=slug).select_related("recipe").defer("content")
    if number.strip():
        if not number.strip().isdecimal() or len(number.strip()) > 6:
            return None
        revisions = revisions.filter(number=int(number))
    found = list(revisions)
    batches = visible.filter(revision__in=found)
    if not found or not batches.exists():
        return None
    jars = Jar.objects.filter(batch__in=batches)
    return Trace(code, _rows(batches), revisions=found, whereabouts=jars.whereabouts())


def _rows(batches: BatchQuerySet) -> BatchQuerySet:
    return batches.for_list().select_related("lid_lot").order_by("-started_at", "-pk")
