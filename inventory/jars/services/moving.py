"""Moving jars by hand, correcting what was written, and the deposits that go with lending."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils.translation import gettext as _

from club.members.models import User
from inventory.jars.models import Balance, Deposit, DepositNote, Movement, Place
from inventory.jars.queries import KEEP
from inventory.jars.rules import FULL, SHAPES, cents_back, shape_fits
from inventory.jars.services.common import (
    count_check,
    keeper_check,
    moment_clean,
    note_clean,
    part_token,
    write_once,
)
from inventory.jars.services.posting import Shelf, movement_post, size_check
from inventory.jars.words import PlaceKind, Reason

MOST_CENTS = 100_000
# Where full jars come to other hands.
TAKES_JARS = {PlaceKind.GIVEN_AWAY.value, PlaceKind.KITCHEN.value, PlaceKind.MEMBER.value}
# These follow from something else that is written down: a batch's log, or another movement.
NOT_BY_HAND = {Reason.FILLED.value, Reason.CORRECTED.value}


@transaction.atomic
def jars_move(
    *,
    by: User,
    reason: str,
    size: str,
    count: int,
    source: Place,
    target: Place,
    token: UUID,
    state: str = "empty",
    batch_id: int | None = None,
    deposit_cents: int = 0,
    note: str = "",
    at: datetime | None = None,
    now: datetime | None = None,
) -> Movement:
    """Move jars from one place to another, or from one state to another in the same place.

    `state` is the one the jars are found in; `batch_id` their lot, when they are full. `deposit_cents` is taken for
    each jar lent; what returns gives back its share. The same `token` again finds the movement made the first time.
    Full jars that are called back are neither given away nor lent, nor moved to another household. That one took them
    oneself, to set them apart, may be written down, and by who keeps the ledger where else they stand: the recall
    follows them.
    PermissionDenied unless every inside place is the person's to use; ValidationError by field; NotEnough.
    """
    _places_check(by, source, target)
    moved_at = moment_clean(at, now)
    count_check(count)
    size_check(size)
    _shape_check(reason, source, target, state, batch_id)
    left = SHAPES[reason].leaves or state
    is_written_down = reason == Reason.MOVED and (target.person_id == by.pk or by.has_perm(KEEP))
    if left == FULL and not is_written_down:
        _called_back_check(source, target, batch_id, field="lot")
    _deposit_check(by, reason, deposit_cents)
    movement = movement_post(
        by=by,
        size=size,
        count=count,
        source=Shelf(source, state, batch_id if state == FULL else None),
        target=Shelf(target, left, batch_id if left == FULL else None),
        reason=reason,
        token=token,
        at=moved_at,
        note=note_clean(note),
    )
    _deposit_follow(movement, deposit_cents)
    return movement


def _places_check(by: User, source: Place, target: Place) -> None:
    if by.has_perm(KEEP):
        return
    inside = {place.pk for place in (source, target) if place.is_inside}
    # The store is the keeper's counter: what a member brings back is written down by whoever takes it.
    if not by.has_perm("batches.add_batch") or Place.objects.usable_by(by).filter(pk__in=inside).count() != len(inside):
        raise PermissionDenied


def _shape_check(reason: str, source: Place, target: Place, state: str, batch_id: int | None) -> None:
    if reason not in SHAPES or reason in NOT_BY_HAND:
        raise ValidationError({"reason": _("Choose what happened to the jars.")})
    left = SHAPES[reason].leaves or state
    same = source.pk == target.pk
    if not shape_fits(reason, source=source.kind, target=target.kind, found=state, left=left, is_same_place=same):
        text = _("“%(reason)s” does not go from %(source)s to %(target)s with %(state)s jars. Choose again.")
        said = {"reason": Reason(reason).label, "source": source, "target": target, "state": state}
        raise ValidationError({"reason": text % said})
    if (state == FULL) != (batch_id is not None):
        raise ValidationError({"lot": _("Full jars are counted by lot: give the lot code on the label.")})


def _called_back_check(source: Place, target: Place, batch_id: int | None, *, field: str) -> None:
    """Full jars that are called back come to no other hands. That some broke, are missing or were not counted before
    may still be written down."""
    is_handed_on = source.is_inside and target.kind in TAKES_JARS and source.pk != target.pk
    if batch_id is None or not is_handed_on:
        return
    called = Balance.objects.called_back().filter(batch=batch_id)
    if lot := called.values_list("batch__lot_code", flat=True).first():
        text = _("Lot %(lot)s is called back: do not eat or give away any jar of it. Answer the recall instead.")
        raise ValidationError({field: text % {"lot": lot}})


def _deposit_check(by: User, reason: str, cents: int) -> None:
    if cents == 0:
        return
    keeper_check(by)
    if reason != Reason.LENT:
        raise ValidationError({"deposit_cents": _("A deposit is taken when jars are lent, and not otherwise.")})
    if not 0 < cents <= MOST_CENTS:
        raise ValidationError({"deposit_cents": _("Give the deposit for one jar, at most 1,000.00.")})


def _deposit_follow(movement: Movement, cents_each: int) -> None:
    """The deposit note of a movement: taken with what is lent, given back with what returns."""
    if movement.reason == Reason.LENT and cents_each:
        assert movement.target.person is not None  # lent goes to a member, and a member's place has its person
        deposit_write(movement, movement.target.person, jars=movement.count, cents=cents_each * movement.count)
    elif movement.reason == Reason.RETURNED and movement.source.person is not None:
        held = Deposit.objects.select_for_update().filter(person=movement.source.person, size=movement.size).first()
        jars = min(held.jars, movement.count) if held else 0
        if held and jars:
            back = cents_back(cents=held.cents, jars=held.jars, returned=jars)
            deposit_write(movement, movement.source.person, jars=-jars, cents=-back)


def deposit_write(movement: Movement, person: User, *, jars: int, cents: int) -> None:
    note = DepositNote(
        person=person,
        size=movement.size,
        jars=jars,
        cents=cents,
        movement=movement,
        token=part_token(movement.token, "deposit"),
        by=movement.by,
        at=movement.at,
    )
    _note_once(note, same=("person_id", "size"))


@transaction.atomic
def deposit_settle(*, by: User, person: User, size: str, token: UUID, note: str, now: datetime | None = None) -> None:
    """Close a member's deposit for one size: paid back, or kept for jars that will not return. `note` says which."""
    keeper_check(by)
    note = note_clean(note)
    if not note:
        raise ValidationError({"note": _("Say what became of the deposit: paid back, or kept, and why.")})
    if DepositNote.objects.filter(token=token).exists():
        return
    held = Deposit.objects.select_for_update().filter(person=person, size=size, jars__gt=0).first()
    if held is None:
        raise ValidationError(_("There is no deposit to settle here any more."))
    settled = DepositNote(
        person=person,
        size=size,
        jars=-held.jars,
        cents=-held.cents,
        token=token,
        note=note,
        by=by,
        at=moment_clean(None, now),
    )
    _note_once(settled, same=("person_id", "size"))


