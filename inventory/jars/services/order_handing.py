"""Handing out a club order: who has paid is noted (no payment is taken here), and who has fetched hers."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from club.members.models import User
from inventory.jars.models import ClubOrder, OrderPayment, OrderPickup, OrderWish
from inventory.jars.rules import EMPTY
from inventory.jars.services.common import note_clean, part_token, write_once
from inventory.jars.services.orders import MOST_CENTS, run_check, state_move
from inventory.jars.services.places import person_place, store_place
from inventory.jars.services.posting import Shelf, movement_post
from inventory.jars.services.supplies import supply_post
from inventory.jars.words import LineKind, OrderState, Reason, SupplyReason


@transaction.atomic
def order_payment_note(
    *,
    by: User,
    order: ClubOrder,
    member: User,
    cents: int,
    token: UUID,
    note: str = "",
    now: datetime | None = None,
) -> OrderPayment:
    """The member gave so many cents (below zero: got them back). The same token again finds the note it made."""
    run_check(by)
    if not cents or abs(cents) > MOST_CENTS:
        raise ValidationError({"cents": _("Give the amount that was paid, such as 12.50.")})
    if not OrderWish.objects.filter(line__order=order, member=member).exists():
        raise ValidationError(_("She ordered nothing here."))
    if ClubOrder.objects.filter(pk=order.pk, state=OrderState.CANCELLED).exists() and cents > 0:
        raise ValidationError(_("This order was cancelled: nothing is paid for it any more."))
    row = OrderPayment(
        order=order,
        member=member,
        cents=cents,
        note=note_clean(note),
        token=token,
        by=by,
        at=now or timezone.now(),
    )
    return write_once(row, same=("order_id", "member_id", "cents"))[0]


@transaction.atomic
def order_pick_up(*, by: User, order: ClubOrder, member: User, token: UUID, now: datetime | None = None) -> OrderPickup:
    """She has her things: her jars go from the store to her own place, her supplies leave the club's shelf.

    Lids stay counted where they are: the club counts them by lot, whoever screws them on, and a batch takes them from
    there. Once for each member and order, whoever presses; NotEnough where the store gave away what was hers.
    """
    run_check(by)
    now = now or timezone.now()
    if not state_move(order, [OrderState.ARRIVED], OrderState.ARRIVED):
        return _fetched_before(order, member)
    wishes = list(
        OrderWish.objects.filter(line__order=order, member=member, got__gt=0)
        .select_related("line__order", "line__supply_lot__supply")
        .order_by("line")
    )
    if not wishes:
        raise ValidationError(_("There is nothing for her to pick up."))
    try:
        with transaction.atomic():
            pickup = OrderPickup.objects.create(order=order, member=member, token=token, by=by, at=now)
    except IntegrityError:
        return _fetched_before(order, member)
    for wish in wishes:
        _hand(by, wish, member, part_token(token, f"wish {wish.pk}"), now)
    return pickup


def _fetched_before(order: ClubOrder, member: User) -> OrderPickup:
    before = OrderPickup.objects.filter(order=order, member=member).first()
    if before is None:
        raise ValidationError(_("This order is not there to be picked up. Open the page again."))
    return before


def _hand(by: User, wish: OrderWish, member: User, token: UUID, at: datetime) -> None:
    line, count = wish.line, (wish.got or 0) * wish.line.pieces
    if line.kind == LineKind.JARS:
        movement_post(
            by=by,
            size=line.jar_size,
            count=count,
            source=Shelf(store_place(), EMPTY),
            target=Shelf(person_place(member), EMPTY),
            reason=Reason.MOVED,
            token=token,
            at=at,
            note=line.order.title,
        )
    elif line.kind == LineKind.SUPPLY and line.supply_lot is not None:
        supply_post(by, line.supply_lot, -count, SupplyReason.TAKEN, token, at, line.order.title)
