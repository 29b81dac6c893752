"""The forms with one row a jar: a look at the seals, and putting unsealed jars away."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import uuid4

from django import forms
from django.forms import BoundField
from django.utils.translation import gettext_lazy as _

from inventory.batches.fields import ClockField
from inventory.batches.models import Batch, Disposal, Jar, Seal
from inventory.batches.needs import reprocess_refusal
from inventory.batches.services.common import clock
from inventory.batches.words import FINDINGS

FEW = 4  # so many jars are marked one by one without unfolding anything
FINDING_CHOICES = [(seal.value, seal.label) for seal in FINDINGS]
AWAY_CHOICES = [
    (Disposal.REFRIGERATE.value, _("refrigerate")),
    (Disposal.FREEZE.value, _("freeze")),
    (Disposal.DISCARD.value, _("throw away")),
]
# A jar that is called back goes nowhere that food is kept.
AWAY_IF_CALLED_BACK = [(Disposal.DISCARD.value, _("throw away"))]


@dataclass(frozen=True)
class JarRow:
    jar: Jar
    found: BoundField | None
    disposal: BoundField


class SealsForm(forms.Form):
    """A look at `jars`. The choices of a disposal are always there; the page shows them where a jar is unsealed."""

    token = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
    all_sealed = forms.BooleanField(
        label=_("All are sealed"), required=False, widget=forms.CheckboxInput(attrs={"class": "form-check-input"})
    )
    checked_at = ClockField(
        label=_("When did you look?"), required=False, help_text=_("Leave it empty if it was just now.")
    )
    note = forms.CharField(label=_("Notes"), required=False, max_length=300)

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
        if until is None or reprocess_refusal(batch, batch.jars_out_at or now) is not None:
            return AWAY_CHOICES
        # After it lapsed only somebody who keys in late may still have done it in time; the service checks.
        label = _("reprocess, before %(time)s") if now < until else _("was looked at and reprocessed before %(time)s")
        return [(Disposal.REPROCESS.value, label % {"time": clock(until)}), *AWAY_CHOICES]

    def clean(self) -> dict[str, Any]:
        told = self.cleaned_data
        if (
            not self.errors
            and not told.get("all_sealed")
            and not any(told.get(f"jar_{jar.number}") for jar in self.jars)
        ):
            # One sentence, not one for every jar of a full canner.
            self.add_error("all_sealed", _("Tick that all are sealed, or mark the jars one by one below."))
        return told

    @property
    def is_by_jar(self) -> bool:
        """Whether the rows of single jars are needed at once: few jars, marks made before, or something to mend."""
        marked = any(jar.seal != Seal.UNCHECKED for jar in self.jars)
        names = [name for name in self.fields if name.startswith(("jar_", "disposal_"))]
        return marked or len(self.jars) <= FEW or any(self.data.get(name) or name in self.errors for name in names)

    def written(self) -> dict[str, Any]:
        """The keyword arguments of `seals_record`. The tick speaks for every jar that is not marked by itself."""
        told = self.cleaned_data
        every = Seal.SEALED.value if told["all_sealed"] else ""
        results = {jar.number: told[f"jar_{jar.number}"] or every for jar in self.jars}
        unsealed = [number for number, found in results.items() if found == Seal.UNSEALED]
        disposals = {number: told[f"disposal_{number}"] for number in unsealed if told[f"disposal_{number}"]}
        return {
            "token": told["token"],
            "results": {number: found for number, found in results.items() if found},
            "disposals": disposals,
            "checked_at": told["checked_at"],
            "note": told["note"],
        }

    def rows(self) -> Iterator[JarRow]:
        for jar in self.jars:
            yield JarRow(jar, self[f"jar_{jar.number}"], self[f"disposal_{jar.number}"])


class PutAwayForm(forms.Form):
    """Unsealed jars that wait to be reprocessed go elsewhere instead."""

    def __init__(self, *args: Any, jars: Sequence[Jar], is_called_back: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.jars = jars
        choices = AWAY_IF_CALLED_BACK if is_called_back else AWAY_CHOICES
        for jar in jars:
            self.fields[f"disposal_{jar.number}"] = forms.ChoiceField(
                label=_("Jar %(n)s") % {"n": jar.number},
                choices=choices,
                required=False,
                widget=forms.RadioSelect,
            )

    def clean(self) -> dict[str, Any]:
        if not self.errors and not any(self.cleaned_data.values()):
            raise forms.ValidationError(_("Choose for at least one jar."))
        return self.cleaned_data

    def written(self) -> dict[int, str]:
        """The disposals for `jars_put_away`; jars without a choice stay as they are."""
        chosen = {jar.number: self.cleaned_data[f"disposal_{jar.number}"] for jar in self.jars}
        return {number: disposal for number, disposal in chosen.items() if disposal}

    def rows(self) -> Iterator[JarRow]:
        for jar in self.jars:
            yield JarRow(jar, None, self[f"disposal_{jar.number}"])


def waiting_jars(batch: Batch) -> list[Jar]:
    return [jar for jar in batch.jars.all() if jar.disposal == Disposal.REPROCESS]


def jars_to_look_at(batch: Batch) -> list[Jar]:
    return [jar for jar in batch.jars.all() if not jar.disposal]
