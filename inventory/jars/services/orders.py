"""Club orders: opened, wished for, placed, arrived, handed out, closed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from club.core.errors import form_reused
from club.core.ledger import NOTE_LENGTH, part_token, write_once
from club.core.text import seen
from club.members.models import User
from inventory.jars.billing import Ask, ShortRule, share_out
from inventory.jars.choices import LidReason, LineKind, OrderState, Reason, ShortBy, SplitBy, SupplyReason
from inventory.jars.models import ClubOrder, LidLot, OrderEntry, OrderLine, OrderPayment, OrderPickup, Supply
from inventory.jars.models.orders import MAY_ORDER, RUN
from inventory.jars.rules import BOUGHT, EMPTY, MOST_AT_ONCE, ORDER_NOTE_LENGTH, ORDER_TEXT_LENGTH, ORDER_UNIT_LENGTH
from inventory.jars.services.ledger import (
    Shelf,
    moment_clean,
    movement_post,
    note_clean,
    outside_place,
    person_place,
    store_place,
)
from inventory.jars.services.stock import ENDS, lid_lot_get_or_add, lids_post, supply_post, supply_take_in
from recipes.choices import JARS

# A member's own wishes in a club order: changed as often as they like until it closes.

MOST_UNITS = 500


@transaction.atomic
def order_entries_set(*, by: User, order: ClubOrder, entries: Mapping[int, int], now: datetime | None = None) -> None:
    """The person's wishes by line key: so many units, 0 for none. Lines that are not named stay as they are.

    1. The order is claimed by an update that changes nothing: it is open, its time is not up, and its closing waits.
    2. Who wishes for more than before goes to the end of the line; who wishes for less keeps their place.
    ValidationError by `line_<key>`, or for the whole where no wishes are taken any more. All of it or nothing.
    """
    if not by.has_perm(MAY_ORDER):
        raise PermissionDenied
    now = now or timezone.now()
    claimed = ClubOrder.objects.filter(pk=order.pk).taking_entries(now).update(state=OrderState.OPEN)
    if claimed != 1:
        raise ValidationError(_("This order takes no more wishes. Ask whoever runs it."))
    _check(order, entries)
    before = {entry.line_id: entry for entry in OrderEntry.objects.filter(line__order=order, member=by)}
    for line, quantity in sorted(entries.items()):
        _set(by, line, quantity, before.get(line), now)


def _check(order: ClubOrder, entries: Mapping[int, int]) -> None:
    lines = set(order.lines.values_list("pk", flat=True))
    problems = {}
    for line, quantity in entries.items():
        if line not in lines:
            problems[f"line_{line}"] = _("This line is not in the order any more. Open the page again.")
        elif not 0 <= quantity <= MOST_UNITS:
            problems[f"line_{line}"] = _("Give a number from 0 to %(most)s.") % {"most": MOST_UNITS}
    if problems:
        raise ValidationError(problems)


def _set(by: User, line: int, quantity: int, before: OrderEntry | None, now: datetime) -> None:
    rows = OrderEntry.objects.filter(line=line, member=by)
    if quantity == 0:
        rows.delete()
    elif before is None:
        OrderEntry.objects.create(line_id=line, member=by, quantity=quantity, asked_at=now)
    elif quantity > before.quantity:
        rows.update(quantity=quantity, asked_at=now)
    elif quantity < before.quantity:
        rows.update(quantity=quantity)


# Running a club order: opened, its lines and costs, placed with the supplier, cancelled, closed.

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


def text_clean(text: str, *, field: str, longest: int, is_needed: bool = True) -> str:
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
            title=text_clean(title, field="title", longest=ORDER_TEXT_LENGTH),
            supplier=text_clean(supplier, field="supplier", longest=ORDER_TEXT_LENGTH, is_needed=False),
            note=text_clean(note, field="note", longest=ORDER_NOTE_LENGTH, is_needed=False),
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
                why = " ".join(error.messages)
                raise ValidationError(_("Line %(n)s: %(why)s") % {"n": number, "why": why}) from error
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
            name=text_clean(fields.name, field="name", longest=ORDER_TEXT_LENGTH),
            unit=text_clean(fields.unit, field="unit", longest=ORDER_UNIT_LENGTH),
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
    if OrderEntry.objects.filter(line=line).exists():
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
    if not OrderEntry.objects.filter(line__order=order).exists():
        raise ValidationError(_("Nobody wishes for anything yet: there is nothing to order."))
    if not state_move(order, [OrderState.OPEN], OrderState.ORDERED, ordered_at=now or timezone.now()):
        _settled_or_raise(order, OrderState.ORDERED)


@transaction.atomic
def order_cancel(*, by: User, order: ClubOrder, reason: str, now: datetime | None = None) -> None:
    """Given up, with the reason, until the goods are there. Twice does it once."""
    run_check(by)
    why = text_clean(reason, field="reason", longest=NOTE_LENGTH)
    before = [OrderState.OPEN, OrderState.ORDERED]
    at = now or timezone.now()
    if not state_move(order, before, OrderState.CANCELLED, cancelled_at=at, cancelled_reason=why):
        _settled_or_raise(order, OrderState.CANCELLED)


@transaction.atomic
def order_close(*, by: User, order: ClubOrder, now: datetime | None = None) -> None:
    """Everybody has their things: nothing changes any more but notes of who has paid. Twice does it once."""
    run_check(by)
    waiting = OrderEntry.objects.filter(line__order=order, got__gt=0).exclude(
        member__in=OrderPickup.objects.filter(order=order).values("member")
    )
    names = sorted({str(entry.member) for entry in waiting.select_related("member")})
    if names:
        raise ValidationError(_("Not everybody has hers yet: %(names)s.") % {"names": ", ".join(names)})
    if not state_move(order, [OrderState.ARRIVED], OrderState.CLOSED, closed_at=now or timezone.now()):
        _settled_or_raise(order, OrderState.CLOSED)


def _settled_or_raise(order: ClubOrder, wanted: str) -> None:
    """Somebody was first: well where that brought the order to where it was to go."""
    state = OrderState(ClubOrder.objects.values_list("state", flat=True).get(pk=order.pk))
    if state != wanted:
        raise ValidationError(_("This order is “%(state)s” by now. Open the page again.") % {"state": state.label})


# A club order arrives: lids as a lot, jars into the store, supplies on their shelf, and who gets how much.


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

    1. The order is claimed by a conditional update that leaves the form's token: who presses twice finds their own, and
       whoever comes second with another learns that it arrived already.
    2. Every line needs its number. Lids need their lot code, so that a bad lot can be traced.
    3. Lids come on hand under their lot, jars into the store, supplies onto their shelf.
    4. Where less came than was asked, the order's rule says who goes short (`billing.share_out`).
    ValidationError by `units_<line>`, `lid_code_<line>` and so on.
    """
    run_check(by)
    now = moment_clean(None, now or timezone.now())
    if not _claim(order, token, now):
        return
    lines = list(order.lines.select_related("supply"))
    _check_arrival(lines, received)
    for line in lines:
        came = received[line.pk]
        line.received = came.units
        if came.units:
            _book(by, order, line, came, part_token(token, f"line {line.pk}"), now)
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
        raise form_reused() from None
    if ClubOrder.objects.filter(pk=order.pk, arrival_token=token).exists():
        return False
    raise ValidationError(_("Only an order that was sent to the supplier, and has not come yet, can arrive."))


