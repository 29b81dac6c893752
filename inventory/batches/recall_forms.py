"""Forms of a recall: calling jars back, answering, and ending it."""

from __future__ import annotations

import re
from typing import Any
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from club.members.models import User
from inventory.batches.forms import MOST_JARS, helper
from inventory.batches.lots import lot_code_typed
from inventory.batches.models import Batch
from inventory.batches.services.recalling import ANSWER_NOTE_LENGTH, REASON_LENGTH
from inventory.batches.words import RecallKind, RecallOutcome
from inventory.jars.models import LidLot
from recipes.models import Revision


class RecallForm(forms.Form):
    """When valid, `written()` names the one subject. A member without the right to trace calls back her own batch."""

    token = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
    kind = forms.ChoiceField(label=_("What is called back?"), choices=RecallKind.choices, widget=forms.RadioSelect)
    code = forms.CharField(
        label=_("Its code"),
        max_length=200,
        help_text=_("The lot code on the jars, the code on the box of lids, or the recipe's short name and number."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    reason = forms.CharField(
        label=_("Why?"),
        max_length=REASON_LENGTH,
        help_text=_("Everybody who holds such a jar reads this, at once and by mail."),
        widget=forms.Textarea(attrs={"rows": 3}),
    )

    def __init__(self, *args: Any, user: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.user = user
        if not user.has_perm("batches.trace_batch"):
            self.fields["kind"].choices = [(RecallKind.BATCH, RecallKind.BATCH.label)]  # type: ignore[attr-defined]
            self.fields["kind"].initial = RecallKind.BATCH
        self.helper = helper(submit=gettext("Call these jars back"), css="btn-danger btn-lg")

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        find = {
            RecallKind.BATCH.value: self._batch,
            RecallKind.LID_LOT.value: self._lid_lot,
            RecallKind.REVISION.value: self._revision,
        }
        if "kind" in cleaned and "code" in cleaned:
            try:
                self.subject = find[cleaned["kind"]](cleaned["code"].replace("\0", ""))
            except ValidationError as error:
                self.add_error("code", error)
        return cleaned

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
        return {"token": self.cleaned_data["token"], "reason": self.cleaned_data["reason"], **self.subject}


class RecallAnswerForm(forms.Form):
    """What was done with the jars of one batch in one place; one form for each such holding on a page."""

    token = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
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

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = helper(submit=gettext("Send my answer"))
        self.helper.form_tag = False
        self.helper.disable_csrf = True

    def clean_jars(self) -> int:
        return self.cleaned_data["jars"] or 0


class RecallCloseForm(forms.Form):
    note = forms.CharField(
        label=_("How did it end?"), max_length=REASON_LENGTH, widget=forms.Textarea(attrs={"rows": 3})
    )
    is_cleared = forms.BooleanField(
        label=_("The jars were looked into and found sound: they may be eaten and handed on."),
        required=False,
        help_text=_("Only on the word of somebody who can know, such as a laboratory. Say above who it was."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = helper(submit=gettext("End this recall"))
