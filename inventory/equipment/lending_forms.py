"""Forms of holds, loans and waiting lines."""

from __future__ import annotations

from datetime import date
from typing import Any

from crispy_forms.layout import Column, Row
from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from club.members.models import User
from inventory.equipment.fields import MoneyField, PersonField, day_field
from inventory.equipment.forms import DIGITS, TokenForm, helper
from inventory.equipment.models import Thing
from inventory.equipment.queries import KEEP
from inventory.equipment.rules import LONGEST_DAYS
from inventory.equipment.words import PARTS_OUTCOMES, Condition

OUT_CONDITIONS = [(one.value, one.label) for one in (Condition.GOOD, Condition.WORN)]


class HoldForm(TokenForm):
    """The days, and for those who may: for whom and what for."""

    starts = day_field(_("First day"))
    ends = day_field(_("Last day"), help_text=_("The day on which it comes back."))

    def __init__(self, *args: Any, by: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        more = []
        if by.has_perm(KEEP):
            self.fields["person"] = PersonField(
                label=_("For whom"), required=False, help_text=_("Empty: for yourself.")
            )
            more.append("person")
        if by.has_perm("equipment.hold_for_class"):
            label = _("For a class or another purpose of the club's")
            self.fields["purpose"] = forms.CharField(label=label, max_length=120, required=False)
            more.append("purpose")
        days = Row(Column("starts", css_class="col-6"), Column("ends", css_class="col-6"))
        self.helper = helper("token", days, *more, submit=gettext("Hold it"))

    def written(self) -> dict[str, Any]:
        """The keyword arguments of hold_place."""
        return dict(self.cleaned_data)


class WaitForm(TokenForm):
    days = forms.IntegerField(
        label=_("How many days"), min_value=1, max_value=LONGEST_DAYS, widget=forms.NumberInput(attrs=DIGITS)
    )
    not_before = day_field(_("Not before"))
    not_after = day_field(_("Back by"))

    def __init__(self, *args: Any, action: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        third = [Column(name, css_class="col-sm-4") for name in ("days", "not_before", "not_after")]
        self.helper = helper("token", Row(*third), submit=gettext("Join the line"), css="", action=action)


class HandOverForm(TokenForm):
    person = PersonField(label=_("To whom"))
    due_on = day_field(_("Due back"))
    condition = forms.ChoiceField(
        label=_("Condition"), choices=OUT_CONDITIONS, initial=Condition.GOOD, widget=forms.RadioSelect
    )
    deposit_cents = MoneyField(label=_("Deposit taken"))
    purpose = forms.CharField(label=_("What for"), max_length=120, required=False)
    note = forms.CharField(label=_("Note"), max_length=300, required=False)

    def written(self) -> dict[str, Any]:
        """The keyword arguments of loan_hand_over."""
        return dict(self.cleaned_data)


class TakeBackForm(TokenForm):
    condition = forms.ChoiceField(label=_("Condition"), choices=Condition.choices, widget=forms.RadioSelect)
    is_ready = forms.BooleanField(label=_("It is clean and may go out again at once"), required=False)
    missing_parts = forms.CharField(
        label=_("Missing parts"),
        max_length=300,
        required=False,
        help_text=_("Leave it empty if nothing is missing. The thing stays in until what stands here is settled."),
    )
    note = forms.CharField(label=_("Note"), max_length=300, required=False)

    def written(self) -> dict[str, Any]:
        """The keyword arguments of loan_return."""
        return dict(self.cleaned_data)


class PartsForm(forms.Form):
    """What became of a missing part."""

    outcome = forms.ChoiceField(
        label=_("What became of it?"),
        choices=[(one.value, one.label) for one in PARTS_OUTCOMES],
        widget=forms.RadioSelect,
    )
    note = forms.CharField(
        label=_("Note"),
        max_length=300,
        required=False,
        help_text=_("What it was replaced by, or why the thing is withdrawn."),
    )

    def __init__(self, *args: Any, action: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.auto_id = "id_parts_%s"  # another form of the page has a note as well
        self.helper = helper("outcome", "note", submit=gettext("Settle it"), css="", action=action)


class ExtendForm(forms.Form):
    due_on = day_field(_("Keep it until"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = helper(submit=gettext("Keep it longer"))


def hand_over_initial(thing: Thing, hold: Any, usual_due: date) -> dict[str, Any]:
    """What the counter fills in beforehand: the person and days of the hold that waits to be collected."""
    told: dict[str, Any] = {"due_on": usual_due, "deposit_cents": thing.deposit_cents}
    if hold is not None:
        told |= {"person": hold.person, "due_on": hold.ends, "purpose": hold.purpose}
    return told
