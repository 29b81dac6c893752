"""The room's forms. What was typed stays; what a service refuses appears beside its field."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

from crispy_forms.helper import FormHelper
from crispy_forms.layout import HTML, Column, Layout, Row, Submit
from django import forms
from django.utils.html import format_html
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from club.core.fields import Fold
from inventory.batches.fields import ClockField
from inventory.batches.models import Batch
from inventory.batches.needs import Need
from inventory.batches.rules import sizes_covered
from inventory.jars.services import CODE_LENGTH, MAKER_LENGTH
from recipes.words import JARS

MOST_JARS = 999


def helper(*layout: Any, submit: str, css: str = "btn-lg") -> FormHelper:
    made = FormHelper()
    made.layout = Layout(*layout) if layout else None
    made.add_input(Submit("send", submit, css_class=css))
    return made


def _heading(text: str) -> HTML:
    return HTML(format_html('<h2 class="h4">{}</h2>', text))


class StartForm(forms.Form):
    token = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
    started_at = ClockField(
        label=_("When did the cooking begin?"),
        required=False,
        help_text=_("Leave it empty if it begins now. A batch may be keyed in up to 30 days late."),
    )
    note = forms.CharField(label=_("Notes"), required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = helper("token", "started_at", Fold(gettext("A note"), "note"), submit=gettext("Start this batch"))


def minutes_field() -> forms.IntegerField:
    return forms.IntegerField(
        label=_("Minutes processed"), min_value=1, widget=forms.NumberInput(attrs={"inputmode": "numeric"})
    )


def psi_field() -> forms.DecimalField:
    return forms.DecimalField(
        label=_("Pressure held (psi)"),
        max_digits=4,
        decimal_places=1,
        min_value=0,
        help_text=_("The lowest the gauge showed while the minutes were counted."),
        widget=forms.NumberInput(attrs={"inputmode": "decimal", "step": "0.1"}),
    )


def lid_fields() -> dict[str, forms.Field]:
    return {
        "lid_code": forms.CharField(
            label=_("Lid lot"),
            max_length=CODE_LENGTH,
            help_text=_("The code printed on the box of lids, or what the club wrote on it."),
            widget=forms.TextInput(attrs={"autocomplete": "off", "list": "lid-lots"}),
        ),
        "lid_maker": forms.CharField(label=_("Maker of the lids"), max_length=MAKER_LENGTH, required=False),
    }


class LogForm(forms.Form):
    """What was done at the stove. The fields follow the batch: pressure only for a pressure canner, and so on."""

    def __init__(self, *args: Any, batch: Batch, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.sizes = tuple(reversed(sizes_covered(batch.jar_size)))
        self._add_times(batch)
        if not batch.is_frozen_kind:
            self.fields["minutes"] = minutes_field()
        if batch.required_psi is not None:
            self.fields["psi"] = psi_field()
        for size in self.sizes:
            self.fields[f"jars_{size}"] = forms.IntegerField(
                label=str(JARS[size]),
                min_value=0,
                max_value=MOST_JARS,
                required=False,
                widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
            )
        if not batch.is_frozen_kind:
            self.fields |= lid_fields()
        self.fields["note"] = forms.CharField(
            label=_("Notes"), required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 2})
        )
        self.helper = helper(*self._layout(), submit=gettext("Write it down"))

    def _add_times(self, batch: Batch) -> None:
        self.fields["started_at"] = ClockField(
            label=_("Cooking began"),
            required=False,
            help_text=_("Only if the batch was keyed in late: the site has noted when you pressed Start."),
        )
        if not batch.is_frozen_kind:
            self.fields["process_started_at"] = ClockField(label=_("Process began"), required=False)
        self.fields["jars_out_at"] = ClockField(
            label=_("Went into the freezer") if batch.is_frozen_kind else _("Jars came out of the canner"),
            help_text=""
            if batch.is_frozen_kind
            else _("The seals are looked at 12 to 24 hours after this, so take the real time."),
        )

    def _layout(self) -> list[Any]:
        """What everybody fills in; what few do is folded away, as this is filled in beside a hot canner."""
        process = self._columns("col-md-6", "minutes", "psi")
        most = HTML('{% include "batches/parts/most_jars.html" %}')
        smaller = [f"jars_{size}" for size in self.sizes[1:]]
        jars = [f"jars_{self.sizes[0]}"]
        if smaller:
            jars.append(Fold(gettext("Smaller jars too"), self._columns("col-6 col-md-3", *smaller)))
        lids = ["lid_code"] if "lid_code" in self.fields else []
        late = self._columns("col-md-6", "lid_maker", "started_at", "process_started_at")
        rest = Fold(gettext("Notes, the lids' maker, earlier times"), "note", late)
        return [process, "jars_out_at", _heading(gettext("Jars filled")), most, *jars, *lids, rest]

    def _columns(self, css: str, *names: str) -> Row:
        return Row(*(Column(name, css_class=css) for name in names if name in self.fields))

    def written(self) -> dict[str, Any]:
        """The keyword arguments of `batch_log_process`."""
        told = dict(self.cleaned_data)
        jars = {size: told.pop(f"jars_{size}") or 0 for size in self.sizes}
        return {**told, "jars": jars}


class ReprocessForm(forms.Form):
    rims_sound = forms.BooleanField(
        label=_("I looked at every rim: no nicks. Each jar was emptied, reheated and filled again under a new lid."),
        required=False,
    )

    def __init__(self, *args: Any, need: Need, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["minutes"] = minutes_field()
        if need.psi is not None:
            self.fields["psi"] = psi_field()
        self.fields["jars_out_at"] = ClockField(label=_("Jars came out again"))
        self.fields |= lid_fields()
        self.helper = helper(submit=gettext("Write the reprocess down"))


class AbandonForm(forms.Form):
    reason = forms.CharField(
        label=_("Why is it given up?"),
        max_length=200,
        help_text=_("For instance: scorched; processed too short, all jars refrigerated."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = helper(submit=gettext("Give this batch up"), css="btn-danger")