def _check_arrival(lines: list[OrderLine], received: Mapping[int, Received]) -> None:
    problems: dict[str, str] = {}
    for line in lines:
        came = received.get(line.pk)
        if came is None or came.units < 0:
            problems[f"units_{line.pk}"] = _("Say how many came; 0 for none.")
        elif came.units * line.pieces > MOST_AT_ONCE:
            text = _("That would be more than %(most)s pieces. Count again.")
            problems[f"units_{line.pk}"] = text % {"most": MOST_AT_ONCE}
        elif came.units and line.kind == LineKind.LIDS and not came.lid_code.strip():
            problems[f"lid_code_{line.pk}"] = _("Give the lot code on the box: failed seals are traced by it.")
    if problems:
        raise ValidationError(problems)


def _book(by: User, order: ClubOrder, line: OrderLine, came: Received, token: UUID, at: datetime) -> None:
    count, note = came.units * line.pieces, order.title
    if line.kind == LineKind.LIDS:
        line.lid_lot = _lot(by, line, came)
        lids_post(
            by=by,
            lot=line.lid_lot,
            count=count,
            ends=ENDS[LidReason.BOUGHT],
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
            by=by, supply=line.supply, count=count, token=token, at=at, use_by=came.use_by, note=note
        )
        line.supply_lot = movement.lot


def _lot(by: User, line: OrderLine, came: Received) -> LidLot:
    try:
        return lid_lot_get_or_add(by=by, code=came.lid_code, maker=came.lid_maker)
    except ValidationError as error:
        raise ValidationError({f"lid_code_{line.pk}": error.messages}) from error


def _hand_out(order: ClubOrder, units: Mapping[int, int]) -> None:
    """Each wish learns what it gets. Turns are places in the order of asking, the earlier key first on a tie."""
    entries = list(OrderEntry.objects.filter(line__order=order).order_by("asked_at", "pk"))
    rule = ShortRule(ClubOrder.objects.values_list("short_by", flat=True).get(pk=order.pk))
    by_line: dict[int, list[Ask]] = {}
    for turn, entry in enumerate(entries):
        by_line.setdefault(entry.line_id, []).append(Ask(key=entry.pk, units=entry.quantity, turn=turn))
    gets: dict[int, int] = {}
    for line, asks in by_line.items():
        gets |= share_out(units[line], asks, rule)
    for entry in entries:
        entry.got = gets[entry.pk]
    OrderEntry.objects.bulk_update(entries, ["got"])


# Handing out a club order: who has paid is noted (no payment is taken here), and who has fetched their things.


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
    if not OrderEntry.objects.filter(line__order=order, member=member).exists():
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
    """The member has their things: jars go from the store to their own place, supplies leave the club's shelf.

    Lids stay counted where they are: the club counts them by lot, whoever screws them on, and a batch takes them from
    there. Once for each member and order, whoever presses; NotEnough where the store gave away what was theirs.
    """
    run_check(by)
    now = now or timezone.now()
    if not state_move(order, [OrderState.ARRIVED], OrderState.ARRIVED):
        return _fetched_before(order, member)
    entries = list(
        OrderEntry.objects.filter(line__order=order, member=member, got__gt=0)
        .select_related("line__order", "line__supply_lot__supply")
        .order_by("line")
    )
    if not entries:
        raise ValidationError(_("There is nothing for her to pick up."))
    try:
        with transaction.atomic():
            pickup = OrderPickup.objects.create(order=order, member=member, token=token, by=by, at=now)
    except IntegrityError:
        return _fetched_before(order, member)
    for entry in entries:
        _hand(by, entry, member, part_token(token, f"wish {entry.pk}"), now)
    return pickup


def _fetched_before(order: ClubOrder, member: User) -> OrderPickup:
    before = OrderPickup.objects.filter(order=order, member=member).first()
    if before is None:
        raise ValidationError(_("This order is not there to be picked up. Open the page again."))
    return before


def _hand(by: User, entry: OrderEntry, member: User, token: UUID, at: datetime) -> None:
    line, count = entry.line, (entry.got or 0) * entry.line.pieces
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