def _note_once(note: DepositNote, *, same: tuple[str, ...]) -> None:
    written, is_new = write_once(note, same=same)
    if not is_new:
        return
    held = Deposit.objects.filter(person=written.person, size=written.size)
    enough = held.filter(jars__gte=-written.jars, cents__gte=-written.cents)
    if enough.update(jars=F("jars") + written.jars, cents=F("cents") + written.cents):
        return
    if written.jars < 0:
        raise ValidationError(_("The deposit changed just now. Open the page again and look."))
    try:
        with transaction.atomic():
            Deposit.objects.create(person=written.person, size=written.size, jars=written.jars, cents=written.cents)
    except IntegrityError:
        held.update(jars=F("jars") + written.jars, cents=F("cents") + written.cents)


@transaction.atomic
def jars_correct(
    *, by: User, movement: Movement, count: int, token: UUID, note: str = "", now: datetime | None = None
) -> Movement:
    """The movement should have been of `count` jars (none, for one that never happened): a new movement mends it.

    Fewer: the rest goes back the way it came. More: the rest follows. A movement is corrected once; the correction
    itself can be corrected. Deposits stay as they are: who keeps the ledger settles them on their own page.
    No correction hands on more jars that are called back, however many corrections it goes back over.
    """
    if not by.has_perm(KEEP) and movement.by_id != by.pk:
        raise PermissionDenied
    _places_check(by, movement.source, movement.target)
    count_check(count, least=0)
    if count == movement.count:
        raise ValidationError({"count": _("That is the number already written. Give the right one.")})
    there = Shelf(movement.source, movement.source_state, _lot(movement, movement.source_state))
    here = Shelf(movement.target, movement.target_state, _lot(movement, movement.target_state))
    forwards = count > movement.count
    source, target = (there, here) if forwards else (here, there)
    if source.state == target.state == FULL and source.place == _first_of(movement).source:
        _called_back_check(source.place, target.place, movement.batch_id, field="count")
    if (before := Movement.objects.filter(corrects=movement).first()) and before.token != token:
        raise ValidationError(_("This movement was corrected already. Correct the correction, if that was wrong too."))
    return movement_post(
        by=by,
        size=movement.size,
        count=abs(count - movement.count),
        source=source,
        target=target,
        reason=Reason.CORRECTED,
        token=token,
        at=moment_clean(None, now),
        note=note_clean(note),
        corrects=movement,
    )


def _first_of(movement: Movement) -> Movement:
    """The movement that a chain of corrections began with: it says which way is handing on, and which is back."""
    while movement.corrects is not None:
        movement = movement.corrects
    return movement


def _lot(movement: Movement, state: str) -> int | None:
    return movement.batch_id if state == FULL else None


def lot_at(place: Place, size: str, code: str) -> int | None:
    """The lot of that code which stands, or stood, full in the place; None when there is none."""
    there = Balance.objects.filter(place=place, size=size, state=FULL, batch__lot_code=code)
    return there.values_list("batch", flat=True).first()
