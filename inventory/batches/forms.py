"""The room's forms. What was typed stays; what a service refuses appears beside its field."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from math import inf
from types import MappingProxyType
from typing import Any

from crispy_forms.layout import HTML, Column, Hidden, Row, Submit
from django import forms
from django.core.exceptions import ValidationError
from django.forms import BoundField
from django.utils.formats import date_format
from django.utils.translation import get_language, gettext
from django.utils.translation import gettext_lazy as _

from club.core.clock import zoned_text
from club.core.fields import ClockField, Fold, PersonField, day_field, token_field
from club.core.forms import PhotoForm, TokenForm, bare_helper, form_helper, heading
from club.members.models import Kitchen, Units, User, default_kitchen
from club.members.rules import altitude_as_typed, metres_from_text
from inventory.batches.accidents import KEPT_NAMES, NAMES, Answer, KeptSituation, Situation, answer_for
from inventory.batches.choices import (
    FINDINGS,
    Container,
    Cover,
    Disposal,
    Headspace,
    LotKind,
    Measured,
    Moisture,
    PressKind,
    RecallKind,
    RecallOutcome,
    Scum,
    Seal,
    Set,
    Smell,
    StageKind,
    Texture,
    Way,
)
from inventory.batches.ingredients import LotLine, Proposal
from inventory.batches.models import (
    ABANDON_REASON_LENGTH,
    ANSWER_NOTE_LENGTH,
    CAME_OUT_LENGTH,
    CAPTION_LENGTH,
    CORRECTION_REASON_LENGTH,
    LOOK_NOTE_LENGTH,
    OFFER_NOTE_LENGTH,
    RECALL_REASON_LENGTH,
    RECALL_SUBJECTS,
    STAGE_NOTE_LENGTH,
    STEP_LENGTH,
    Batch,
    CameOut,
    Jar,
    LotTaken,
    Recall,
    SignedLog,
)
from inventory.batches.rules import LOW_TEMPERATURE, Need, OwnGauge, fruit_code_typed, lot_code_typed, sizes_covered
from inventory.batches.tracing import went_by
from inventory.equipment.choices import CANNER_KINDS
from inventory.equipment.models import Thing
from inventory.fruit.produce import grams_in
from inventory.jars.models import LidLot, SupplyLot
from inventory.jars.rules import (
    LID_CODE_LENGTH,
    LID_MAKER_LENGTH,
    MOST_AT_ONCE,
    SUPPLY_CODE_LENGTH,
    SUPPLY_NAME_LENGTH,
)
from recipes.choices import JARS, PACKS
from recipes.engine import AltitudeError, process_choices, words_of
from recipes.engine.quantities import JAR_SIZES, UNITS, AmountError, parse_amount
from recipes.engine.terms import Altitude, Canner, ProcessRow
from recipes.forms.plans import kitchen_choices, set_choices
from recipes.models import Revision
from recipes.safety import Food

MOST_JARS = 999
MOST_MS = 4_102_444_800_000  # of a phone's clock: the year 2100


class StartForm(forms.Form):
    """`gauge` is what the plan's process goes by: a dial or a weighted gauge, or nothing that is under pressure.

    A pressure canner is named by its code, or said to be one's own without a card here; another may be named.
    """

    token = token_field()
    canner_code = forms.CharField(
        label=_("Canner"),
        required=False,
        max_length=120,
        help_text=_(
            "The code on its label: the club's, or your household's own. Of two the codes, with a comma between."
        ),
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters", "list": "canners"}),
    )
    started_at = ClockField(
        label=_("When did the cooking begin?"),
        required=False,
        help_text=_("Leave it empty if it begins now. A batch may be keyed in up to 30 days late."),
    )
    note = forms.CharField(label=_("Notes"), required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(self, *args: Any, gauge: Canner | None, may_pasteurise: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        own: list[Any] = []
        if may_pasteurise:
            self.fields["low_temperature"] = forms.BooleanField(
                label=_("Pasteurise at low temperature instead: 30 minutes in water of 180 to 185 °F (82 to 85 °C)"),
                required=False,
                help_text=_(LOW_TEMPERATURE.statement),
            )
        if gauge is Canner.DIAL_GAUGE:
            self.fields["own_tested_on"] = day_field(_("Its dial gauge was tested on"), required=False)
            self.fields["own_reads_high"] = forms.DecimalField(
                label=_("It read high by (psi)"),
                required=False,
                max_digits=4,
                decimal_places=2,
                help_text=_("As the tester said: 0 where it was right, with a minus where it read low."),
                widget=forms.NumberInput(attrs={"step": "any"}),
            )
            both = Row(*(Column(name, css_class="col-sm-6") for name in ("own_tested_on", "own_reads_high")))
            own = [Fold(gettext("My own canner, without a card here"), both)]
        elif gauge is Canner.WEIGHTED_GAUGE:
            self.fields["own_weighted"] = forms.BooleanField(
                label=_("It is my own, with a weighted gauge and without a card here"), required=False
            )
            own = [Fold(gettext("My own canner, without a card here"), "own_weighted")]
        canner = [HTML('{% include "batches/parts/canners.html" %}'), "canner_code", *own] if gauge else []
        rest = ["note"] if gauge else ["canner_code", "note"]
        folded = Fold(gettext("A note") if gauge else gettext("The canner, a note"), *rest)
        low = ["low_temperature"] if may_pasteurise else []
        self.helper = form_helper("token", *canner, *low, "started_at", folded, submit=gettext("Start this batch"))

    def written(self) -> dict[str, Any]:
        """The keyword arguments of `batch_start`."""
        data = dict(self.cleaned_data)
        tested_on, reads_high = data.pop("own_tested_on", None), data.pop("own_reads_high", None)
        is_own = data.pop("own_weighted", False) or tested_on is not None or reads_high is not None
        return {**data, "own_gauge": OwnGauge(tested_on, reads_high) if is_own else None}


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
            max_length=LID_CODE_LENGTH,
            help_text=_("The code printed on the box of lids, or what the club wrote on it."),
            widget=forms.TextInput(attrs={"autocomplete": "off", "list": "lid-lots"}),
        ),
        "lid_maker": forms.CharField(label=_("Maker of the lids"), max_length=LID_MAKER_LENGTH, required=False),
    }


def strength_field(help_text: str) -> forms.DecimalField:
    return forms.DecimalField(
        label=_("Strength on its label, in percent"),
        max_digits=4,
        decimal_places=1,
        min_value=0,
        required=False,
        help_text=f"{help_text} {gettext('Under 5 % it is not canned with.')}",
        widget=forms.NumberInput(attrs={"inputmode": "decimal", "step": "0.1"}),
    )


def _out_label(batch: Batch) -> Any:
    if batch.is_chilled_kind:
        return _("Went into the refrigerator")
    return _("Went into the freezer") if batch.is_cold_kind else _("Jars came out of the canner")


class LogForm(forms.Form):
    """What was done at the stove. The fields follow the batch: pressure only for a pressure canner, and so on.

    `acids` are those of which no lot was noted yet, `offered` the lots at hand for each by its place in the plan.
    """

    def __init__(
        self,
        *args: Any,
        batch: Batch,
        acids: Sequence[LotLine] = (),
        offered: Mapping[int, Sequence[Proposal]] = MappingProxyType({}),
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.acids = acids
        self.sizes = self._sizes(batch)
        self._add_times(batch)
        if not batch.is_cold_kind:
            self.fields["minutes"] = minutes_field()
        if batch.required_psi is not None:
            self.fields["psi"] = psi_field()
        # Each gauge has its own error, so each canner says what it showed.
        self.beside = [row for row in batch.canners_beside.all() if row.setting_psi is not None]
        for row in self.beside:
            self.fields[f"psi_{row.pk}"] = field = psi_field()
            field.label = gettext("Pressure held in %(code)s (psi)") % {"code": row.card.code}
        if self.beside and batch.canner_card is not None:
            self.fields["psi"].label = gettext("Pressure held in %(code)s (psi)") % {"code": batch.canner_card.code}
        for size in self.sizes:
            self.fields[f"jars_{size}"] = forms.IntegerField(
                label=str(JARS[size]),
                min_value=0,
                max_value=MOST_JARS,
                required=False,
                widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
            )
        if not batch.is_cold_kind:
            self.fields |= lid_fields()
        for line in acids:
            shown = [(one.key, one.words) for one in offered[line.at]]
            self.fields[f"lot_{line.at}"] = forms.ChoiceField(
                label=line.item[:1].upper() + line.item[1:],
                choices=[*shown, WITHOUT_CHOICE],
                required=False,  # the service says what is missing
                help_text=gettext(
                    "Which one went in? What keeps these jars safe rests on it; if it is ever called back, this finds"
                    " them."
                ),
                widget=forms.RadioSelect,
            )
            if line.kind == LotKind.VINEGAR:
                self.fields[f"strength_{line.at}"] = strength_field(gettext("Only for one without a lot."))
        self.fields["note"] = forms.CharField(
            label=_("Notes"), required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 2})
        )
        self.helper = form_helper(*self._layout(), submit=gettext("Write it down"))

    @staticmethod
    def _sizes(batch: Batch) -> tuple[str, ...]:
        """What can be counted, the largest first."""
        return tuple(reversed(sizes_covered(batch.jar_size)))

    def _add_times(self, batch: Batch) -> None:
        self.fields["started_at"] = ClockField(
            label=_("Cooking began"),
            required=False,
            help_text=_("Only if the batch was keyed in late: the site has noted when you pressed Start."),
        )
        if not batch.is_cold_kind:
            self.fields["process_started_at"] = ClockField(label=_("Process began"), required=False)
        self.fields["jars_out_at"] = ClockField(
            label=_out_label(batch),
            help_text=""
            if batch.is_cold_kind
            else _("The seals are looked at 12 to 24 hours after this, so take the real time."),
        )

    def _layout(self) -> list[Any]:
        """What everybody fills in; what few do is folded away, as this is filled in beside a hot canner."""
        process = self._columns("col-md-6", "minutes", "psi", *(f"psi_{row.pk}" for row in self.beside))
        most = HTML('{% include "batches/parts/most_jars.html" %}')
        smaller = [f"jars_{size}" for size in self.sizes[1:]]
        jars = [f"jars_{self.sizes[0]}"]
        if smaller:
            jars.append(Fold(gettext("Smaller jars too"), self._columns("col-6 col-md-3", *smaller)))
        lids = ["lid_code"] if "lid_code" in self.fields else []
        late = self._columns("col-md-6", "lid_maker", "started_at", "process_started_at")
        rest = Fold(gettext("Notes, the lids' maker, earlier times"), "note", late)
        acids = [name for name in self.fields if name.startswith(("lot_", "strength_"))]
        if acids:
            another = HTML('{% include "batches/parts/another_lot.html" %}')
            acids = [heading(gettext("The acid")), *acids, another]
        return [process, "jars_out_at", heading(gettext("Jars filled")), most, *jars, *lids, *acids, rest]

    def _columns(self, css: str, *names: str) -> Row:
        return Row(*(Column(name, css_class=css) for name in names if name in self.fields))

    def written(self) -> dict[str, Any]:
        """The keyword arguments of `batch_log_process`."""
        data = dict(self.cleaned_data)
        jars = {size: data.pop(f"jars_{size}") or 0 for size in self.sizes}
        psi_beside = {row.pk: data.pop(f"psi_{row.pk}") for row in self.beside}
        lots = []
        for line in self.acids:
            chosen, strength = data.pop(f"lot_{line.at}"), data.pop(f"strength_{line.at}", None)
            if chosen:
                tenths = None if strength is None else int(strength * 10)
                lots.append({"at": line.at, "chosen": chosen, "strength_tenths": tenths})
        return {**data, "jars": jars, "psi_beside": psi_beside, "lots": lots}


class CorrectionForm(LogForm):
    """The whole log once more, as it was signed, to be put right. `was` is the newest row of it.

    A finding asks for a yes of its own (`ask_for_yes`); before that there is no box to tick.
    """

    def __init__(self, *args: Any, batch: Batch, was: SignedLog, units: str, **kwargs: Any) -> None:
        super().__init__(*args, batch=batch, initial=self._as_signed(batch, was, units), **kwargs)
        del self.fields["note"]
        self.fields["token"] = token_field()
        self.fields["over"] = forms.IntegerField(widget=forms.HiddenInput)
        self.fields["started_at"].help_text = ""
        self.fields["started_at"].required = True
        self.fields["altitude"] = forms.CharField(
            label=_("Altitude of the kitchen on that day"),
            max_length=40,
            help_text=_("With its unit: 1040 m, or 3400 ft. A higher one asks for more."),
        )
        if not batch.is_cold_kind:
            self.fields["headspace"] = forms.ChoiceField(
                label=_("Headspace"), choices=[("", _("as tested")), *Headspace.choices], required=False
            )
        self.fields["reason"] = forms.CharField(
            label=_("What was wrong, and how do you know?"), max_length=CORRECTION_REASON_LENGTH
        )
        self.helper = form_helper(*self._correction_layout(), submit=gettext("Correct the log"))
        if self.data.get("finding"):
            self.ask_for_yes(self.data["finding"])

    @staticmethod
    def _sizes(batch: Batch) -> tuple[str, ...]:
        """Also larger ones than the process covers: the truth may be that they were filled."""
        return tuple(sorted(JAR_SIZES, key=lambda size: (size != batch.jar_size, -JAR_SIZES.index(size))))

    @staticmethod
    def _as_signed(batch: Batch, was: SignedLog, units: str) -> dict[str, Any]:
        number, unit = altitude_as_typed(Altitude(metres=Fraction(was.altitude_m)), prefer_feet=units == Units.US)
        shown = {
            "over": was.number,
            "minutes": was.minutes,
            "psi": was.psi,
            "started_at": was.started_at,
            "process_started_at": was.process_started_at,
            "jars_out_at": was.jars_out_at,
            "altitude": f"{number} {unit}",
            "headspace": was.headspace,
            "lid_code": was.lid_lot.code if was.lid_lot else "",
            "lid_maker": was.lid_lot.maker if was.lid_lot else "",
        }
        shown |= {f"jars_{size}": count for size, count in was.jars.items()}
        return shown | {f"psi_{row.pk}": was.psi_beside.get(row.card.code) for row in batch.canners_beside.all()}

    def _correction_layout(self) -> list[Any]:
        process = self._columns("col-md-6", "minutes", "psi", *(f"psi_{row.pk}" for row in self.beside))
        times = self._columns("col-md-6", "started_at", "process_started_at", "jars_out_at", "altitude")
        shown = [size for size in self.sizes if self.initial.get(f"jars_{size}")] or [self.sizes[0]]
        others = [f"jars_{size}" for size in self.sizes if size not in shown]
        jars = self._columns("col-6 col-md-3", *(f"jars_{size}" for size in shown))
        rest = self._columns("col-md-6", "headspace", "lid_code", "lid_maker")
        return [
            "token",
            "over",
            "reason",
            process,
            times,
            heading(gettext("Jars filled")),
            jars,
            Fold(gettext("Other sizes"), self._columns("col-6 col-md-3", *others)),
            rest,
        ]

    def ask_for_yes(self, finding: str) -> None:
        """A box to tick beneath what was found; the next press brings along which finding it was ticked for."""
        self.fields["is_true"] = forms.BooleanField(label=gettext("It is true."), required=False)
        self.helper.layout.fields[:] = [one for one in self.helper.layout.fields if not isinstance(one, Hidden)]
        if "is_true" not in self.helper.layout.fields:
            self.helper.layout.fields.append("is_true")
        self.helper.layout.fields.append(Hidden("finding", finding))

    def clean_altitude(self) -> Decimal:
        try:
            return metres_from_text(self.cleaned_data["altitude"])
        except AltitudeError as error:
            raise forms.ValidationError(words_of(error, get_language())) from error

    def written(self) -> dict[str, Any]:
        """The keyword arguments of `batch_log_correct`."""
        data = super().written()
        del data["lots"]
        data["altitude_m"] = data.pop("altitude")
        data["agreed_to"] = self.data.get("finding", "") if data.pop("is_true", False) else ""
        return data


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
        self.helper = form_helper(submit=gettext("Write the reprocess down"))


class AbandonForm(forms.Form):
    reason = forms.CharField(
        label=_("Why is it given up?"),
        max_length=ABANDON_REASON_LENGTH,
        help_text=_("For instance: scorched; processed too short, all jars refrigerated."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper(submit=gettext("Give this batch up"), css="btn-danger")


class CameOutForm(forms.Form):
    """How a batch turned out; nothing at all takes away what was said."""

    set_how = forms.ChoiceField(
        label=_("How it set"), choices=[("", _("not said")), *Set.choices], required=False, widget=forms.RadioSelect
    )
    texture = forms.ChoiceField(
        label=_("To the bite"),
        choices=[("", _("not said")), *Texture.choices],
        required=False,
        widget=forms.RadioSelect,
    )
    note = forms.CharField(
        label=_("For the next time"),
        max_length=CAME_OUT_LENGTH,
        required=False,
        help_text=_("The next plan of this recipe shows it to your household."),
        widget=forms.Textarea(attrs={"rows": 2}),
    )

    def __init__(self, *args: Any, was: CameOut | None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial = {name: getattr(was, name, "") for name in ("set_how", "texture", "note")}
        self.helper = form_helper(submit=gettext("Keep it for the next time"))


class BatchPhotoForm(TokenForm, PhotoForm):
    caption = forms.CharField(label=_("What it shows"), max_length=CAPTION_LENGTH)
    is_fault = forms.BooleanField(label=_("It shows what is wrong with a jar"), required=False)

    def __init__(self, *args: Any, action: str, **kwargs: Any) -> None:
        super().__init__(*args, action=action, **kwargs)
        self.helper = form_helper(
            "token", "photo", "caption", "is_fault", submit=gettext("Add the picture"), css="", action=action
        )


class HandForm(forms.Form):
    token = token_field()
    person = PersonField(label=_("Who?"), help_text=_("A member: the email, or the name if only one is called so."))
    takes_over = forms.ChoiceField(
        label=_("What do they do?"),
        choices=[("", _("They cook along with me.")), ("yes", _("They take it over: from then on it is their batch."))],
        required=False,
        widget=forms.RadioSelect,
        initial="",
    )

    def __init__(self, *args: Any, may_hand_over: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not may_hand_over:
            del self.fields["takes_over"]
        self.helper = form_helper(submit=gettext("Ask them"))

    def written(self) -> dict[str, Any]:
        """The keyword arguments of `hand_ask`."""
        data = dict(self.cleaned_data)
        return {**data, "takes_over": bool(data.get("takes_over"))}


# The forms with one row a jar: a look at the seals, and putting unsealed jars away.

FEW = 4  # so many jars are marked one by one without unfolding anything
FINDING_CHOICES = [(seal.value, seal.label) for seal in FINDINGS]
AWAY_CHOICES = [
    (Disposal.REFRIGERATE.value, _("refrigerate")),
    (Disposal.FREEZE.value, _("freeze")),
    (Disposal.DISCARD.value, _("throw away")),
]
AWAY_IF_OPENED = [choice for choice in AWAY_CHOICES if choice[0] != Disposal.FREEZE]
# A jar that is called back goes nowhere that food is kept.
AWAY_IF_CALLED_BACK = [(Disposal.DISCARD.value, _("throw away"))]


@dataclass(frozen=True)
class JarRow:
    jar: Jar
    found: BoundField | None
    disposal: BoundField


class SealsForm(forms.Form):
    """A look at `jars`. The choices of a disposal are always there; the page shows them where a jar is unsealed."""

    token = token_field()
    all_sealed = forms.BooleanField(
        label=_("All are sealed"), required=False, widget=forms.CheckboxInput(attrs={"class": "form-check-input"})
    )
    checked_at = ClockField(
        label=_("When did you look?"), required=False, help_text=_("Leave it empty if it was just now.")
    )
    note = forms.CharField(label=_("Notes"), required=False, max_length=LOOK_NOTE_LENGTH)

    def __init__(
        self, *args: Any, batch: Batch, jars: Sequence[Jar], now: datetime, is_called_back: bool, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.jars = jars
        choices = AWAY_IF_CALLED_BACK if is_called_back else self._disposal_choices(batch, now)
        for jar in jars:
            self.fields[f"jar_{jar.number}"] = forms.ChoiceField(
                label=_("Jar %(n)s") % {"n": jar.number},
                choices=FINDING_CHOICES,
                required=False,
                widget=forms.RadioSelect,
            )
            self.fields[f"disposal_{jar.number}"] = forms.ChoiceField(
                label=_("What was done with jar %(n)s?") % {"n": jar.number},
                choices=choices,
                required=False,
                widget=forms.RadioSelect,
            )

    @staticmethod
    def _disposal_choices(batch: Batch, now: datetime) -> list[tuple[str, Any]]:
        until = batch.reprocess_until
        if until is None or batch.reprocess_refusal(batch.jars_out_at or now) is not None:
            return AWAY_CHOICES
        # After it lapsed only somebody who keys in late may still have done it in time; the service checks.
        label = _("reprocess, before %(time)s") if now < until else _("was looked at and reprocessed before %(time)s")
        return [(Disposal.REPROCESS.value, label % {"time": zoned_text(until)}), *AWAY_CHOICES]

    def clean(self) -> dict[str, Any]:
        data = self.cleaned_data
        if (
            not self.errors
            and not data.get("all_sealed")
            and not any(data.get(f"jar_{jar.number}") for jar in self.jars)
        ):
            # One sentence, not one for every jar of a full canner.
            self.add_error("all_sealed", _("Tick that all are sealed, or mark the jars one by one below."))
        return data

    @property
    def is_by_jar(self) -> bool:
        """Whether the rows of single jars are needed at once: few jars, marks made before, or something to mend."""
        marked = any(jar.seal != Seal.UNCHECKED for jar in self.jars)
        names = [name for name in self.fields if name.startswith(("jar_", "disposal_"))]
        return marked or len(self.jars) <= FEW or any(self.data.get(name) or name in self.errors for name in names)

    def written(self) -> dict[str, Any]:
        """The keyword arguments of `seals_record`. The tick speaks for every jar that is not marked by itself."""
        data = self.cleaned_data
        every = Seal.SEALED.value if data["all_sealed"] else ""
        results = {jar.number: data[f"jar_{jar.number}"] or every for jar in self.jars}
        unsealed = [number for number, found in results.items() if found == Seal.UNSEALED]
        disposals = {number: data[f"disposal_{number}"] for number in unsealed if data[f"disposal_{number}"]}
        return {
            "token": data["token"],
            "results": {number: found for number, found in results.items() if found},
            "disposals": disposals,
            "checked_at": data["checked_at"],
            "note": data["note"],
        }

    def rows(self) -> Iterator[JarRow]:
        for jar in self.jars:
            yield JarRow(jar, self[f"jar_{jar.number}"], self[f"disposal_{jar.number}"])


class PutAwayForm(forms.Form):
    """Unsealed jars that wait to be reprocessed go elsewhere instead."""

    put_away_at = ClockField(
        label=_("When was it done?"), required=False, help_text=_("Leave it empty if it was just now.")
    )

    def __init__(self, *args: Any, jars: Sequence[Jar], is_called_back: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.jars = jars
        for jar in jars:
            choices = AWAY_IF_OPENED if jar.seal == Seal.OPENED else AWAY_CHOICES
            self.fields[f"disposal_{jar.number}"] = forms.ChoiceField(
                label=_("Jar %(n)s") % {"n": jar.number},
                choices=AWAY_IF_CALLED_BACK if is_called_back else choices,
                required=False,
                widget=forms.RadioSelect,
            )

    def clean(self) -> dict[str, Any]:
        if not self.errors and not self.written()["disposals"]:
            raise forms.ValidationError(_("Choose for at least one jar."))
        return self.cleaned_data

    def written(self) -> dict[str, Any]:
        """The keyword arguments of `jars_put_away`; jars without a choice stay as they are."""
        chosen = {jar.number: self.cleaned_data[f"disposal_{jar.number}"] for jar in self.jars}
        disposals = {number: disposal for number, disposal in chosen.items() if disposal}
        return {"disposals": disposals, "put_away_at": self.cleaned_data["put_away_at"]}

    def rows(self) -> Iterator[JarRow]:
        for jar in self.jars:
            yield JarRow(jar, None, self[f"disposal_{jar.number}"])


# Choosing two lid lots to compare.

OFFERED = 200


class CompareForm(forms.Form):
    a = forms.ModelChoiceField(label=_("This lid lot"), queryset=LidLot.objects.none())
    b = forms.ModelChoiceField(label=_("and this one"), queryset=LidLot.objects.none())

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        lots = list(LidLot.objects.all()[:OFFERED])
        for name in ("a", "b"):
            field = self.fields[name]
            assert isinstance(field, forms.ModelChoiceField)
            field.queryset = LidLot.objects.all()
            # One read for both lists, and a bounded one; an older lot can still be named in the address.
            field.choices = [("", "–"), *((lot.pk, str(lot)) for lot in lots)]

    def clean(self) -> dict[str, Any]:
        data = self.cleaned_data
        if data.get("a") is not None and data.get("a") == data.get("b"):
            raise forms.ValidationError(_("Choose two different lots."))
        return data


# Forms for surplus jars: offering some, asking for some, and handing them over.


def count_field(label: Any) -> forms.IntegerField:
    return forms.IntegerField(
        label=label, min_value=1, max_value=MOST_JARS, widget=forms.NumberInput(attrs={"inputmode": "numeric"})
    )


class JarOfferForm(forms.Form):
    """`free`: how many jars of each size can be offered."""

    token = token_field()
    size = forms.ChoiceField(label=_("Which jars?"))
    count = count_field(_("How many?"))
    by_choice = forms.ChoiceField(
        label=_("Who gets them?"),
        choices=[("", _("who comes first")), ("choice", _("I choose among those who ask"))],
        required=False,
    )
    note = forms.CharField(
        label=_("Note"),
        required=False,
        max_length=OFFER_NOTE_LENGTH,
        help_text=_("When and where they can be had, such as: Saturdays at the hall."),
    )

    def __init__(self, *args: Any, free: Mapping[str, int], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        text = gettext("%(size)s (%(n)s can be offered)")
        choices = [(size, text % {"size": JARS[size], "n": n}) for size, n in free.items() if n]
        self.fields["size"].choices = choices  # type: ignore[attr-defined]
        self.helper = form_helper(submit=gettext("Offer these jars"))

    def clean_by_choice(self) -> bool:
        return bool(self.cleaned_data["by_choice"])


class JarClaimForm(forms.Form):
    token = token_field()
    count = count_field(_("How many would you like?"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = bare_helper()
        self.helper.add_input(Submit("send", gettext("Ask for them")))


# Forms of a recall: calling jars back, answering, and ending it.


class RecallForm(forms.Form):
    """When valid, `written()` names the one subject. A member without the right to trace calls back their own batch.

    `show(reach)` asks for a yes to what it reaches, which comes back as `seen` in the words it was read in.
    """

    token = token_field()
    kind = forms.ChoiceField(label=_("What is called back?"), choices=RecallKind.choices, widget=forms.RadioSelect)
    code = forms.CharField(
        label=_("Its code"),
        max_length=200,
        help_text=_(
            "The lot code on the jars; the code on the box of lids, the bottle, the packet or the canner; frozen-12 or"
            " shared-7 of fruit; or the recipe's short name and number."
        ),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    reason = forms.CharField(
        label=_("Why?"),
        max_length=RECALL_REASON_LENGTH,
        help_text=_("Everybody who holds such a jar reads this, at once and by mail."),
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    # Of a canner the good test of its gauge that is meant; empty: as its tests say.
    tested_on = forms.DateField(widget=forms.HiddenInput, required=False)
    seen = forms.CharField(widget=forms.HiddenInput, required=False)
    confirmed = forms.BooleanField(required=False)

    def __init__(self, *args: Any, user: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.user = user
        self.subject: dict[str, Any] = {}
        del self.fields["confirmed"]  # until there is something to say yes to
        if self.data.get("seen"):
            self._ask(self.data["seen"])
        if not user.has_perm("batches.trace_batch"):
            own = (RecallKind.BATCH, RecallKind.CANNER)  # their own batches, and those of their household's own canner
            self.fields["kind"].choices = [(kind, kind.label) for kind in own]  # type: ignore[attr-defined]
            self.fields["kind"].initial = RecallKind.BATCH
        submit = gettext("Call these jars back") if self.data.get("seen") else gettext("See what this calls back")
        self.helper = form_helper(submit=submit, css="btn-danger btn-lg")

    def _ask(self, words: str) -> None:
        self.fields["confirmed"] = forms.BooleanField(
            label=gettext("I have read what this calls back: %(what)s.") % {"what": words}, required=False
        )

    @property
    def is_agreed(self) -> bool:
        """Whether there is a yes; to what, is `seen`."""
        return bool(self.cleaned_data.get("seen") and self.cleaned_data.get("confirmed"))

    def shown(self, words: str) -> RecallForm:
        """The same form once more, with what was typed, asking for a yes to `words`; the tick is not taken along."""
        kept = {key: self.data[key] for key in self.data if key not in ("confirmed", "seen")}
        again = RecallForm({**kept, "seen": words}, user=self.user)
        again.is_valid()
        return again

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        find = {
            RecallKind.BATCH.value: self._batch,
            RecallKind.LID_LOT.value: self._lid_lot,
            RecallKind.REVISION.value: self._revision,
            RecallKind.SUPPLY_LOT.value: self._supply_lot,
            RecallKind.FROZEN.value: self._fruit,
            RecallKind.SHARED.value: self._fruit,
            RecallKind.CANNER.value: self._canner,
        }
        if "kind" in cleaned and "code" in cleaned:
            try:
                self.subject = find[cleaned["kind"]](cleaned["code"].replace("\0", ""))
                self._called_back_check()
            except ValidationError as error:
                self.add_error("code", error)
        return cleaned

    def _called_back_check(self) -> None:
        """A form that was sent before finds its own recall, and may go on to say so."""
        before = Recall.objects.open().filter(**self.subject).first()
        if before is None or before.token == self.cleaned_data.get("token"):
            return
        if day := self.subject.get("canner_tested_on"):
            text = _("What went by the test of %(day)s is called back already. Look at the open recall.")
            raise ValidationError(text, params={"day": date_format(day, "j M Y")})
        raise ValidationError(_("This is called back already. Look at the open recall."))

    def _batch(self, code: str) -> dict[str, Any]:
        lot = lot_code_typed(code)
        batch = Batch.objects.visible_to(self.user).filter(lot_code=lot).first() if lot else None
        if batch is None:
            raise ValidationError(_("No batch of that code is yours to see. Look at the label again."))
        return {"batch": batch}

    def _lid_lot(self, code: str) -> dict[str, Any]:
        named = re.fullmatch(r"(.+?)\s*\((.+)\)\s*", code)
        lots = LidLot.objects.coded(named[1]).filter(maker__iexact=named[2]) if named else LidLot.objects.coded(code)
        found = list(lots[:5])
        if not found:
            raise ValidationError(_("No lid lot of that code is known here."))
        if len(found) > 1:
            names = ", ".join(str(lot) for lot in found)
            raise ValidationError(_("Several makers have that code. Write one of: %(names)s."), params={"names": names})
        return {"lid_lot": found[0]}

    def _supply_lot(self, code: str) -> dict[str, Any]:
        named = re.fullmatch(r"(.+?)\s*\((.+)\)\s*", code)
        lots = SupplyLot.objects.coded(named[1] if named else code).select_related("supply")
        found = list((lots.filter(supply__name__iexact=named[2]) if named else lots)[:5])
        if not found:
            raise ValidationError(_("No bottle or packet of that code is known here. Look at the label again."))
        if len(found) > 1:
            names = ", ".join(f"{lot.code} ({lot.supply})" for lot in found)
            raise ValidationError(_("Several things have that code. Write one of: %(names)s."), params={"names": names})
        return {"supply_lot": found[0]}

    def _fruit(self, code: str) -> dict[str, Any]:
        kind, pk = fruit_code_typed(code) or ("", 0)
        source = RECALL_SUBJECTS.get(kind, "")
        taken = LotTaken.objects.live().filter(**{source: pk}).select_related(source).first() if source else None
        if taken is None or kind != self.cleaned_data["kind"]:
            text = _("Write the code that a batch's page shows beside the fruit, such as frozen-12 or shared-7.")
            raise ValidationError(text)
        return {source: getattr(taken, source)}

    def _canner(self, code: str) -> dict[str, Any]:
        rows = Thing.everything.all()
        rows = rows if self.user.has_perm("batches.trace_batch") else rows.owned_by(self.user)
        canner = rows.filter(kind__in=CANNER_KINDS).coded(code).first()
        if canner is None:
            raise ValidationError(_("No canner of that code is yours to call back from. Look at its label again."))
        return {"canner": canner, "canner_tested_on": self.cleaned_data.get("tested_on") or went_by(canner)}

    def _revision(self, code: str) -> dict[str, Any]:
        slug, _space, number = code.strip().lower().partition(" ")
        found = None
        if number.strip().isdecimal() and len(number.strip()) <= 6:
            numbered = Revision.objects.numbered().select_related("recipe")
            found = numbered.filter(recipe__slug=slug, number=int(number)).first()
        if found is None:
            raise ValidationError(_("Write the recipe's short name and the revision's number, such as plum-jam 2."))
        return {"revision": found}

    def written(self) -> dict[str, Any]:
        """The keyword arguments of `recall_open`."""
        return {**{key: self.cleaned_data[key] for key in ("token", "reason", "seen")}, **self.subject}


class RecallAnswerForm(forms.Form):
    """What was done with the jars of one batch in one place; one form for each such holding on a page."""

    token = token_field()
    batch = forms.IntegerField(widget=forms.HiddenInput)
    where = forms.CharField(widget=forms.HiddenInput, max_length=30, required=False)
    outcome = forms.ChoiceField(
        label=_("What did you do with the jars?"), choices=RecallOutcome.choices, widget=forms.RadioSelect
    )
    jars = forms.IntegerField(
        label=_("How many jars?"),
        required=False,
        min_value=0,
        max_value=MOST_JARS,
        help_text=_("Leave it empty if none were left."),
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )
    note = forms.CharField(label=_("Anything to add?"), required=False, max_length=ANSWER_NOTE_LENGTH)

    def __init__(self, *args: Any, where: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if where == "store":  # they are there
            self.fields["outcome"].choices = [  # type: ignore[attr-defined]
                choice for choice in RecallOutcome.choices if choice[0] != RecallOutcome.RETURNED
            ]
        elif where.startswith("gave "):
            self.fields["outcome"].label = _("What did they do with the jars?")
            self.fields["note"].label = _("To whom did they go, and how did you reach them?")
            self.fields["note"].required = True
        self.helper = bare_helper()
        # A page has one such form for each holding, so the button takes an id of its own, as the fields do.
        button_id = str(self.auto_id) % "send"
        self.helper.add_input(Submit("send", gettext("Send my answer"), css_class="btn-lg", css_id=button_id))

    def clean_jars(self) -> int:
        return self.cleaned_data["jars"] or 0


class RecallCloseForm(forms.Form):
    note = forms.CharField(
        label=_("How did it end?"), max_length=RECALL_REASON_LENGTH, widget=forms.Textarea(attrs={"rows": 3})
    )
    is_cleared = forms.BooleanField(
        label=_("The jars were looked into and found sound: they may be eaten and handed on."),
        required=False,
        help_text=_("Only on the word of somebody who can know, such as a laboratory. Say above who it was."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper(submit=gettext("End this recall"))


# What went wrong, asked without a batch: what is in the jar, and how long ago it came out of the canner.

SINCE_CHOICES = [
    ("", _("I do not know")),
    ("stove", _("still in the canner, the crock or the drier")),
    ("0", _("less than 2 hours")),
    ("2", _("2 to 24 hours")),
    ("24", _("24 hours or more")),
]
FOOD_CHOICES = [
    ("", _("I do not know, or something else")),
    (Food.ACID.value, _("fruit, jam or jelly")),
    (Food.NEAR.value, _("tomatoes, figs, salsa, pickles or relish")),
    (Food.LOW_ACID.value, _("vegetables, meat, poultry, fish or soup")),
]
KEPT_CHOICES = [
    ("", _("I do not know, or something else")),
    ("sauerkraut", _("sauerkraut")),
    ("fermented-dills", _("fermented dills")),
    ("kimchi", _("kimchi")),
    (Way.DRY.value, _("dried food")),
    (Way.FREEZE.value, _("frozen food")),
]


class WrongForm(forms.Form):
    """All of it stands in the address. What somebody does not know counts as the strictest it can be."""

    what = forms.ChoiceField(
        choices=[(one.value, name) for one, name in (*NAMES.items(), *KEPT_NAMES.items())],
        required=False,
        widget=forms.HiddenInput,
    )
    food = forms.ChoiceField(label=_("What is in the jars?"), choices=FOOD_CHOICES, required=False)
    since = forms.ChoiceField(label=_("How long are they out of the canner?"), choices=SINCE_CHOICES, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.is_kept:
            self.fields["food"].choices = KEPT_CHOICES  # type: ignore[attr-defined]
            self.fields["food"].label = gettext("Which food?")
            self.fields["since"].label = gettext("How long ago was it put away?")

    @property
    def is_kept(self) -> bool:
        """Asked of food that is kept in stages."""
        return str(self.data.get("what", "")) in list(KeptSituation)

    def answer(self) -> Answer | None:
        """None where nothing was chosen. Of several foods that it may be, the one with the strictest answer."""
        what = self.cleaned_data.get("what")
        if not what:
            return None
        if not self.is_kept:
            return answer_for(Situation(what), self.taken_food, self.taken_hours)
        chosen = self.cleaned_data.get("food")
        foods = [chosen] if chosen else [key for key, _name in KEPT_CHOICES if key]
        found = [answer_for(KeptSituation(what), food, self.taken_hours) for food in foods]
        known = [one for one in found if one.is_known]
        return min(known or found, key=lambda one: not one.is_thrown_away)

    @property
    def taken_food(self) -> Food:
        """The one whose botulism is spoken of."""
        chosen = self.cleaned_data.get("food")
        return Food(chosen) if chosen in list(Food) else Food.LOW_ACID

    @property
    def taken_hours(self) -> float | None:
        since = self.cleaned_data.get("since")
        return None if since == "stove" else float(since or inf)


# What is done about it, for a batch: the jars that are meant, or the words of a recall.


class AccidentForm(forms.Form):
    """Jars of the batch that are in the kitchen still; to begin with those of the numbers `ticked` are marked."""

    token = token_field()

    def __init__(self, *args: Any, jars: Sequence[Jar], ticked: Collection[int] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["jars"] = forms.TypedMultipleChoiceField(
            label=_("Which jars?"),
            choices=[
                (
                    jar.number,
                    f"{jar.number} · {jar.get_seal_display()}" + (f" · {_('set aside')}" if jar.set_aside_id else ""),
                )
                for jar in jars
            ],
            coerce=int,
            initial=list(ticked),
            required=False,
            widget=forms.CheckboxSelectMultiple,
        )


class ClearForm(forms.Form):
    note = forms.CharField(
        label=_("How was it found out?"),
        max_length=ANSWER_NOTE_LENGTH,
        required=False,
        help_text=_("For instance: the gauge was tested again and reads right."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper(submit=gettext("These jars are sound"))


# Which lots went in: one set of fields for each ingredient. Only what was chosen of is written.

CODE_CHOICE = ("code", _("another: its code is below"))
WITHOUT_CHOICE = ("without", _("a bottle or packet without a lot"))
WITHOUT_FRUIT = ("without", _("neither shared nor from a freezer"))


@dataclass(frozen=True)
class LotRow:
    """The fields of one ingredient; `label` are those that say what the label of another lot says."""

    line: LotLine
    lot: BoundField
    used: BoundField | None
    strength: BoundField | None
    label: list[BoundField]

    @property
    def is_open(self) -> bool:
        """Whether what was typed of another lot, or a problem with it, is to be seen at once."""
        return any(field.errors or field.data for field in self.label if field.name.rsplit("_", 1)[0] != "have")


class LotsForm(forms.Form):
    """`asked` are the ingredients, `offered` the lots at hand for each by its place in the plan."""

    token = token_field()

    def __init__(
        self, *args: Any, asked: Sequence[LotLine], offered: Mapping[int, Sequence[Proposal]], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.asked = asked
        for line in asked:
            is_fruit = line.kind == LotKind.FRUIT
            shown = [(one.key, one.words) for one in offered[line.at]]
            others = [WITHOUT_FRUIT] if is_fruit else [CODE_CHOICE, WITHOUT_CHOICE]
            self._add(line, "lot", forms.ChoiceField(choices=[*shown, *others], widget=forms.RadioSelect))
            if not is_fruit:
                self._add(line, "used", self._used())
            elif any(one.key.startswith("freezer-") for one in offered[line.at]):
                self._add(line, "used", self._fruit_used())
            if line.kind == LotKind.VINEGAR:
                self._add(line, "strength", strength_field(gettext("Of another bottle than those in the list.")))
            if not is_fruit:
                for name, field in self._label(line).items():
                    self._add(line, name, field)

    def _add(self, line: LotLine, name: str, field: forms.Field) -> None:
        field.required = False
        if name == "lot":
            field.label = line.item
        self.fields[f"{name}_{line.at}"] = field

    @staticmethod
    def _used() -> forms.IntegerField:
        return forms.IntegerField(
            label=_("How many did it use up?"),
            min_value=0,
            max_value=MOST_AT_ONCE,
            initial=1,
            help_text=_("Bottles or packets; 0 where some is left of the one it took."),
            widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
        )

    @staticmethod
    def _fruit_used() -> forms.CharField:
        return forms.CharField(
            label=_("How much came out of the freezer?"),
            max_length=30,
            help_text=_("Such as 2.4 kg or 3 lb. Empty: it was taken out before, or it was never frozen."),
            widget=forms.TextInput(attrs={"autocomplete": "off"}),
        )

    @staticmethod
    def _label(line: LotLine) -> dict[str, forms.Field]:
        text = forms.TextInput(attrs={"autocomplete": "off"})
        return {
            "code": forms.CharField(label=_("Lot code on it"), max_length=SUPPLY_CODE_LENGTH, widget=text),
            "use_by": forms.DateField(label=_("Use by"), widget=forms.DateInput(attrs={"type": "date"})),
            "is_new": forms.BooleanField(label=_("It is a new one of our own: write it down")),
            "name": forms.CharField(
                label=_("What its label calls it"),
                max_length=SUPPLY_NAME_LENGTH,
                widget=forms.TextInput(attrs={"autocomplete": "off", "placeholder": line.item}),
            ),
            "have": forms.IntegerField(
                label=_("How many of it were there before this batch?"),
                min_value=1,
                max_value=MOST_AT_ONCE,
                initial=1,
                widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
            ),
        }

    def clean(self) -> dict[str, Any]:
        data = self.cleaned_data
        for line in self.asked:
            if line.kind == LotKind.FRUIT and data.get(f"used_{line.at}"):
                try:
                    data[f"used_{line.at}"] = _grams(data[f"used_{line.at}"])
                except AmountError:
                    self.add_error(f"used_{line.at}", _("Write a weight, such as 2.4 kg, 800 g or 3 lb."))
            told = [name for name in ("code", "use_by", "is_new", "name", "strength") if data.get(f"{name}_{line.at}")]
            if told and not data.get(f"lot_{line.at}") and f"lot_{line.at}" not in self.errors:
                self.add_error(f"lot_{line.at}", _("Choose which one it was: you wrote something about it below."))
        if not self.errors and not any(data.get(f"lot_{line.at}") for line in self.asked):
            raise forms.ValidationError(_("Choose for at least one ingredient."))
        return data

    def rows(self) -> Iterator[LotRow]:
        for line in self.asked:
            names = [f"{name}_{line.at}" for name in ("code", "use_by", "is_new", "name", "have")]
            used, strength = f"used_{line.at}", f"strength_{line.at}"
            yield LotRow(
                line,
                self[f"lot_{line.at}"],
                self[used] if used in self.fields else None,
                self[strength] if strength in self.fields else None,
                [self[name] for name in names if name in self.fields],
            )

    def written(self) -> dict[str, Any]:
        """What `lots_note` wants of each ingredient that was answered for, as keywords of a `LotAnswer`."""
        data = self.cleaned_data
        answers = []
        for line in self.asked:
            if not data[f"lot_{line.at}"]:
                continue
            strength = data.get(f"strength_{line.at}")
            answers.append(
                {
                    "at": line.at,
                    "chosen": data[f"lot_{line.at}"],
                    "used": data.get(f"used_{line.at}") or 0,
                    "code": data.get(f"code_{line.at}", ""),
                    "name": data.get(f"name_{line.at}", ""),
                    "strength_tenths": None if strength is None else int(strength * 10),
                    "use_by": data.get(f"use_by_{line.at}"),
                    "is_new": data.get(f"is_new_{line.at}", False),
                    "have": data.get(f"have_{line.at}") or 1,
                }
            )
        return {"token": data["token"], "answers": answers}


def _grams(text: str) -> int:
    """Whole grams of a weight as people write it, rounded down; AmountError for what is none."""
    plain = text.strip()
    amount = parse_amount(f"{plain} g" if plain.replace(".", "", 1).isdigit() else plain)
    if UNITS[amount.unit].kind != "mass":
        raise AmountError(plain)
    return int(amount.value * UNITS[amount.unit].size)


# What is pressed on the cook's page.


class PressForm(forms.Form):
    """One press, from a button or out of a phone's store. The step's key is in the address, or in the press."""

    token = token_field()
    kind = forms.ChoiceField(choices=PressKind.choices)
    step = forms.CharField(max_length=STEP_LENGTH)
    psi = forms.DecimalField(required=False, max_digits=6, decimal_places=3, min_value=0)
    size = forms.CharField(required=False, max_length=16)
    words = forms.CharField(required=False, max_length=LID_CODE_LENGTH)
    takes_back = forms.UUIDField(required=False)
    scum = forms.ChoiceField(required=False, choices=[("", ""), *Scum.choices])
    cover = forms.ChoiceField(required=False, choices=[("", ""), *Cover.choices])
    smell = forms.ChoiceField(required=False, choices=[("", ""), *Smell.choices])
    moisture = forms.ChoiceField(required=False, choices=[("", ""), *Moisture.choices])

    def written(self) -> dict[str, Any]:
        """The keyword arguments of `stove_press`; what was seen is one text."""
        data = dict(self.cleaned_data)
        seen = {name: data.pop(name) for name in ("scum", "cover", "smell", "moisture")}
        if data["kind"] == PressKind.LOOKED:
            data["words"] = " ".join(f"{name}={value}" for name, value in seen.items() if value)
        return data


class KeptPressForm(PressForm):
    """A press that a phone kept: in milliseconds of its own clock when it was pressed, and how far that clock was
    behind the server's when the two last spoke."""

    pressed_ms = forms.IntegerField(min_value=0, max_value=MOST_MS)
    behind_ms = forms.IntegerField(required=False, min_value=-MOST_MS, max_value=MOST_MS)

    def written(self) -> dict[str, Any]:
        data = super().written()
        for name in ("pressed_ms", "behind_ms"):
            data.pop(name)
        return data


