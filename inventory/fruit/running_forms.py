"""Forms with which a giver runs an offer: what it says, what is kept back, its picture, taking it back."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from club.members.models import User
from inventory.fruit.amounts import grams_typed, weight_unit
from inventory.fruit.containers import CONTAINERS
from inventory.fruit.models import Offer
from inventory.fruit.models.offers import ABOUT_LENGTH, NOTE_LENGTH, WHERE_LENGTH
from inventory.fruit.offer_forms import amount_field, day_field, form_helper, units_typed


class DetailsForm(forms.Form):
    """What may still be changed when others have read it: never what, how much or when."""

    where = forms.CharField(label=_("Where to pick it up"), max_length=WHERE_LENGTH)
    about_where = forms.CharField(label=_("About where"), max_length=ABOUT_LENGTH, required=False)
    grown = forms.CharField(label=_("How it was grown"), max_length=WHERE_LENGTH, required=False)
    use_by = day_field(_("Best used by"))
    note = forms.CharField(
        label=_("Note"), max_length=NOTE_LENGTH, required=False, widget=forms.Textarea(attrs={"rows": 2})
    )

    def __init__(self, *args: Any, offer: Offer, **kw: Any) -> None:
        kw["initial"] = {name: getattr(offer, name) for name in self.base_fields}
        super().__init__(*args, **kw)
        self.helper = form_helper(submit=gettext("Keep it so"))


class KeepBackForm(forms.Form):
    def __init__(self, *args: Any, offer: Offer, by: User, **kw: Any) -> None:
        kw.setdefault("initial", {"kept": units_typed(offer, by, offer.kept)})
        super().__init__(*args, **kw)
        self.offer, self.unit = offer, weight_unit(by.units)
        measure = CONTAINERS[offer.container] if offer.container else self.unit
        label = gettext("I keep back")
        self.fields["kept"] = amount_field(f"{label} ({measure})", whole=bool(offer.container))
        self.helper = form_helper(submit=gettext("Keep so much"), css="")

    def kept(self) -> int:
        value = self.cleaned_data["kept"]
        return int(value) if self.offer.container else grams_typed(value, self.unit)


class TakeBackForm(forms.Form):
    reason = forms.CharField(label=_("Why"), max_length=200, help_text=_("Those who claimed some will read it."))

    def __init__(self, *args: Any, **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.helper = form_helper(submit=gettext("Take the offer back"), css="btn-danger")


class PictureForm(forms.Form):
    photo = forms.FileField(
        label=_("Picture"),
        help_text=_("JPEG, PNG or WebP, at most 8 MB. Where it was taken is not kept."),
        widget=forms.ClearableFileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
    )

    def __init__(self, *args: Any, **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.helper = form_helper(submit=gettext("Show this picture"), css="")
