"""A member's own wishes in a club order: changed as she likes until it closes."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from club.members.models import User
from inventory.jars.models import ClubOrder, OrderWish
from inventory.jars.order_queries import WISH
from inventory.jars.words import OrderState

MOST_UNITS = 500


@transaction.atomic
def order_wishes_set(*, by: User, order: ClubOrder, wishes: Mapping[int, int], now: datetime | None = None) -> None:
    """The person's wishes by line key: so many units, 0 for none. Lines that are not named stay as they are.

    1. The order is claimed by an update that changes nothing: it is open, its time is not up, and its closing waits.
    2. Who wishes for more than before goes to the end of the line; who wishes for less keeps her place.
    ValidationError by `line_<key>`, or for the whole where no wishes are taken any more. All of it or nothing.
    """
    if not by.has_perm(WISH):
        raise PermissionDenied
    now = now or timezone.now()
    claimed = ClubOrder.objects.filter(pk=order.pk).taking_wishes(now).update(state=OrderState.OPEN)
    if claimed != 1:
        raise ValidationError(_("This order takes no more wishes. Ask whoever runs it."))
    _check(order, wishes)
    before = {wish.line_id: wish for wish in OrderWish.objects.filter(line__order=order, member=by)}
    for line, quantity in sorted(wishes.items()):
        _set(by, line, quantity, before.get(line), now)


def _check(order: ClubOrder, wishes: Mapping[int, int]) -> None:
    lines = set(order.lines.values_list("pk", flat=True))
    problems = {}
    for line, quantity in wishes.items():
        if line not in lines:
            problems[f"line_{line}"] = _("This line is not in the order any more. Open the page again.")
        elif not 0 <= quantity <= MOST_UNITS:
            problems[f"line_{line}"] = _("Give a number from 0 to %(most)s.") % {"most": MOST_UNITS}
    if problems:
        raise ValidationError(problems)


def _set(by: User, line: int, quantity: int, before: OrderWish | None, now: datetime) -> None:
    rows = OrderWish.objects.filter(line=line, member=by)
    if quantity == 0:
        rows.delete()
    elif before is None:
        OrderWish.objects.create(line_id=line, member=by, quantity=quantity, asked_at=now)
    elif quantity > before.quantity:
        rows.update(quantity=quantity, asked_at=now)
    elif quantity < before.quantity:
        rows.update(quantity=quantity)
