"""A club order arrives: lids as a lot, jars into the store, supplies on their shelf, and who gets how much."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from club.members.models import User
from inventory.jars.models import ClubOrder, LidLot, OrderLine, OrderWish
from inventory.jars.rules import BOUGHT, EMPTY, MOST_AT_ONCE
from inventory.jars.services.common import moment_clean, part_token
from inventory.jars.services.lid_lots import lid_lot_get_or_add
from inventory.jars.services.lids import lids_post
from inventory.jars.services.orders import run_check, state_move
from inventory.jars.services.places import outside_place, store_place
from inventory.jars.services.posting import Shelf, movement_post
from inventory.jars.services.supplies import supply_take_in
from inventory.jars.splitting import Ask, ShortRule, share_out
from inventory.jars.words import LidAccount, LidReason, LineKind, OrderState, Reason


@dataclass(frozen=True)
class Received:
    """What came of one line, in units as sold; the lot code of lids, the use-by of a supply."""

    units: int
    lid_code: str = ""
    lid_maker: str = ""
    use_by: date | None = None


@transaction.atomic
def order_arrive(
    *, by: User, order: ClubOrder, received: Mapping[int, Received], token: UUID, now: datetime | None = None
) -> None:
    """Book what came, by line key, and share it out. One press, all of it or nothing.

    1. The order is claimed by a conditional update that leaves the form's token: who presses twice finds her own, and
       whoever comes second with another learns that it arrived already.
    2. Every line needs its number. Lids need their lot code, so that a bad lot can be traced.
    3. Lids come on hand under their lot, jars into the store, supplies onto their shelf.
    4. Where less came than was asked, the order's rule says who goes short (`splitting.share_out`).
    ValidationError by `units_<line>`, `lid_code_<line>` and so on.
    """
    run_check(by)
    now = moment_clean(None, now or timezone.now())
    if not _claim(order, token, now):
        return
    lines = list(order.lines.select_related("supply"))
    _check(lines, received)
    for line in lines:
        told = received[line.pk]
        line.received = told.units
        if told.units:
            _book(by, order, line, told, part_token(token, f"line {line.pk}"), now)
        line.save(update_fields=["received", "lid_lot", "supply_lot"])
    _hand_out(order, {line.pk: received[line.pk].units for line in lines})


def _claim(order: ClubOrder, token: UUID, now: datetime) -> bool:
    """False: this very form was sent before."""
    try:
        with transaction.atomic():
            fields = {"arrived_at": now, "arrival_token": token}
            if state_move(order, [OrderState.ORDERED], OrderState.ARRIVED, **fields):
                return True
    except IntegrityError:  # the token stands on another order
        raise ValidationError(_("This form was used for something else already. Open the page again.")) from None
    if ClubOrder.objects.filter(pk=order.pk, arrival_token=token).exists():
        return False
    raise ValidationError(_("Only an order that was sent to the supplier, and has not come yet, can arrive."))


def _check(lines: list[OrderLine], received: Mapping[int, Received]) -> None:
    problems: dict[str, str] = {}
    for line in lines:
        told = received.get(line.pk)
        if told is None or told.units < 0:
            problems[f"units_{line.pk}"] = _("Say how many came; 0 for none.")
        elif told.units * line.pieces > MOST_AT_ONCE:
            text = _("That would be more than %(most)s pieces. Count again.")
            problems[f"units_{line.pk}"] = text % {"most": MOST_AT_ONCE}
        elif told.units and line.kind == LineKind.LIDS and not told.lid_code.strip():
            problems[f"lid_code_{line.pk}"] = _("Give the lot code on the box: failed seals are traced by it.")
    if problems:
        raise ValidationError(problems)


def _book(by: User, order: ClubOrder, line: OrderLine, told: Received, token: UUID, at: datetime) -> None:
    count, note = told.units * line.pieces, order.title
    if line.kind == LineKind.LIDS:
        line.lid_lot = _lot(by, line, told)
        lids_post(
            by=by,
            lot=line.lid_lot,
            count=count,
            source=LidAccount.BOUGHT,
            target=LidAccount.ON_HAND,
            reason=LidReason.BOUGHT,
            token=token,
            at=at,
            note=note,
        )
    elif line.kind == LineKind.JARS:
        movement_post(
            by=by,
            size=line.jar_size,
            count=count,
            source=Shelf(outside_place(BOUGHT), EMPTY),
            target=Shelf(store_place(), EMPTY),
            reason=Reason.BOUGHT,
            token=token,
            at=at,
            note=note,
        )
    else:
        assert line.supply is not None  # the database's own rule: a supply line names its supply
        movement = supply_take_in(
            by=by, supply=line.supply, count=count, token=token, at=at, use_by=told.use_by, note=note
        )
        line.supply_lot = movement.lot


def _lot(by: User, line: OrderLine, told: Received) -> LidLot:
    try:
        return lid_lot_get_or_add(by=by, code=told.lid_code, maker=told.lid_maker)
    except ValidationError as error:
        raise ValidationError({f"lid_code_{line.pk}": error.messages}) from error


def _hand_out(order: ClubOrder, units: Mapping[int, int]) -> None:
    """Each wish learns what it gets. Turns are places in the order of asking, the earlier key first on a tie."""
    wishes = list(OrderWish.objects.filter(line__order=order).order_by("asked_at", "pk"))
    rule = ShortRule(ClubOrder.objects.values_list("short_by", flat=True).get(pk=order.pk))
    by_line: dict[int, list[Ask]] = {}
    for turn, wish in enumerate(wishes):
        by_line.setdefault(wish.line_id, []).append(Ask(key=wish.pk, units=wish.quantity, turn=turn))
    gets: dict[int, int] = {}
    for line, asks in by_line.items():
        gets |= share_out(units[line], asks, rule)
    for wish in wishes:
        wish.got = gets[wish.pk]
    OrderWish.objects.bulk_update(wishes, ["got"])
