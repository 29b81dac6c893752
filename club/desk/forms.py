"""What is asked on the page "What can I make?" (a kitchen, whether to count the freezer, fresh fruit by weight), of who
leaves, and of the club about what it keeps.
"""

from __future__ import annotations

from typing import Any

from crispy_forms.layout import Column, Layout, Row
from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from club.core.forms import form_helper
from club.desk.suggestions import FreshFruit
from club.members.models import Privacy, User
from inventory.fruit.forms import WeightField
from recipes.forms.plans import OwnKitchenForm

ROWS = (1, 2, 3)


class CodePhotoForm(forms.Form):
    """A picture of a label, taken for the purpose where the device has a camera."""

    photo = forms.FileField(
        label=_("A picture of the code"),
        help_text=_("JPEG, PNG or WebP, at most 8 MB. It is read and not kept."),
        widget=forms.ClearableFileInput(
            attrs={"accept": "image/jpeg,image/png,image/webp", "capture": "environment", "class": "form-control"}
        ),
    )


class SuggestionsForm(OwnKitchenForm):
    """Bound to the query; when valid, `fresh` and `with_freezer`."""

    freezer = forms.ChoiceField(
        label=_("Count the freezer too?"), choices=[("yes", _("yes")), ("no", _("no"))], required=False
    )

    def __init__(self, data: Any, *, user: User) -> None:
        super().__init__(data, user=user)
        for n in ROWS:
            self.fields[f"fruit_{n}"] = forms.CharField(
                label=_("Fresh fruit"),
                required=False,
                max_length=80,
                widget=forms.TextInput(
                    attrs={"list": "produce-words", "autocomplete": "off", "autocapitalize": "none"}
                ),
            )
            self.fields[f"weight_{n}"] = WeightField(label=_("How much of it"), required=False)
        self.helper.layout = Layout(
            Row(Column("kitchen", css_class="col-sm-6"), Column("freezer", css_class="col-sm-6")),
            *(Row(Column(f"fruit_{n}", css_class="col-7"), Column(f"weight_{n}", css_class="col-5")) for n in ROWS),
        )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        for n in ROWS:
            if cleaned.get(f"fruit_{n}") and f"weight_{n}" not in self.errors and not cleaned.get(f"weight_{n}"):
                self.add_error(f"weight_{n}", _("Weigh it, such as 3 kg."))
            if cleaned.get(f"weight_{n}") and not cleaned.get(f"fruit_{n}"):
                self.add_error(f"fruit_{n}", _("Say what it is."))
        return cleaned

    @property
    def fresh(self) -> list[FreshFruit]:
        """Only of a valid form."""
        data = self.cleaned_data
        return [FreshFruit(data[f"fruit_{n}"], data[f"weight_{n}"]) for n in ROWS if data[f"fruit_{n}"]]

    @property
    def with_freezer(self) -> bool:
        """Only of a valid form."""
        return bool(self.cleaned_data["freezer"] != "no")


class LeaveForm(forms.Form):
    sure = forms.BooleanField(label=_("I have read what happens, and end the membership"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper(css="btn-danger", submit=gettext("End the membership"))


class PrivacyForm(forms.ModelForm):
    class Meta:
        model = Privacy
        fields = ["words", "months"]
        help_texts = {"words": _("Whom to ask, and what else the club does with names and pictures. Plain text.")}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper(css="", submit=gettext("Save"))
