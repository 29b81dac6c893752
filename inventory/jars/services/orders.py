"""Running a club order: opened, its lines and costs, placed with the supplier, cancelled, closed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from club.core.text import seen
from club.members.models import User
from inventory.jars.models import ClubOrder, OrderLine, OrderPickup, OrderWish, Supply
from inventory.jars.order_queries import RUN
from inventory.jars.services.common import part_token, write_once
from inventory.jars.words import LineKind, OrderState, ShortBy, SplitBy
from recipes.words import JARS

MOST_CENTS = 10_000_000  # a slip of the pen, not a rule
MOST_GRAMS = 1_000_000
MOST_LINES = 60


@dataclass(frozen=True)
class LineFields:
    """One line as a supplier offers it: a unit holds `pieces` lids, jars of `jar_size`, or units of the supply."""

    name: str
    unit: str
    price_cents: int
    kind: str
    pieces: int = 1
    grams: int = 0
    jar_size: str = ""
    supply: Supply | None = None


@dataclass(frozen=True)
class Terms:
    """What it costs besides, and by what that, and a short delivery, is shared."""

    freight_cents: int = 0
    freight_by: str = SplitBy.WEIGHT
    discount_cents: int = 0
    discount_by: str = SplitBy.VALUE
    short_by: str = ShortBy.FIRST


def run_check(by: User) -> None:
    """PermissionDenied for somebody who does not run orders."""
    if not by.has_perm(RUN):
        raise PermissionDenied


def words_clean(text: str, *, field: str, longest: int, is_needed: bool = True) -> str:
    plain = seen(text)
    if is_needed and not plain:
        raise ValidationError({field: _("Write something here.")})
    if len(plain) > longest:
        raise ValidationError({field: _("At most %(n)s characters, please.") % {"n": longest}})
    return plain


def state_move(order: ClubOrder, before: Sequence[str], after: str, **fields: object) -> bool:
    """The only way an order's state changes: by one conditional update. False: somebody was first."""
    return ClubOrder.objects.filter(pk=order.pk, state__in=before).update(state=after, **fields) == 1


@transaction.atomic
def order_open(
    *,
    by: User,
    title: str,
    closes_at: datetime,
    token: UUID,
    terms: Terms | None = None,
    lines: Sequence[LineFields] = (),
    supplier: str = "",
    note: str = "",
    now: datetime | None = None,
) -> ClubOrder:
    """An order that takes wishes until `closes_at`, with its lines. The same `token` again finds it.

    PermissionDenied for who does not run orders; ValidationError by field, of the first line that is wrong with its
    number said.
    """
    run_check(by)
    now, terms = now or timezone.now(), terms or Terms()
    if closes_at <= now:
        raise ValidationError({"closes_at": _("That time is past already: members need time to wish.")})
    _terms_check(terms)
    order, is_new = write_once(
        ClubOrder(
            title=words_clean(title, field="title", longest=120),
            supplier=words_clean(supplier, field="supplier", longest=120, is_needed=False),
            note=words_clean(note, field="note", longest=400, is_needed=False),
            closes_at=closes_at,
            opened_by=by,
            opened_at=now,
            token=token,
            **vars(terms),
        ),
        same=("opened_by_id", "title"),
    )
    if is_new:
        for number, fields in enumerate(lines, start=1):
            try:
                _line_write(order, fields, part_token(token, f"line {number}"))
            except ValidationError as error:
                told = " ".join(error.messages)
                raise ValidationError(_("Line %(n)s: %(why)s") % {"n": number, "why": told}) from error
    return order


def _terms_check(terms: Terms) -> None:
    for field in ("freight_cents", "discount_cents"):
        if not 0 <= getattr(terms, field) <= MOST_CENTS:
            raise ValidationError({field: _("Give an amount of nothing or more.")})
    for field, known in (("freight_by", SplitBy), ("discount_by", SplitBy), ("short_by", ShortBy)):
        if getattr(terms, field) not in known.values:
            raise ValidationError({field: _("Choose a rule.")})


@transaction.atomic
def order_line_add(*, by: User, order: ClubOrder, fields: LineFields, token: UUID) -> OrderLine:
    """One more line, while the order takes wishes. ValidationError by field."""
    run_check(by)
    _open_claim(order)
    return _line_write(order, fields, token)


def _open_claim(order: ClubOrder) -> None:
    """An update that changes nothing: it says that the order is open still, and makes its closing wait."""
    if not state_move(order, [OrderState.OPEN], OrderState.OPEN):
        raise ValidationError(_("This order takes no more wishes, so its lines stay as they are."))


def _line_write(order: ClubOrder, fields: LineFields, token: UUID) -> OrderLine:
    _line_check(order, fields)
    line, _is_new = write_once(
        OrderLine(
            order=order,
            name=words_clean(fields.name, field="name", longest=120),
            unit=words_clean(fields.unit, field="unit", longest=40),
            price_cents=fields.price_cents,
            grams=fields.grams,
            kind=fields.kind,
            pieces=fields.pieces,
            jar_size=fields.jar_size,
            supply=fields.supply,
            token=token,
        ),
        same=("order_id", "name", "kind"),
    )
    return line


