"""The rows of a bill as people read them: what each line costs, and how freight and discount were shared."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from django.utils.translation import gettext as _

from club.core.money import money_text
from inventory.jars.billing import Bill, Part, SplitRule, Wanted
from inventory.jars.models import ClubOrder


@dataclass(frozen=True)
class BillRow:
    what: str
    how: str
    cents: int


def bill_rows(order: ClubOrder, bill: Bill) -> list[BillRow]:
    """Every row of a bill; their cents sum to its total."""
    rows = [BillRow(f"{line.name} ({line.unit})", _line_text(line), line.cents) for line in bill.lines]
    if order.freight_cents:
        rows.append(BillRow(_("Freight"), part_text(bill.freight, order.freight_cents), bill.freight.cents))
    if order.discount_cents:
        rows.append(BillRow(_("Discount"), part_text(bill.discount, -order.discount_cents), bill.discount.cents))
    return rows


def _line_text(line: Wanted) -> str:
    params = {"gets": line.gets, "asked": line.asked, "price": money_text(line.price_cents)}
    if line.is_short:
        return _("%(gets)s of %(asked)s asked for came, at %(price)s") % params
    return _("%(gets)s at %(price)s") % params


def part_text(part: Part, total_cents: int) -> str:
    """ "by weight: 4.96 kg of 5.32 kg; 10.01 × 4960 / 5320 = 933.3 cents" """
    params = {
        "share": _share(part),
        "total": money_text(total_cents),
        "mine": part.basis,
        "all": part.whole_basis,
        "exact": f"{float(part.exact):,.1f}".replace("-", "−"),
    }
    return _("%(share)s; %(total)s × %(mine)s / %(all)s = %(exact)s cents") % params


def _share(part: Part) -> str:
    if part.rule is SplitRule.WEIGHT:
        mine, whole = (f"{float(Fraction(grams, 1000)):g}" for grams in (part.basis, part.whole_basis))
        return _("by weight, %(mine)s kg of %(all)s kg") % {"mine": mine, "all": whole}
    if part.rule is SplitRule.VALUE:
        params = {"mine": money_text(part.basis), "all": money_text(part.whole_basis)}
        return _("by value, %(mine)s of %(all)s") % params
    return _("evenly, one of %(all)s who ordered") % {"all": part.whole_basis}