# Food kept in stages that take days.


class GramsField(forms.CharField):
    """ "2.4 kg", "3 lb" or "800": whole grams."""

    def __init__(self, **kwargs: Any) -> None:
        widget = forms.TextInput(attrs={"autocomplete": "off"})
        super().__init__(
            **{"max_length": 30, "widget": widget, "help_text": _("Such as 2.4 kg, 800 g or 3 lb."), **kwargs}
        )

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        grams = grams_in(text) if text else None
        if text and grams is None:
            raise ValidationError(_("Write a weight, such as 2.4 kg, 800 g or 3 lb."))
        return grams


class HeatField(forms.DecimalField):
    """A room's temperature in the reader's own degrees; whole degrees F as a Fraction, for no room is told finer."""

    def __init__(self, *, units: str, label: Any, **kwargs: Any) -> None:
        self.is_us = units == "us"
        label = _("%(what)s (°F)") % {"what": label} if self.is_us else _("%(what)s (°C)") % {"what": label}
        super().__init__(
            label=label, max_digits=5, decimal_places=1, widget=forms.NumberInput(attrs={"step": "any"}), **kwargs
        )

    def clean(self, value: Any) -> Any:
        degrees = super().clean(value)
        if degrees is None:
            return None
        return Fraction(round(degrees if self.is_us else degrees * 9 / 5 + 32))