def _line_check(order: ClubOrder, fields: LineFields) -> None:
    if fields.kind not in LineKind.values:
        raise ValidationError({"kind": _("Choose what it is.")})
    if not 0 <= fields.price_cents <= MOST_CENTS:
        raise ValidationError({"price_cents": _("Give a price of nothing or more.")})
    if not 1 <= fields.pieces <= 999:
        raise ValidationError({"pieces": _("One unit holds from 1 to 999 pieces.")})
    if not 0 <= fields.grams <= MOST_GRAMS:
        raise ValidationError({"grams": _("Give the weight of one unit in grams.")})
    if SplitBy.WEIGHT in _rules_used(order) and not fields.grams:
        text = _("Freight or discount is shared by weight here, so say what one unit weighs.")
        raise ValidationError({"grams": text})
    if (fields.kind == LineKind.JARS) != (fields.jar_size in JARS) or (fields.jar_size and fields.jar_size not in JARS):
        raise ValidationError({"jar_size": _("Say which size the jars are; other things have none.")})
    _supply_check(fields)
    if order.lines.count() >= MOST_LINES:
        raise ValidationError(_("An order has at most %(n)s lines. Open another.") % {"n": MOST_LINES})


def _rules_used(order: ClubOrder) -> set[str]:
    """By what the sums there are have to be shared; a rule for nothing asks for nothing."""
    pairs = ((order.freight_cents, order.freight_by), (order.discount_cents, order.discount_by))
    return {rule for cents, rule in pairs if cents}


def _supply_check(fields: LineFields) -> None:
    if (fields.kind == LineKind.SUPPLY) != (fields.supply is not None):
        raise ValidationError({"supply": _("Say which supply it is; other things are none.")})
    if fields.supply is not None and fields.supply.is_vinegar:
        text = _("A vinegar's strength is read off each bottle: buy it apart, and bring it in on its own page.")
        raise ValidationError({"supply": text})


@transaction.atomic
def order_line_remove(*, by: User, line: OrderLine) -> None:
    """A line nobody wishes for goes, while the order is open. Twice removes it once."""
    run_check(by)
    _open_claim(line.order)
    if OrderWish.objects.filter(line=line).exists():
        raise ValidationError(_("Somebody wishes for it already. Ask her to set her wish to 0 first."))
    OrderLine.objects.filter(pk=line.pk).delete()


@transaction.atomic
def order_terms_change(*, by: User, order: ClubOrder, terms: Terms) -> None:
    """Freight, discount and their rules, until the order is closed or cancelled: a bill may come late."""
    run_check(by)
    _terms_check(terms)
    asked = {
        rule for cents, rule in ((terms.freight_cents, terms.freight_by), (terms.discount_cents, terms.discount_by))
        if cents
    }  # fmt: skip
    if SplitBy.WEIGHT in asked and order.lines.filter(grams=0).exists():
        raise ValidationError(_("A line has no weight yet, so nothing can be shared by weight. Choose another rule."))
    going_on = [OrderState.OPEN, OrderState.ORDERED, OrderState.ARRIVED]
    if ClubOrder.objects.filter(pk=order.pk, state__in=going_on).update(**vars(terms)) != 1:
        raise ValidationError(_("This order is closed: its bills stay as they are."))


@transaction.atomic
def order_place(*, by: User, order: ClubOrder, now: datetime | None = None) -> None:
    """Sent to the supplier: wishes stand from now on, whether or not their time was up. Twice does it once."""
    run_check(by)
    if not OrderWish.objects.filter(line__order=order).exists():
        raise ValidationError(_("Nobody wishes for anything yet: there is nothing to order."))
    if not state_move(order, [OrderState.OPEN], OrderState.ORDERED, ordered_at=now or timezone.now()):
        _settled_or_raise(order, OrderState.ORDERED)


@transaction.atomic
def order_cancel(*, by: User, order: ClubOrder, reason: str, now: datetime | None = None) -> None:
    """Given up, with the reason, until the goods are there. Twice does it once."""
    run_check(by)
    told = words_clean(reason, field="reason", longest=200)
    before = [OrderState.OPEN, OrderState.ORDERED]
    at = now or timezone.now()
    if not state_move(order, before, OrderState.CANCELLED, cancelled_at=at, cancelled_reason=told):
        _settled_or_raise(order, OrderState.CANCELLED)


@transaction.atomic
def order_close(*, by: User, order: ClubOrder, now: datetime | None = None) -> None:
    """Everybody has hers: nothing changes any more but notes of who has paid. Twice does it once."""
    run_check(by)
    waiting = OrderWish.objects.filter(line__order=order, got__gt=0).exclude(
        member__in=OrderPickup.objects.filter(order=order).values("member")
    )
    names = sorted({str(wish.member) for wish in waiting.select_related("member")})
    if names:
        raise ValidationError(_("Not everybody has hers yet: %(names)s.") % {"names": ", ".join(names)})
    if not state_move(order, [OrderState.ARRIVED], OrderState.CLOSED, closed_at=now or timezone.now()):
        _settled_or_raise(order, OrderState.CLOSED)


def _settled_or_raise(order: ClubOrder, wanted: str) -> None:
    """Somebody was first: well where that brought the order to where it was to go."""
    state = OrderState(ClubOrder.objects.values_list("state", flat=True).get(pk=order.pk))
    if state != wanted:
        raise ValidationError(_("This order is “%(state)s” by now. Open the page again.") % {"state": state.label})
