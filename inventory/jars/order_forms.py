"""Forms of the club orders. What was typed stays; what a service refuses appears beside its field."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from crispy_forms.helper import FormHelper
from django import forms
from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _

from club.core.fields import MomentField
from club.core.money import money_text
from inventory.jars.forms import count_field, helper, note_field, token_field
from inventory.jars.models import ClubOrder, OrderLine, Supply
from inventory.jars.order_queries import LineSum
from inventory.jars.services import CODE_LENGTH, MAKER_LENGTH, LineFields, Received, Terms
from inventory.jars.words import LineKind, ShortBy, SplitBy
from recipes.forms.prices import MoneyField
from recipes.words import JARS

ROWS = 3  # empty lines offered at once; more are added on the order's own page
SOLD_IN = 12  # lids and jars come by the dozen: common practice, no source


def money_field(label: Any, **more: Any) -> MoneyField:
    return MoneyField(label=label, widget=forms.TextInput(attrs={"inputmode": "decimal", "maxlength": 12}), **more)


class TermsForm(forms.Form):
    """Freight and discount, and by what each is shared."""

    freight = money_field(_("Freight, in all"), required=False, help_text=_("Leave it empty while nobody knows it."))
    freight_by = forms.ChoiceField(label=_("Freight is shared"), choices=SplitBy.choices, initial=SplitBy.WEIGHT)
    discount = money_field(_("Discount, in all"), required=False)
    discount_by = forms.ChoiceField(label=_("The discount is shared"), choices=SplitBy.choices, initial=SplitBy.VALUE)
    short_by = forms.ChoiceField(label=_("Where less comes than was ordered"), choices=ShortBy.choices)

    def __init__(self, *args: Any, order: ClubOrder | None = None, **kwargs: Any) -> None:
        if order is not None:
            kwargs["initial"] = {
                "freight": money_text(order.freight_cents),
                "freight_by": order.freight_by,
                "discount": money_text(order.discount_cents),
                "discount_by": order.discount_by,
                "short_by": order.short_by,
            }
        super().__init__(*args, **kwargs)
        self.helper = helper(gettext("Save the costs"))

    def terms(self) -> Terms:
        told = self.cleaned_data
        return Terms(
            freight_cents=told["freight"] or 0,
            freight_by=told["freight_by"],
            discount_cents=told["discount"] or 0,
            discount_by=told["discount_by"],
            short_by=told["short_by"],
        )


class OrderForm(TermsForm):
    """A new order; its lines are `LineForm`s beside it."""

    token = token_field()
    title = forms.CharField(
        label=_("What is it for?"), max_length=120, help_text=_("For instance: lids and jars for the summer.")
    )
    supplier = forms.CharField(label=_("Supplier"), max_length=120, required=False)
    closes_at = MomentField(
        label=_("Wishes until"),
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
    )
    note = forms.CharField(label=_("Note for members"), max_length=400, required=False)
    field_order = ("title", "supplier", "closes_at", "note")

    def written(self) -> dict[str, Any]:
        told = self.cleaned_data
        return {name: told[name] for name in ("token", "title", "supplier", "closes_at", "note")} | {
            "terms": self.terms()
        }


class LineForm(forms.Form):
    """One thing a supplier offers."""

    name = forms.CharField(label=_("What"), max_length=120)
    unit = forms.CharField(label=_("Sold by the"), max_length=40, help_text=_("For instance: box of 12."))
    price = money_field(_("Price of one such unit"))
    # Empty at first: a line nobody filled in is then one nobody changed.
    kind = forms.ChoiceField(label=_("It is"), choices=[("", "–"), *LineKind.choices])
    pieces = count_field(_("Pieces in one unit"), initial=1)
    jar_size = forms.ChoiceField(label=_("Size, for jars"), required=False, choices=[("", _("no jars")), *JARS.items()])
    supply = forms.ModelChoiceField(
        label=_("Which supply"), required=False, queryset=Supply.objects.none(), empty_label=_("no supply")
    )
    grams = count_field(_("Weight of one unit in grams"), least=0, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["supply"].queryset = Supply.objects.filter(is_vinegar=False).in_order()  # type: ignore[attr-defined]
        self.fields["grams"].max_value = None  # type: ignore[attr-defined]
        self.helper = FormHelper()
        self.helper.form_tag = False

    def fields_told(self) -> LineFields:
        told = self.cleaned_data
        return LineFields(
            name=told["name"],
            unit=told["unit"],
            price_cents=told["price"],
            kind=told["kind"],
            pieces=told["pieces"],
            grams=told["grams"] or 0,
            jar_size=told["jar_size"],
            supply=told["supply"],
        )


class NewLineForm(LineForm):
    token = token_field()


class WishForm(forms.Form):
    """How many units of each line: one number a line, 0 for none."""

    def __init__(self, *args: Any, rows: Iterable[LineSum], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for row in rows:
            self.fields[f"line_{row.line.pk}"] = forms.IntegerField(
                label=gettext("How many of %(what)s, by the %(unit)s?")
                % {"what": row.line.name, "unit": row.line.unit},
                min_value=0,
                max_value=500,
                required=False,
                initial=row.mine,
                widget=forms.NumberInput(attrs={"inputmode": "numeric", "class": "form-control"}),
            )

    def wishes(self) -> dict[int, int]:
        return {int(name.removeprefix("line_")): count or 0 for name, count in self.cleaned_data.items()}


class ArrivalForm(forms.Form):
    """What came of each line, the lot code of lids, the use-by of supplies."""

    token = token_field()

    def __init__(self, *args: Any, lines: Iterable[OrderLine], asked: Mapping[int, int], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.lines = list(lines)
        for line in self.lines:
            units = count_field(_("How many came?"), least=0, initial=asked.get(line.pk, 0))
            self.fields[f"units_{line.pk}"] = units
            if line.kind == LineKind.LIDS:
                code = forms.CharField(label=_("Lot code on the box"), max_length=CODE_LENGTH, required=False)
                maker = forms.CharField(label=_("Maker of the lids"), max_length=MAKER_LENGTH, required=False)
                self.fields |= {f"lid_code_{line.pk}": code, f"lid_maker_{line.pk}": maker}
            elif line.kind == LineKind.SUPPLY:
                day = forms.DateInput(attrs={"type": "date"})
                self.fields[f"use_by_{line.pk}"] = forms.DateField(label=_("Use by"), required=False, widget=day)

    def blocks(self) -> list[tuple[OrderLine, list[forms.BoundField]]]:
        """Each line with its own fields."""
        ends = ("units", "lid_code", "lid_maker", "use_by")
        return [
            (line, [self[name] for end in ends if (name := f"{end}_{line.pk}") in self.fields]) for line in self.lines
        ]

    def received(self) -> dict[int, Received]:
        told = self.cleaned_data
        return {
            line.pk: Received(
                units=told[f"units_{line.pk}"],
                lid_code=told.get(f"lid_code_{line.pk}", ""),
                lid_maker=told.get(f"lid_maker_{line.pk}", ""),
                use_by=told.get(f"use_by_{line.pk}"),
            )
            for line in self.lines
        }


class CancelForm(forms.Form):
    reason = forms.CharField(label=_("Why?"), max_length=200)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = helper(gettext("Cancel the order"), css="btn-danger")


class PaymentForm(forms.Form):
    token = token_field()
    cents = money_field(_("Amount"))
    is_back = forms.BooleanField(label=_("given back to the member"), required=False)
    note = note_field()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = helper(gettext("Note it"), css="")

    def written(self) -> dict[str, Any]:
        told = dict(self.cleaned_data)
        sign = -1 if told.pop("is_back") else 1
        return {**told, "cents": sign * told["cents"]}


def lines_asked(wants: Iterable[str]) -> tuple[list[dict[str, Any]], str]:
    """First values of lines from an address, and a note for the order: `lids::240`, `jars:pint:36`, `supply:name:9`.

    The counts are pieces. What cannot be read is left out: it is a help to whoever types, and no more.
    """
    rows: list[dict[str, Any]] = []
    said: list[str] = []
    for want in list(wants)[:20]:
        kind, _colon, rest = want.partition(":")
        name, _colon, count = rest.rpartition(":")
        if kind not in LineKind.values or not (count.isascii() and count.isdecimal() and 0 < len(count) < 6):
            continue
        row, words = _row_asked(kind, name[:80], int(count))
        if row:
            rows.append(row)
            said.append(words)
    return rows, (gettext("Looked for: %(things)s.") % {"things": "; ".join(said)})[:400] if said else ""


def _row_asked(kind: str, name: str, count: int) -> tuple[dict[str, Any], str]:
    if kind == LineKind.SUPPLY:
        known = Supply.objects.filter(name__iexact=name, is_vinegar=False).first()
        row = {"kind": kind, "name": name, "unit": known.unit if known else "", "supply": known, "pieces": 1}
        return row, f"{count} × {name}"
    if kind == LineKind.JARS and name not in JARS:
        return {}, ""
    units = -(-count // SOLD_IN)
    words = str(JARS[name]) if kind == LineKind.JARS else gettext("lids")
    row = {
        "kind": kind,
        "name": gettext("Jars, %(size)s") % {"size": words} if kind == LineKind.JARS else gettext("Lids"),
        "unit": gettext("box of %(n)s") % {"n": SOLD_IN},
        "pieces": SOLD_IN,
        "jar_size": name if kind == LineKind.JARS else "",
    }
    boxes = ngettext("%(n)s box", "%(n)s boxes", units) % {"n": units}
    return row, f"{count} {words} ({boxes})"
