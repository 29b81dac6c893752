"""A second person at a batch, and handing it over while it cooks: asked, answered, taken over, left.

Whoever may use the kitchen (its household; in a hall everybody) is at the stove at once, for they could stand there
anyway. Others say yes first. A batch changes hands only by the act of the one who gets it: they say yes, or, where they
work at it already, take it over; whose jars it was keeps seeing it and may still work at its stove.
"""

from __future__ import annotations

from datetime import datetime
from uuid import UUID, uuid4

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Case, F, Value, When
from django.utils.translation import gettext as _

from club.core.clock import now_or
from club.core.errors import AlreadyDone, same_form
from club.members.models import Kitchen, User
from inventory.batches.models import HANDED_IN, Batch, BatchHand
from inventory.batches.services.common import batch_lock, stove_check, writing_check


def _open_batch(batch: Batch) -> Batch:
    """Locked and read anew; AlreadyDone once nobody has anything to do with it any more."""
    batch_lock(batch.pk)
    fresh = Batch.objects.select_related("made_by", "kitchen").get(pk=batch.pk)
    if fresh.state not in HANDED_IN:
        raise AlreadyDone(_("This batch is done or given up: there is nothing left to hand over."))
    return fresh


@transaction.atomic
def hand_ask(
    *, by: User, batch: Batch, person: User, token: UUID, takes_over: bool = False, now: datetime | None = None
) -> BatchHand:
    """Have somebody at the stove too, or ask them to take the batch over.

    A second pair of hands may be named by whoever works at the stove; only who may write in its log hands it on: else
    PermissionDenied. ValidationError beside `person` for somebody who cannot put up batches, whose jars they are
    already, who has a hand in it or was asked; the same `token` again finds what it wrote.
    """
    now = now_or(now)
    (writing_check if takes_over else stove_check)(by, batch)
    before = BatchHand.objects.filter(token=token).first()
    if before is not None:
        return same_form(before, batch_id=batch.pk, person_id=person.pk, takes_over=takes_over)
    batch = _open_batch(batch)
    if not person.is_active or not person.has_perm("batches.add_batch"):
        raise ValidationError({"person": _("They do not put up batches here.")})
    if person.pk == batch.made_by_id:
        raise ValidationError({"person": _("This batch is theirs already.")})
    is_at_once = not takes_over and Kitchen.objects.usable_by(person).filter(pk=batch.kitchen_id).exists()
    try:
        with transaction.atomic():
            return BatchHand.objects.create(
                batch=batch,
                person=person,
                takes_over=takes_over,
                asked_by=by,
                asked_at=now,
                accepted_at=now if is_at_once else None,
                token=token,
            )
    except IntegrityError:
        text = _(
            "They were asked before, or cook along: then they take it over themselves, on this page. Or somebody else"
            " is asked to take it over."
        )
        raise ValidationError({"person": text}) from None


@transaction.atomic
def hand_accept(*, by: User, hand: BatchHand, now: datetime | None = None) -> Batch:
    """The one who was asked says yes. AlreadyDone where that was answered, taken back or came too late."""
    now = now_or(now)
    if hand.person_id != by.pk or not by.has_perm("batches.add_batch"):
        raise PermissionDenied
    batch = _open_batch(hand.batch)
    open_one = BatchHand.objects.filter(pk=hand.pk, accepted_at=None, ended_at=None)
    if open_one.update(accepted_at=now, ended_at=now if hand.takes_over else None) != 1:
        raise AlreadyDone(_("This was answered, or taken back, before."))
    if hand.takes_over:
        _passes_to(by, batch, now)
    return Batch.objects.get(pk=batch.pk)


@transaction.atomic
def batch_take_over(*, by: User, batch: Batch, now: datetime | None = None) -> Batch:
    """Somebody who works at the stove goes on with it as theirs, at once. AlreadyDone where it is theirs."""
    now = now_or(now)
    stove_check(by, batch)
    batch = _open_batch(batch)
    if batch.made_by_id == by.pk:
        raise AlreadyDone(_("This batch is yours already."))
    _passes_to(by, batch, now)
    return Batch.objects.get(pk=batch.pk)


def _passes_to(person: User, batch: Batch, now: datetime) -> None:
    """The one whose jars they were is at the stove from now on; whatever else was asked about it is over."""
    before = batch.made_by
    nobody_else = Case(When(started_by=person, then=Value(None)), default=F("started_by"))
    mine = Batch.objects.filter(pk=batch.pk, made_by=before)
    if mine.update(made_by=person, started_by=nobody_else) != 1:
        raise AlreadyDone(_("Somebody else took it over meanwhile."))
    over = BatchHand.objects.filter(batch=batch, ended_at=None)
    over.filter(person__in=[person, before]).update(ended_at=now)
    over.filter(takes_over=True).update(ended_at=now)
    BatchHand.objects.create(batch=batch, person=before, asked_by=person, asked_at=now, accepted_at=now, token=uuid4())


@transaction.atomic
def hand_end(*, by: User, hand: BatchHand, now: datetime | None = None) -> None:
    """A question is declined or taken back, or somebody leaves the stove: they themselves, who asked them, or whoever
    may write in the log. AlreadyDone where it was over."""
    if by.pk not in (hand.person_id, hand.asked_by_id):
        writing_check(by, hand.batch)
    if BatchHand.objects.filter(pk=hand.pk, ended_at=None).update(ended_at=now_or(now)) != 1:
        raise AlreadyDone(_("That was over before."))
