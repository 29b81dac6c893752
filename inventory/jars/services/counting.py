"""Taking a file of counts in: tried first, then written whole or not at all, and never twice."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID, uuid5

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from club.members.models import Kitchen, User
from inventory.jars.counted import Change, CountPlan, Target, count_plan
from inventory.jars.models import CountTaken, LidLot, Place, Supply, SupplyLot
from inventory.jars.rules import BOUGHT
from inventory.jars.services.common import keeper_check
from inventory.jars.services.lids import lids_post
from inventory.jars.services.places import kitchen_place, outside_place, person_place, store_place
from inventory.jars.services.posting import Shelf, movement_post
from inventory.jars.services.supplies import supply_buy, supply_post
from inventory.jars.words import LidAccount, LidReason, PlaceKind, Reason, SupplyReason

# Under which every row's token is made from the file's own digest.
SPACE = UUID("6f1f0c1e-6a0f-4f0e-9d1c-3f4b6a3f5a10")
NAME_LENGTH = 200


def counts_try(*, by: User, name: str, content: bytes) -> CountPlan:
    """The dry run: what the file would change, or what is wrong with which row. Writes nothing."""
    keeper_check(by)
    return count_plan(name, content)


@transaction.atomic
def counts_take(*, by: User, name: str, content: bytes, now: datetime | None = None) -> CountTaken:
    """Write what the file changes. ValidationError when a row is wrong, and then nothing is written at all.

    The same file again gives what was noted the first time and changes nothing, whoever sends it.
    """
    keeper_check(by)
    plan = count_plan(name, content)
    if plan.taken is not None:
        return plan.taken
    if not plan.ok:
        raise ValidationError(_("The file has %(n)s problems; nothing was written.") % {"n": len(plan.problems)})
    now = now or timezone.now()
    try:
        with transaction.atomic():
            taken = CountTaken.objects.create(
                digest=plan.digest,
                name=name[-NAME_LENGTH:],
                rows=plan.rows,
                changes=len(plan.changes),
                by=by,
                at=now,
            )
    except IntegrityError:  # the same file was sent from somewhere else at this moment
        return CountTaken.objects.get(digest=plan.digest)
    # By size, then place: two files taken in at once meet the rows in one order.
    for change in sorted(plan.changes, key=lambda change: (change.jars[1] if change.jars else "", change.row)):
        _write(by, change, uuid5(SPACE, f"{plan.digest} {change.row}"), now)
    return taken


def _write(by: User, change: Change, token: UUID, now: datetime) -> None:
    if change.jars is not None:
        _jars(by, change, token, now)
    elif change.lid_lot is not None:
        more = change.difference > 0
        lids_post(
            by=by,
            lot=LidLot.objects.get(pk=change.lid_lot),
            count=abs(change.difference),
            source=LidAccount.BOUGHT if more else LidAccount.ON_HAND,
            target=LidAccount.ON_HAND if more else LidAccount.BOUGHT,
            reason=LidReason.FOUND if more else LidReason.MISSING,
            token=token,
            at=now,
        )
    else:
        _supply(by, change, token, now)


def _jars(by: User, change: Change, token: UUID, now: datetime) -> None:
    assert change.jars is not None
    target, size, state, lot = change.jars
    there = Shelf(_place(target), state, lot)
    outside = Shelf(outside_place(BOUGHT), state, lot)
    more = change.difference > 0
    movement_post(
        by=by,
        size=size,
        count=abs(change.difference),
        source=outside if more else there,
        target=there if more else outside,
        reason=Reason.FOUND if more else Reason.MISSING,
        token=token,
        at=now,
    )


def _place(target: Target) -> Place:
    if target.kind == PlaceKind.KITCHEN:
        return kitchen_place(Kitchen.objects.get(pk=target.key))
    return person_place(User.objects.get(pk=target.key)) if target.kind == PlaceKind.MEMBER else store_place()


def _supply(by: User, change: Change, token: UUID, now: datetime) -> None:
    assert change.supply is not None
    pk, use_by, tenths = change.supply
    if change.difference > 0:
        supply_buy(
            by=by,
            supply=Supply.objects.get(pk=pk),
            count=change.difference,
            token=token,
            use_by=use_by,
            strength_tenths=tenths,
            reason=SupplyReason.FOUND,
            now=now,
        )
        return
    left = -change.difference
    lots = SupplyLot.objects.there().filter(supply=pk, use_by=use_by, strength_tenths=tenths)
    for lot in lots.select_related("supply").order_by("pk"):
        here = min(left, lot.count)
        if here:
            supply_post(by, lot, -here, SupplyReason.MISSING, uuid5(token, str(lot.pk)), now, "")
        left -= here