class KeepingForm(forms.Form):
    """What is asked before a batch in stages begins; `asks` are the questions of this food beside its weight."""

    token = token_field()
    kitchen = forms.TypedChoiceField(label=_("In whose kitchen?"), coerce=int)
    weighed_g = GramsField(label=_("How much is prepared? Weigh it"))

    def __init__(self, *args: Any, user: User, asks: Collection[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.kitchens = {one.pk: one for one in Kitchen.objects.usable_by(user).order_by("is_hall", "name", "pk")}
        default = default_kitchen(user, self.kitchens.values())
        set_choices(self.fields["kitchen"], kitchen_choices(self.kitchens, default))
        if default is not None:
            self.fields["kitchen"].initial = default.pk
        if "room" in asks:
            text = _("It decides how many days it takes.")
            self.fields["room_f"] = HeatField(
                units=user.units, label=_("How warm is it where it will stand?"), help_text=text
            )
        if "blanched" in asks:
            self.fields["is_unblanched"] = forms.BooleanField(
                label=_("I freeze it without blanching: its label says so, and has no date"), required=False
            )
        if "pasteurised" in asks:
            self.fields["is_pasteurised"] = forms.BooleanField(
                label=_("Insects may have come to it, as in the sun: two days in a freezer before it is stored"),
                required=False,
            )
        self.fields["started_at"] = ClockField(
            label=_("When did it begin?"), required=False, help_text=_("Leave it empty if it begins now.")
        )
        self.fields["note"] = forms.CharField(
            label=_("Notes"), required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 2})
        )
        more = [name for name in ("room_f", "is_unblanched", "is_pasteurised") if name in self.fields]
        late = Fold(gettext("It began before now, a note"), "started_at", "note")
        self.helper = form_helper("token", "weighed_g", *more, "kitchen", late, submit=gettext("Start this batch"))

    def written(self) -> dict[str, Any]:
        """The keyword arguments of `keeping_start`, but for the choices."""
        data = self.cleaned_data
        names = ("token", "weighed_g", "started_at", "note")
        return {**{name: data[name] for name in names}, "kitchen": self.kitchens[data["kitchen"]]}

    def choices(self) -> dict[str, Any]:
        """The fields of `KeepingChoices`."""
        data = self.cleaned_data
        return {
            "room_f": data.get("room_f"),
            "is_blanched": not data.get("is_unblanched", False),
            "is_pasteurised": data.get("is_pasteurised", False),
        }


