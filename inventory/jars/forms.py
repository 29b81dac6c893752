"""The room's forms. What was typed stays; what a service refuses appears beside its field."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _

from club.core.fields import LineField, MomentField, count_field, token_field
from club.core.forms import ButtonForm, bare_helper
from club.core.ledger import NOTE_LENGTH
from club.core.money import MoneyField
from club.members.models import Kitchen, User, kitchen_words
from inventory.jars.choices import (
    OUTSIDE,
    CountReason,
    JarState,
    LineKind,
    PlaceKind,
    Reason,
    ShortBy,
    SplitBy,
    SupplyKind,
)
from inventory.jars.models import KEEP, Balance, ClubOrder, OrderLine, Place, Supply
from inventory.jars.models.orders import LineSum
from inventory.jars.rules import (
    FULL,
    LID_CODE_LENGTH,
    LID_MAKER_LENGTH,
    MEMBER,
    MOST_AT_ONCE,
    ORDER_NOTE_LENGTH,
    ORDER_TEXT_LENGTH,
    ORDER_UNIT_LENGTH,
    SHAPES,
    SUPPLY_CODE_LENGTH,
    Shape,
    count_typed,
)
from recipes.choices import JARS
from recipes.engine.quantities import JAR_SIZES

# In the order of a season, as the buttons stand. What follows from a batch's log is not moved by hand.
REASONS_OFFERED = [
    Reason.BOUGHT,
    Reason.LENT,
    Reason.RETURNED,
    Reason.MOVED,
    Reason.GIVEN,
    Reason.EMPTIED,
    Reason.BROKEN,
    Reason.CHIPPED,
    Reason.FOUND,
]


def note_field() -> forms.CharField:
    return forms.CharField(label=_("Notes"), required=False, max_length=NOTE_LENGTH)


MOST_PLACES = 60  # in a drop-down list; among more one looks by name
FIND = "find"  # the button that looks, and the end of the names of the fields that say for whom
NAME_LENGTH = 120


class PlaceField(forms.ChoiceField):
    """A place, by its key, of those kinds which the person may use; those that hold nothing yet among them.

    Where there are more than fit a list, those that `wanted` is part of the name of, and the one chosen before. Any of
    them all is taken when it is sent.
    """

    def __init__(self, user: User, kinds: frozenset[str], *, wanted: str = "", chosen: str = "", **named: Any) -> None:
        keeps = user.has_perm(KEEP)
        kitchens: QuerySet[Kitchen] = Kitchen.objects.all() if keeps else Kitchen.objects.filter(people=user)
        people = User.objects.get_queryset().filter(is_active=True) if keeps else User.objects.filter(pk=user.pk)
        rows: dict[str, QuerySet[Any]] = {PlaceKind.KITCHEN.value: kitchens, MEMBER: people}
        self.rows = {kind: found.order_by("name", "pk") for kind, found in rows.items() if kind in kinds}
        self.is_long = False
        found: list[tuple[str, str]] = []
        if PlaceKind.STORE in kinds and keeps:
            found.append(("store", str(PlaceKind.STORE.label)))
        for kind in self.rows:
            there = self._there(kind, " ".join(wanted.split()), chosen)
            words = kitchen_words(there) if kind == PlaceKind.KITCHEN else {one.pk: str(one) for one in there}
            found += [(f"{kind}-{pk}", name) for pk, name in words.items()]
        # Somebody in a hurry would lend to whoever is first in the alphabet: a name must be chosen. The store may stand
        # there already.
        is_choice = len(found) > 1 and found[0][0] != "store"
        super().__init__(choices=[("", "–"), *found] if is_choice else found, **named)

    def _there(self, kind: str, wanted: str, chosen: str) -> list[Any]:
        """What the list holds of one kind; a second query where somebody looks for a name, or chose beyond the list."""
        rows = self.rows[kind]
        there = list(rows[: MOST_PLACES + 1])
        if len(there) <= MOST_PLACES:
            return there
        self.is_long = True
        there = list(rows.filter(name__icontains=wanted)[:MOST_PLACES]) if wanted else there[:MOST_PLACES]
        pk = self._key(kind, chosen)
        if pk is not None and pk not in {one.pk for one in there}:
            there += rows.filter(pk=pk)
        return there

    def _key(self, kind: str, value: str) -> int | None:
        """The number of "kitchen-3"; None for a place of another kind, or what is none."""
        prefix, _dash, pk = value.partition("-")
        return int(pk) if prefix == kind and pk.isascii() and pk.isdecimal() and len(pk) < 19 else None

    def valid_value(self, value: Any) -> bool:
        if super().valid_value(value):
            return True
        keys = ((rows, self._key(kind, str(value))) for kind, rows in self.rows.items())
        return any(rows.filter(pk=pk).exists() for rows, pk in keys if pk is not None)


NOT_WRITTEN = {"lot", "source", "target", f"source_{FIND}", f"target_{FIND}"}


class MoveForm(forms.Form):
    """What a reason needs and no more: a size, a number, and the places and states that can differ.

    Where there are many places, each has a field for a part of its name: `finding` are those of a press of FIND.
    """

    token = token_field()

    def __init__(self, *args: Any, by: User, reason: Reason, finding: Mapping[str, str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.finding = finding
        self.shape = SHAPES[reason]
        self.fields["size"] = forms.ChoiceField(
            label=_("Size"),
            choices=[(size, JARS[size]) for size in JAR_SIZES],
            widget=forms.RadioSelect,
        )
        self.fields["count"] = count_field(_("How many?"))
        self._add_places(by, self.shape)
        self._add_state(self.shape)
        if reason == Reason.LENT and by.has_perm(KEEP):
            self.fields["deposit_cents"] = MoneyField(
                label=_("Deposit for each jar"),
                required=False,
                help_text=_("Such as 0.50. Leave it empty where none is taken."),
            )
        self.fields["note"] = note_field()

    def _add_places(self, by: User, shape: Shape) -> None:
        if not shape.sources <= OUTSIDE:
            label = _("Where are they?") if shape.stays else _("From")
            self._add_place("source", by, shape.sources, label, _("Find a name, where from"))
        if not shape.targets <= OUTSIDE and not shape.stays:
            self._add_place("target", by, shape.targets, _("To"), _("Find a name, where to"))

    def _add_place(self, name: str, by: User, kinds: frozenset[str], label: Any, find_label: Any) -> None:
        find = f"{name}_{FIND}"
        wanted = self.finding.get(find, "")
        chosen = str((self.data if self.is_bound else self.initial).get(name, ""))
        place = PlaceField(by, kinds, wanted=wanted, chosen=chosen, label=label)
        if place.is_long:
            # The list is had anew while somebody types; without scripts, by the button.
            attrs = {
                "autocomplete": "off",
                "hx-post": "",
                "hx-trigger": "input changed delay:300ms",
                "hx-target": f"#id_{name}",
                "hx-select": f"#id_{name}",
                "hx-swap": "outerHTML",
                "hx-include": "closest form",
                "hx-vals": f'{{"{FIND}": "1"}}',
            }
            widget = forms.TextInput(attrs=attrs)
            self.fields[find] = forms.CharField(
                label=find_label, required=False, max_length=NAME_LENGTH, initial=wanted, widget=widget
            )
        self.fields[name] = place

    def _add_state(self, shape: Shape) -> None:
        if len(shape.finds) > 1:
            self.fields["state"] = forms.ChoiceField(
                label=_("They are"),
                choices=[(state, JarState(state).label) for state in shape.finds],
                initial=shape.finds[0],
                widget=forms.RadioSelect,
            )
        if FULL in shape.finds:
            self.fields["lot"] = forms.CharField(
                label=_("Lot code, for full jars"),
                required=False,
                max_length=16,
                widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
            )

    def clean(self) -> dict[str, Any]:
        data = self.cleaned_data
        if not self.errors:
            data["state"] = data.get("state") or self.shape.finds[0]
            data["batch_id"] = self._batch_of_lot(data)
        return data

    def _batch_of_lot(self, data: dict[str, Any]) -> int | None:
        code = data.get("lot", "").strip().upper()
        if data["state"] != FULL or not code:
            return None
        balances = Balance.objects.all()
        if "source" in data:
            balances = balances.filter(place__in=Place.objects.of_key(data["source"]), size=data["size"])
        found = balances.full_lot(code)
        if found is None:
            self.add_error("lot", _("No full jars of that lot and size are booked there. Look at the label again."))
        return found

    @property
    def source_key(self) -> str:
        """The key of the place they come from, see `Place.key`: chosen, or the one there is for this reason."""
        return self.cleaned_data.get("source") or next(iter(self.shape.sources))

    @property
    def target_key(self) -> str:
        if self.shape.stays:
            return self.source_key
        return self.cleaned_data.get("target") or next(iter(self.shape.targets))

    def written(self) -> dict[str, Any]:
        """The keyword arguments of `jars_move`, but for the places."""
        data = {name: value for name, value in self.cleaned_data.items() if name not in NOT_WRITTEN}
        return {**data, "deposit_cents": data.get("deposit_cents") or 0}


class CorrectForm(ButtonForm):
    """How many it should have been."""

    button = _("Write the correction")

    token = token_field()
    count = count_field(
        _("How many should it have been?"),
        least=0,
        help_text=_("0, if it never happened. What was written stays to be seen."),
    )
    note = note_field()


class SettleForm(ButtonForm):
    button = _("Close this deposit")
    token = token_field()
    note = forms.CharField(
        label=_("What became of the deposit?"),
        max_length=NOTE_LENGTH,
        help_text=_("For instance: paid back in cash; kept for four jars that broke."),
    )


class LidsForm(ButtonForm):
    button = _("Write it down")
    token = token_field()
    what = forms.ChoiceField(
        label=_("What happened?"),
        choices=[("buy", _("bought")), ("spoil", _("spoilt"))],
        initial="buy",
        widget=forms.RadioSelect,
    )
    code = forms.CharField(
        label=_("Lid lot"), max_length=LID_CODE_LENGTH, widget=forms.TextInput(attrs={"autocomplete": "off"})
    )
    maker = forms.CharField(label=_("Maker of the lids"), max_length=LID_MAKER_LENGTH, required=False)
    count = count_field(_("How many lids?"))
    note = note_field()


class SupplyForm(ButtonForm, forms.ModelForm):
    button = _("Add it")
    low_level = count_field(_("Low from"), least=0, initial=0, help_text=_("At this many, or fewer, buy more."))

    class Meta:
        model = Supply
        fields = ("name", "unit", "low_level", "kind")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["kind"].required = False

    def clean_kind(self) -> str:
        return self.cleaned_data["kind"] or SupplyKind.OTHER.value

    def clean(self) -> dict[str, Any]:
        """A name that is there already is no mistake: `supply_add` gives the supply of that name."""
        return self.cleaned_data

    def _get_validation_exclusions(self) -> set[str]:
        """Nor does the model's own constraint on the name speak here; the service looks at the name."""
        return {*super()._get_validation_exclusions(), "name"}  # type: ignore[misc]


