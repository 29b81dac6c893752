"""One full jar left the shelf, told by the number on its label: opened, given away, found chipped or broken.

The ledger counts the jars of a lot and size in a place, and does not tell them apart: of which lot it was is kept, and
the number is what somebody read.
"""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from club.members.models import User
from inventory.batches.choices import FULL_STILL, Container, made_for_cold
from inventory.batches.models import Batch, Jar
from inventory.jars.choices import JarState, PlaceKind, Reason
from inventory.jars.models import KEEP as KEEP_LEDGER
from inventory.jars.models import Balance, Movement, Place
from inventory.jars.services import jars_move, outside_place

EATEN_OR_GIVEN = (Reason.EMPTIED.value, Reason.GIVEN.value)
LEAVES = {
    Reason.EMPTIED.value: None,
    Reason.CHIPPED.value: None,
    Reason.GIVEN.value: PlaceKind.GIVEN_AWAY,
    Reason.BROKEN.value: PlaceKind.BROKEN,
}


def is_theirs(by: User, jar: Jar) -> bool:
    """Whether this person may say what became of the jar: it was put up or is held by them, or they keep the ledger."""
    if by.has_perm(KEEP_LEDGER) or jar.held_by_id == by.pk:
        return True
    is_with_cooks = jar.held_by_id is None
    return is_with_cooks and Batch.objects.cared_for_by(by).filter(pk=jar.batch_id).exists()


def full_beside(by: User, jar: Jar) -> list[Balance]:
    """Where full jars of this one's lot and size are counted that this person may take; the jar's own place first."""
    if jar.size in Container.values:
        return []
    rows = Balance.objects.there().filter(
        batch=jar.batch_id, size=jar.size, state=JarState.FULL, place__in=Place.objects.usable_by(by).values("pk")
    )
    return sorted(rows.select_related("place"), key=lambda row: (not _is_its_place(row.place, jar), row.pk))


def _is_its_place(place: Place, jar: Jar) -> bool:
    if jar.held_by_id is not None:
        return place.person_id == jar.held_by_id
    return place.kitchen_id == jar.place_id


@transaction.atomic
def jar_used(*, by: User, jar: Jar, what: str, token: UUID, now: datetime | None = None) -> Movement:
    """It was opened ("emptied"), "given", found "chipped" or "broken". The same `token` again finds what it wrote.

    PermissionDenied for somebody else's jar; ValidationError for one that is called back or set aside and would be
    eaten, for one whose seal nobody looked at, and where no full jar of its lot is counted.
    """
    if not by.has_perm("batches.add_batch") or not is_theirs(by, jar):
        raise PermissionDenied
    if before := Movement.objects.filter(token=token, by=by).first():
        return before
    if what not in LEAVES:
        raise ValidationError(_("Choose what became of the jar."))
    if what in EATEN_OR_GIVEN:
        if Jar.objects.filter(pk=jar.pk).recalled_here().exists():
            raise ValidationError(_("This jar is called back: neither open it nor give it away. Answer the recall."))
        if jar.set_aside_id is not None or jar.is_set_apart:
            raise ValidationError(_("This jar is set aside because something went wrong: it is not eaten or given."))
    if not jar.disposal:
        raise ValidationError(_("Nobody has looked at the seal of this jar yet. Write the look at the seals first."))
    if jar.disposal not in FULL_STILL and not made_for_cold(jar.seal, jar.disposal):
        raise ValidationError(_("This jar left the shelf long ago: %(where)s.") % {"where": jar.get_disposal_display()})
    found = full_beside(by, jar)
    if not found:
        raise ValidationError(_("No full jar of this lot and size is counted any more where you may take one."))
    source, leaves_for = found[0].place, LEAVES[what]
    return jars_move(
        by=by,
        reason=what,
        size=jar.size,
        count=1,
        source=source,
        target=source if leaves_for is None else outside_place(leaves_for),
        state=JarState.FULL,
        batch_id=jar.batch_id,
        token=token,
        note=f"{jar.batch.lot_code} / {jar.number}",
        now=now,
    )