def _happened_field(label: Any) -> ClockField:
    return ClockField(label=label, required=False, help_text=_("Leave it empty for now."))


def _note_field() -> forms.CharField:
    return forms.CharField(label=_("Note"), required=False, max_length=STAGE_NOTE_LENGTH)


class LookForm(forms.Form):
    """One look at a ferment, or at a jar that conditions."""

    def __init__(self, *args: Any, kind: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["token"] = token_field()
        asked: dict[str, tuple[Any, Any]] = (
            {"moisture": (_("After shaking the jar"), Moisture)}
            if kind == StageKind.CONDITION
            else {
                "scum": (_("Scum on top"), Scum),
                "cover": (_("The food"), Cover),
                "smell": (_("Smell"), Smell),
            }
        )
        for name, (label, choices) in asked.items():
            self.fields[name] = forms.ChoiceField(label=label, choices=choices.choices, widget=forms.RadioSelect)
        self.fields["at"] = _happened_field(_("When was that?"))
        self.fields["note"] = _note_field()
        fold = Fold(gettext("At another time, a note"), "at", "note")
        self.helper = form_helper("token", *asked, fold, submit=gettext("Write the look down"))


class ReadingForm(forms.Form):
    token = token_field()
    measured = forms.ChoiceField(label=_("What was measured?"), choices=Measured.choices, widget=forms.RadioSelect)
    value = forms.DecimalField(
        label=_("It showed"), max_digits=7, decimal_places=3, widget=forms.NumberInput(attrs={"step": "any"})
    )
    instrument_code = forms.CharField(
        label=_("The club's instrument"),
        required=False,
        max_length=120,
        help_text=_("The code on its label. It is taken only while its test is good."),
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
    )
    own_calibrated_on = day_field(_("Or my own, which I calibrated on"), required=False)
    by_strip = forms.BooleanField(label=_("Or a test strip (pH only)"), required=False)
    at = ClockField(label=_("When was that?"), required=False, help_text=_("Leave it empty for now."))
    note = forms.CharField(label=_("Note"), required=False, max_length=STAGE_NOTE_LENGTH)

    def __init__(self, *args: Any, units: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.is_us = units == "us"
        if self.is_us:
            self.fields["value"].help_text = gettext("A temperature in °F.")
        fold = Fold(gettext("At another time, a note"), "at", "note")
        how = ("instrument_code", "own_calibrated_on", "by_strip")
        self.helper = form_helper("token", "measured", "value", *how, fold, submit=gettext("Write the reading down"))

    def written(self) -> dict[str, Any]:
        """The keyword arguments of `reading_note`; a temperature in degrees C."""
        data = dict(self.cleaned_data)
        if self.is_us and data["measured"] == Measured.TEMPERATURE:
            data["value"] = (data["value"] - 32) * 5 / 9
        return data


class FinishForm(forms.Form):
    """The end of a stage; its `number` stands in the form, so that two presses end one stage."""

    number = forms.IntegerField(widget=forms.HiddenInput())

    def __init__(self, *args: Any, kind: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        tested = []
        if kind == StageKind.DRY:
            self.fields["passed"] = forms.BooleanField(
                label=_("Some pieces cooled, and they pass the test for dryness"), required=False
            )
            tested = ["passed"]
        self.fields["ended_at"] = _happened_field(_("When was it over?"))
        self.fields["note"] = _note_field()
        self.helper = form_helper(
            "number", *tested, "ended_at", Fold(gettext("A note"), "note"), submit=gettext("End this stage")
        )


class PutUpForm(forms.Form):
    """What finished food was put into, and how much it weighs."""

    def __init__(self, *args: Any, way: str, units: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for kind, label in CONTAINERS_FILLED.items():
            self.fields[f"filled_{kind}"] = forms.IntegerField(
                label=label, required=False, min_value=0, widget=forms.NumberInput(attrs={"inputmode": "numeric"})
            )
        self.fields["grams"] = GramsField(label=_("How much is it in all?"))
        more = []
        if way == Way.DRY:
            text = _("How long it keeps hangs on that. Empty: not known, so the labels have no date.")
            self.fields["store_f"] = HeatField(
                units=units, label=_("How warm is the store?"), required=False, help_text=text
            )
            more = ["store_f"]
        elif way == Way.FREEZE:
            self.fields["freezer"] = forms.CharField(label=_("Which freezer?"), required=False, max_length=60)
            more = ["freezer"]
        self.fields["at"] = _happened_field(_("When was that?"))
        self.fields["note"] = forms.CharField(label=_("Note"), required=False, max_length=2000)
        filled = Row(*(Column(f"filled_{kind}", css_class="col-sm-4") for kind in CONTAINERS_FILLED))
        fold = Fold(gettext("At another time, a note"), "at", "note")
        self.helper = form_helper(filled, "grams", *more, fold, submit=gettext("Put it away"))

    def written(self) -> dict[str, Any]:
        """The keyword arguments of `keeping_put_up`."""
        data = dict(self.cleaned_data)
        counts = {kind: data.pop(f"filled_{kind}") or 0 for kind in CONTAINERS_FILLED}
        return {**data, "counts": counts}


# Each kind of container, several of them.
CONTAINERS_FILLED: dict[str, Any] = {
    Container.BAG.value: _("Bags"),
    Container.BOX.value: _("Boxes"),
    Container.CROCK.value: _("Jars, closed without a process"),
}


class CanForm(forms.Form):
    """Pack and jar, of those that the table was tested with."""

    pack = forms.ChoiceField(label=_("Pack"), widget=forms.RadioSelect)
    jar = forms.ChoiceField(label=_("The largest jar"), widget=forms.RadioSelect)

    def __init__(self, *args: Any, rows: Sequence[ProcessRow], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        found = process_choices(rows)
        set_choices(self.fields["pack"], [(pack.value, str(PACKS[pack])) for pack in found.packs])
        set_choices(self.fields["jar"], [(size, str(JARS[size])) for size in found.tested_jars])
        self.helper = form_helper("pack", "jar", submit=gettext("Can it"))