class SupplyBuyForm(ButtonForm):
    button = _("Bring in")
    token = token_field()
    count = count_field(_("How many came in?"))
    use_by = forms.DateField(label=_("Use by"), required=False, widget=forms.DateInput(attrs={"type": "date"}))
    code = forms.CharField(
        label=_("Lot code on it"),
        required=False,
        max_length=SUPPLY_CODE_LENGTH,
        help_text=_("As printed on the bottle or packet: a recall of it goes by this."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )

    def __init__(self, *args: Any, is_vinegar: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if is_vinegar:
            self.fields["strength"] = forms.DecimalField(
                label=_("Strength on the label, in percent"),
                max_digits=4,
                decimal_places=1,
                min_value=0,
                widget=forms.NumberInput(attrs={"inputmode": "decimal", "step": "0.1"}),
            )

    def written(self) -> dict[str, Any]:
        data = dict(self.cleaned_data)
        strength = data.pop("strength", None)
        return {**data, "strength_tenths": None if strength is None else int(strength * 10)}


class SupplyTakeForm(ButtonForm):
    button = _("Take from the earliest")
    token = token_field()
    count = count_field(_("How many were used?"))


class SpoilForm(ButtonForm):
    button = _("Throw away")
    button_css = "btn-danger"
    token = token_field()
    count = count_field(_("How many are thrown away?"))


class CountsForm(ButtonForm):
    button = _("Look it over")
    file = forms.FileField(label=_("File of counts"), help_text=_("CSV (UTF-8) or XLSX, at most 2 MB."))


@dataclass(frozen=True)
class ShelfRow:
    """One kind of jar at a place that is counted: its size and state, of full ones the lot, and what is booked."""

    size: str
    state: str
    booked: int
    batch_id: int | None = None
    lot: str = ""

    @property
    def name(self) -> str:
        return f"{self.size}_{self.state}_{self.batch_id or 0}"


class CountedField(forms.CharField):
    """A number of jars as somebody says it: "120", "10 dozen", "3 x 12", "2 dozen + 5". None: not counted."""

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if not text:
            return None
        counted = count_typed(text)
        if counted is None or counted > MOST_AT_ONCE:
            raise forms.ValidationError(_("Give a number, such as 120, 10 dozen or 3 x 12."))
        return counted


class ShelfCountForm(forms.Form):
    """A box for each kind of jar that stands there or may; what stays empty is left as it is booked."""

    why = forms.ChoiceField(label=_("Why does it differ?"), choices=[("", "–"), *CountReason.choices], required=False)
    note = note_field()

    def __init__(self, *args: Any, rows: Sequence[ShelfRow], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.shelf = list(rows)
        for row in rows:
            # A full keyboard: "dozen" is typed as well.
            box = forms.TextInput(attrs={"autocomplete": "off", "class": "form-control shelf-box"})
            words = [JARS[row.size], JarState(row.state).label, row.lot]
            self.fields[row.name] = CountedField(
                label=", ".join(str(one) for one in words if one), required=False, max_length=40, widget=box
            )

    def rows(self) -> list[tuple[ShelfRow, forms.BoundField]]:
        return [(row, self[row.name]) for row in self.shelf]

    def counted(self) -> list[tuple[ShelfRow, int, int]]:
        """What was counted: the row, how many, and what the books said when the page was shown."""
        found = []
        for row in self.shelf:
            if (count := self.cleaned_data[row.name]) is not None:
                was = str(self.data.get(f"was_{row.name}", ""))
                found.append((row, count, int(was) if was.isascii() and was.isdecimal() and len(was) < 10 else -1))
        return found


# Club orders.

ROWS = 3  # empty lines offered at once; more are added on the order's own page
SOLD_IN = 12  # lids and jars come by the dozen: common practice, no source


class TermsForm(ButtonForm):
    """Freight and discount, and by what each is shared."""

    button = _("Save the costs")

    freight = MoneyField(
        label=_("Freight, in all"), required=False, help_text=_("Leave it empty while nobody knows it.")
    )
    freight_by = forms.ChoiceField(label=_("Freight is shared"), choices=SplitBy.choices, initial=SplitBy.WEIGHT)
    discount = MoneyField(label=_("Discount, in all"), required=False)
    discount_by = forms.ChoiceField(label=_("The discount is shared"), choices=SplitBy.choices, initial=SplitBy.VALUE)
    short_by = forms.ChoiceField(label=_("Where less comes than was ordered"), choices=ShortBy.choices)

    def __init__(self, *args: Any, order: ClubOrder | None = None, **kwargs: Any) -> None:
        if order is not None:
            kwargs["initial"] = {
                "freight": order.freight_cents,
                "freight_by": order.freight_by,
                "discount": order.discount_cents,
                "discount_by": order.discount_by,
                "short_by": order.short_by,
            }
        super().__init__(*args, **kwargs)

    def terms(self) -> dict[str, Any]:
        """The fields of `services.Terms`."""
        data = self.cleaned_data
        return {
            "freight_cents": data["freight"] or 0,
            "freight_by": data["freight_by"],
            "discount_cents": data["discount"] or 0,
            "discount_by": data["discount_by"],
            "short_by": data["short_by"],
        }


class OrderForm(TermsForm):
    """A new order; its lines are `LineForm`s beside it."""

    token = token_field()
    title = LineField(
        label=_("What is it for?"),
        max_length=ORDER_TEXT_LENGTH,
        help_text=_("For instance: lids and jars for the summer."),
    )
    supplier = forms.CharField(label=_("Supplier"), max_length=ORDER_TEXT_LENGTH, required=False)
    closes_at = MomentField(
        label=_("Wishes until"),
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
    )
    note = forms.CharField(label=_("Note for members"), max_length=ORDER_NOTE_LENGTH, required=False)
    field_order = ("title", "supplier", "closes_at", "note")

    def written(self) -> dict[str, Any]:
        data = self.cleaned_data
        return {name: data[name] for name in ("token", "title", "supplier", "closes_at", "note")}


class LineForm(forms.Form):
    """One thing a supplier offers."""

    name = LineField(label=_("What"), max_length=ORDER_TEXT_LENGTH)
    unit = forms.CharField(
        label=_("Sold by the"), max_length=ORDER_UNIT_LENGTH, help_text=_("For instance: box of 12.")
    )
    price = MoneyField(label=_("Price of one such unit"))
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
        self.fields["supply"].queryset = Supply.objects.kept().exclude(kind=SupplyKind.VINEGAR).in_order()  # type: ignore[attr-defined]
        self.fields["grams"].max_value = None  # type: ignore[attr-defined]
        self.helper = bare_helper()

    def written(self) -> dict[str, Any]:
        """The fields of `services.LineFields`."""
        data = self.cleaned_data
        return {
            "name": data["name"],
            "unit": data["unit"],
            "price_cents": data["price"],
            "kind": data["kind"],
            "pieces": data["pieces"],
            "grams": data["grams"] or 0,
            "jar_size": data["jar_size"],
            "supply": data["supply"],
        }


class NewLineForm(LineForm):
    token = token_field()


class EntriesForm(forms.Form):
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

    def entries(self) -> dict[int, int]:
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
                code = forms.CharField(label=_("Lot code on the box"), max_length=LID_CODE_LENGTH, required=False)
                maker = forms.CharField(label=_("Maker of the lids"), max_length=LID_MAKER_LENGTH, required=False)
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

    def received(self) -> dict[int, dict[str, Any]]:
        """By line, the fields of `services.Received`."""
        data = self.cleaned_data
        return {
            line.pk: {
                "units": data[f"units_{line.pk}"],
                "lid_code": data.get(f"lid_code_{line.pk}", ""),
                "lid_maker": data.get(f"lid_maker_{line.pk}", ""),
                "use_by": data.get(f"use_by_{line.pk}"),
            }
            for line in self.lines
        }


class CancelForm(ButtonForm):
    button = _("Cancel the order")
    button_css = "btn-danger"
    reason = forms.CharField(label=_("Why?"), max_length=NOTE_LENGTH)


class PaymentForm(ButtonForm):
    button = _("Note it")
    button_css = ""
    token = token_field()
    cents = MoneyField(label=_("Amount"))
    is_back = forms.BooleanField(label=_("given back to the member"), required=False)
    note = note_field()

    def written(self) -> dict[str, Any]:
        data = dict(self.cleaned_data)
        sign = -1 if data.pop("is_back") else 1
        return {**data, "cents": sign * data["cents"]}


def lines_from_address(wants: Iterable[str]) -> tuple[list[dict[str, Any]], str]:
    """First values of lines from an address, and a note for the order: `lids::240`, `jars:pint:36`, `supply:name:9`.

    The counts are pieces. What cannot be read is left out: it is a help to whoever types, and no more.
    """
    rows: list[dict[str, Any]] = []
    labels: list[str] = []
    for want in list(wants)[:20]:
        kind, _colon, rest = want.partition(":")
        name, _colon, count = rest.rpartition(":")
        if kind not in LineKind.values or not (count.isascii() and count.isdecimal() and 0 < len(count) < 6):
            continue
        row, words = _line_from_address(kind, name[:80], int(count))
        if row:
            rows.append(row)
            labels.append(words)
    return rows, (gettext("Looked for: %(things)s.") % {"things": "; ".join(labels)})[:400] if labels else ""


def _line_from_address(kind: str, name: str, count: int) -> tuple[dict[str, Any], str]:
    if kind == LineKind.SUPPLY:
        known = Supply.objects.filter(name__iexact=name).exclude(kind=SupplyKind.VINEGAR).first()
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
