"""The room's forms. What was typed stays; what a service refuses appears beside its field."""

from __future__ import annotations

import re
from dataclasses import asdict
from decimal import Decimal
from typing import Any

from allauth.account.adapter import get_adapter
from allauth.account.forms import ConfirmLoginCodeForm, LoginForm, RequestLoginCodeForm, ResetPasswordForm
from allauth.account.models import EmailAddress
from allauth.core import context
from allauth.mfa.totp.forms import ActivateTOTPForm
from allauth.mfa.webauthn.forms import AddWebAuthnForm, EditWebAuthnForm
from crispy_forms.layout import Column, Field, Row
from django import forms
from django.contrib.auth.password_validation import password_validators_help_text_html
from django.http import HttpRequest, HttpResponse
from django.utils.text import capfirst
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from club.core.fields import LineField, count_field
from club.core.forms import TokenForm, form_helper
from club.core.sheets import MOST_PAPER, Sheet
from club.members.choices import EventKind, LabelSigned, Role, Skill
from club.members.models import (
    JOIN_WORDS,
    KITCHEN_NAME_LENGTH,
    NAME_LENGTH,
    PHONE_LENGTH,
    REASON_LENGTH,
    AltitudeHow,
    Kitchen,
    LabelPaper,
    StreetPage,
    Units,
    User,
    UserQuerySet,
)
from club.members.rules import altitude_as_typed


class InviteForm(forms.Form):
    email = forms.EmailField(label=_("Email"), max_length=254, widget=forms.EmailInput(attrs={"autocomplete": "off"}))
    name = LineField(label=_("Name"), max_length=NAME_LENGTH, required=False)
    role = forms.ChoiceField(label=_("Role"), choices=Role.choices, initial=Role.MEMBER.value)

    def __init__(self, *args: Any, action: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        row = Row(
            Column("email", css_class="col-md-5"),
            Column("name", css_class="col-md-4"),
            Column("role", css_class="col-md-3"),
        )
        self.helper = form_helper(row, css="", submit=gettext("Send the invitation"), action=action)


class StreetForm(forms.ModelForm):
    class Meta:
        model = StreetPage
        fields = ["is_open", "about", "hours", "joining"]
        help_texts = {
            "is_open": _(
                "Anybody may then read this, the classes to come and the published recipes; nothing of members."
            ),
            "about": _("Plain text."),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper(css="", submit=gettext("Save"))


class JoinForm(forms.Form):
    name = LineField(
        label=_("Your name"), max_length=NAME_LENGTH, widget=forms.TextInput(attrs={"autocomplete": "name"})
    )
    email = forms.EmailField(
        label=_("Your email"), max_length=254, widget=forms.EmailInput(attrs={"autocomplete": "email"})
    )
    words = forms.CharField(
        label=_("A few words about you"),
        max_length=JOIN_WORDS,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper(submit=gettext("Ask to join"))


class AcceptForm(forms.Form):
    name = LineField(
        label=_("Your name"), max_length=NAME_LENGTH, widget=forms.TextInput(attrs={"autocomplete": "name"})
    )
    password = forms.CharField(
        label=_("Choose a password"),
        strip=False,
        help_text=password_validators_help_text_html,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )
    password_again = forms.CharField(
        label=_("The same password again"),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )
    units = forms.ChoiceField(
        label=_("Units"),
        choices=Units.choices,
        help_text=_("What recipes are shown in. You can change it at any time."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper(css="", submit=gettext("Join the club"))

    def clean_password_again(self) -> str:
        again = self.cleaned_data["password_again"]
        if again != self.cleaned_data.get("password", again):
            raise forms.ValidationError(_("The two passwords are not the same."))
        return str(again)


class ProfileForm(forms.Form):
    name = LineField(
        label=_("Your name"), max_length=NAME_LENGTH, widget=forms.TextInput(attrs={"autocomplete": "name"})
    )
    units = forms.ChoiceField(label=_("Units"), choices=Units.choices)
    phone = forms.CharField(
        label=_("Telephone, for recalls only"),
        max_length=PHONE_LENGTH,
        required=False,
        help_text=_(
            "Only the organisers see it, and only where jars that you may have are called back. Leave it empty if mail"
            " is enough."
        ),
        widget=forms.TextInput(attrs={"type": "tel", "autocomplete": "tel"}),
    )

    def __init__(self, *args: Any, user: User, **kwargs: Any) -> None:
        kwargs["initial"] = {"name": user.name, "units": user.units, "phone": user.phone}
        super().__init__(*args, **kwargs)
        self.helper = form_helper(css="", submit=gettext("Save"))

    def clean_phone(self) -> str | None:
        """None where the form was sent without the field: what is stored stays."""
        return str(self.cleaned_data["phone"]) if "phone" in self.data else None


_LENGTH = re.compile(r"([0-9]{1,4}(?:[.,][0-9]{1,4})?)\s*(mm|cm|in|inch|inches|\"|″)?", re.IGNORECASE)
_TENTHS = {"mm": Decimal(10), "cm": Decimal(100), "in": Decimal(254)}


class LengthField(forms.CharField):
    """A length on paper, such as "12.5", "12,5 mm" or "0.5 in", as whole tenths of a millimetre."""

    def __init__(self, *, in_inches: bool, **options: Any) -> None:
        self.unit = "in" if in_inches else "mm"
        super().__init__(max_length=20, **options)
        self.widget.attrs |= {"inputmode": "decimal", "autocomplete": "off"}

    def prepare_value(self, value: Any) -> Any:
        if not isinstance(value, int):
            return value
        number = (value / _TENTHS[self.unit]).quantize(Decimal("0.001" if self.unit == "in" else "0.1"))
        return f"{number.normalize():f} {self.unit}"

    def clean(self, value: Any) -> Any:
        found = _LENGTH.fullmatch(str(super().clean(value)).strip())
        if found is None:
            raise forms.ValidationError(gettext("Give a length, such as 12.5 mm or 0.5 in."))
        unit = (found[2] or self.unit).lower()
        number = Decimal(found[1].replace(",", "."))
        tenths = int((number * _TENTHS["in" if unit[0] in 'i"″' else unit]).to_integral_value())
        if tenths > MOST_PAPER:
            raise forms.ValidationError(gettext("That is larger than any paper of a printer."))
        return tenths


class LabelPaperForm(forms.Form):
    """The measures of a sheet or roll, as a ruler shows them."""

    columns = count_field(_("Labels across"))
    rows = count_field(_("Labels down"))
    is_round = forms.BooleanField(label=_("The labels are round"), required=False)
    first_free = count_field(
        _("First free label"), help_text=_("Counted from the upper left, line by line; the test page has the numbers.")
    )
    signed = forms.ChoiceField(label=_("A jar's label names"), choices=LabelSigned.choices)

    LENGTHS = ("page_width", "page_height", "side", "top", "gap_across", "gap_down")

    def __init__(self, *args: Any, paper: LabelPaper, in_inches: bool, **kwargs: Any) -> None:
        sheet = asdict(paper.sheet)
        kwargs["initial"] = {**sheet, "first_free": paper.first_free, "signed": paper.signed}
        super().__init__(*args, **kwargs)
        measured = {one.name: one.verbose_name for one in LabelPaper._meta.fields}
        for name in self.LENGTHS:
            self.fields[name] = LengthField(label=capfirst(str(measured[name])), in_inches=in_inches)
        self.helper = form_helper(
            Row(Column("page_width", css_class="col-sm-6"), Column("page_height", css_class="col-sm-6")),
            Row(Column("columns", css_class="col-6"), Column("rows", css_class="col-6")),
            Row(Column("side", css_class="col-sm-6"), Column("top", css_class="col-sm-6")),
            Row(Column("gap_across", css_class="col-sm-6"), Column("gap_down", css_class="col-sm-6")),
            "is_round",
            Row(Column("first_free", css_class="col-sm-6"), Column("signed", css_class="col-sm-6")),
            submit=gettext("Keep these measures"),
            css="",
        )

    def written(self) -> dict[str, Any]:
        told = self.cleaned_data
        sheet = Sheet(**{name: told[name] for name in (*self.LENGTHS, "columns", "rows", "is_round")})
        return {"sheet": sheet, "first_free": told["first_free"], "signed": told["signed"]}


class NameForm(forms.Form):
    """An organiser's. The box is asked for only where the name reads like another's."""

    name = LineField(label=_("Name"), max_length=NAME_LENGTH, widget=forms.TextInput(attrs={"autocomplete": "off"}))
    is_shared = forms.BooleanField(
        label=_("Somebody else has this name, or one that reads like it, and both may"), required=False
    )

    def __init__(self, *args: Any, person: User, action: str, **kwargs: Any) -> None:
        kwargs["initial"] = {"name": person.name, "is_shared": person.is_name_shared}
        super().__init__(*args, **kwargs)
        self.helper = form_helper(css="", submit=gettext("Save the name"), action=action)


class RolesForm(forms.Form):
    roles = forms.MultipleChoiceField(
        label=_("Roles besides member"),
        choices=[(value, label) for value, label in Role.choices() if value != Role.MEMBER],
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )

    def __init__(self, *args: Any, person: User, **kwargs: Any) -> None:
        kwargs["initial"] = {"roles": sorted(person.role_names)}
        super().__init__(*args, **kwargs)
        self.helper = form_helper(css="", submit=gettext("Save the roles"))


class KitchenForm(TokenForm):
    """The unit has no default: 1,040 metres taken for feet would shorten every process."""

    UNITS = [("", _("choose")), ("m", _("metres")), ("ft", _("feet"))]

    name = LineField(
        label=_("Name of the kitchen"),
        max_length=KITCHEN_NAME_LENGTH,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    place = LineField(
        label=_("Town or street"),
        max_length=KITCHEN_NAME_LENGTH,
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        help_text=_("Shown beside the name where two kitchens are called the same."),
    )
    altitude = forms.CharField(
        label=_("Altitude"),
        max_length=20,
        required=False,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
        help_text=_("Leave it empty if you do not know it yet: no process time is given until it is known."),
    )
    altitude_unit = forms.ChoiceField(label=_("Unit of the altitude"), choices=UNITS, required=False)
    altitude_how = forms.ChoiceField(
        label=_("How it is known"),
        choices=[("", _("choose")), *AltitudeHow.choices],
        required=False,
        help_text=_(
            "Look your address up on a topographic map, or read the altitude on a phone or GPS out of doors. "
            "Take the higher one when two differ."
        ),
    )
    is_hall = forms.BooleanField(label=_("This is a hall of the club, for everybody"), required=False)
    power_limit_w = forms.IntegerField(
        label=_("What the hall's wiring carries, in watts"),
        required=False,
        min_value=1,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
        help_text=_("All electric burners together. Ask whoever knows the fuse box; empty while nobody has said."),
    )
    # Of the second look at an altitude in a lower band: which one it was looked at beside, and that it is right.
    looked_at = forms.IntegerField(required=False, widget=forms.HiddenInput)
    is_right = forms.BooleanField(required=False)

    def __init__(self, *args: Any, by: User, kitchen: Kitchen | None = None, **kwargs: Any) -> None:
        if kitchen is not None:
            kwargs["initial"] = shown(kitchen, by)
        super().__init__(*args, **kwargs)
        if kitchen is not None:
            del self.fields["token"]
        if kitchen is not None or not by.has_role(Role.ORGANISER):
            del self.fields["is_hall"]
        if not (kitchen.is_hall if kitchen is not None else by.has_role(Role.ORGANISER)):
            del self.fields["power_limit_w"]
        altitude = Row(
            Column("altitude", css_class="col-12 col-sm-7"), Column("altitude_unit", css_class="col-12 col-sm-5")
        )
        edges = [Field(name) for name in ("token", "is_hall", "power_limit_w") if name in self.fields]
        self.helper = form_helper(
            "name", "place", altitude, "altitude_how", *edges, css="", submit=gettext("Save the kitchen")
        )

    def clean_altitude(self) -> str:
        number = str(self.cleaned_data["altitude"]).strip()
        if re.search(r"[^\d\s.,+\-\u2212]", number):
            raise forms.ValidationError(_("Write only the number here, and choose metres or feet beside it."))
        return number

    def clean(self) -> dict[str, Any]:
        data = dict(super().clean() or {})
        if self.errors.pop("token", None):  # a hidden field has nowhere to show its error
            self.add_error(None, _("This form was changed on its way. Load the page again and send it once more."))
        if self.errors.pop("looked_at", None):  # changed on its way: nobody has looked, then
            data["looked_at"] = None
        if data.get("altitude") and "altitude_unit" in data and not data["altitude_unit"]:
            self.add_error("altitude_unit", _("Choose metres or feet."))
        if data.get("altitude") and not data.get("altitude_how") and "altitude_how" not in self.errors:
            self.add_error("altitude_how", _("Say how the altitude is known."))
        return data

    def written(self) -> dict[str, Any]:
        """What kitchen_add and kitchen_change both take. `altitude_text` is "1040 m", or nothing."""
        data = self.cleaned_data
        number = data["altitude"]
        return {
            "name": data["name"],
            "place": data["place"],
            "altitude_text": f"{number} {data['altitude_unit']}" if number else "",
            "altitude_how": data["altitude_how"],
            "power_limit_w": data.get("power_limit_w"),
            "looked_at": data["looked_at"] if data["is_right"] else None,
        }

    @property
    def sent_again(self) -> list[forms.BoundField]:
        """What the page of the second look sends along unseen."""
        return [field for field in self if field.name != "is_right"]


class KitchenPersonForm(forms.Form):
    email = forms.EmailField(
        label=_("Email of a member"),
        max_length=254,
        widget=forms.EmailInput(attrs={"autocomplete": "off"}),
        help_text=_("They are asked first, and preserve here once they say yes."),
    )

    def __init__(self, *args: Any, action: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper(css="", submit=gettext("Ask them"), action=action)


def shown(kitchen: Kitchen, by: User) -> dict[str, str]:
    """A kitchen as its form shows it, the altitude exactly as stored."""
    number, unit = "", ""
    if kitchen.altitude is not None:
        number, unit = altitude_as_typed(kitchen.altitude, prefer_feet=by.units == Units.US)
    return {
        "name": kitchen.name,
        "place": kitchen.place,
        "altitude": number,
        "altitude_unit": unit,
        "altitude_how": kitchen.altitude_how,
        "power_limit_w": str(kitchen.power_limit_w or ""),
    }


MOST_PEOPLE = 60  # in a drop-down list; among more one looks by name


class PersonChoice(forms.ModelChoiceField):
    """One of the people of `offer`.

    Where they are more than fit a list, it holds those who have `wanted` in their name, and whoever was chosen before.
    Any of them all is taken when it is sent.
    """

    is_long = False

    def offer(self, people: UserQuerySet, *, wanted: str, chosen: Any) -> None:
        self.queryset = people
        there = list(people[: MOST_PEOPLE + 1])
        self.is_long = len(there) > MOST_PEOPLE
        if self.is_long:
            wanted = " ".join(wanted.split())
            there = list(people.filter(name__icontains=wanted)[:MOST_PEOPLE]) if wanted else there[:MOST_PEOPLE]
            pk = str(chosen or "")
            if pk.isascii() and pk.isdecimal() and len(pk) < 19 and int(pk) not in {one.pk for one in there}:
                there += people.filter(pk=int(pk))
        self.choices = [("", self.empty_label or "–"), *((one.pk, str(one)) for one in there)]


class WaiveForm(forms.Form):
    """`wanted` is a part of the name of whom it is about, where there are many people."""

    person = PersonChoice(label=_("Who"), queryset=User.objects.none())
    skill = forms.ChoiceField(label=_("Skill"), choices=Skill.choices)
    reason = forms.CharField(
        label=_("Why the class is waived"),
        max_length=REASON_LENGTH,
        help_text=_("Such as: canned under pressure for twenty years, showed it to me on 3 May."),
    )

    def __init__(self, *args: Any, besides: User, wanted: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        person = self.fields["person"]
        assert isinstance(person, PersonChoice)
        others = User.objects.get_queryset().filter(is_active=True).exclude(pk=besides.pk).in_order()
        person.offer(others, wanted=wanted, chosen=self.data.get("person"))
        self.is_long, self.wanted = person.is_long, wanted
        self.helper = form_helper(
            Row(Column("person", css_class="col-md-6"), Column("skill", css_class="col-md-6")),
            "reason",
            css="",
            submit=gettext("Waive it"),
        )


class EventFilterForm(forms.Form):
    """Which rows of the people's ledger: of whom, of what kind, of which days."""

    who = forms.CharField(label=_("Find a name"), required=False, max_length=NAME_LENGTH)
    person = PersonChoice(label=_("Person"), queryset=User.objects.none(), required=False, empty_label=_("everybody"))
    kind = forms.ChoiceField(label=_("What"), choices=[("", _("everything")), *EventKind.choices], required=False)
    first = forms.DateField(label=_("From the day"), required=False, widget=forms.DateInput(attrs={"type": "date"}))
    last = forms.DateField(label=_("To the day"), required=False, widget=forms.DateInput(attrs={"type": "date"}))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        person = self.fields["person"]
        assert isinstance(person, PersonChoice)
        everybody = User.objects.get_queryset().in_order()
        person.offer(everybody, wanted=self.data.get("who", ""), chosen=self.data.get("person"))
        if not person.is_long:
            del self.fields["who"]
        row = Row(*(Column(name, css_class="col-12 col-sm-6 col-lg-3") for name in self.fields))
        self.helper = form_helper(row, css="", submit=gettext("Show"))
        self.helper.form_method = "get"


class ImportForm(forms.Form):
    file = forms.FileField(
        label=_("File"),
        help_text=_("CSV or XLSX, with the headings email, name and role in its first row."),
        widget=forms.FileInput(attrs={"accept": ".csv,.xlsx"}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper(css="", submit=gettext("Look it over"))


# Signing in, and second factors: allauth's forms with our words and what we add.

PASSKEY_NAME_LENGTH = 60


def shared_device_field() -> forms.BooleanField:
    """Read by the adapter when the sign-in is complete."""
    return forms.BooleanField(
        label=_("This device is shared with others"),
        required=False,
        help_text=_("You are signed out when the browser is closed, or after a short while without a page."),
    )


class SignInForm(LoginForm):
    shared_device = shared_device_field()

    def login(self, request: HttpRequest, redirect_url: str | None = None) -> HttpResponse:
        answer: HttpResponse = super().login(request, redirect_url)
        if self.cleaned_data["shared_device"]:
            request.session.set_expiry(0)  # allauth has just said how long it lasts otherwise
        return answer


class CodeRequestForm(RequestLoginCodeForm):
    """A code goes to a confirmed address alone, written just as its owner has it; the answer is the same for all."""

    def clean_email(self) -> str:
        email = str(self.cleaned_data["email"]).strip().lower()
        adapter = get_adapter()
        if adapter.take_try(context.request, "mailed-code", email) is None:
            raise adapter.validation_error("too_many_login_attempts")
        known = EmailAddress.objects.filter(email=email, verified=True, user__is_active=True)
        found = known.select_related("user").first()
        self._user = found.user if found else None
        return email


class ResetForm(ResetPasswordForm):
    """A link to choose another password. A stranger elsewhere uses up their own tries, not the member's."""

    def clean_email(self) -> str:
        email = str(super().clean_email())
        adapter = get_adapter()
        if adapter.take_try(context.request, "reset-mail", email) is None:
            raise adapter.validation_error("too_many_login_attempts")
        return email


class CodeForm(ConfirmLoginCodeForm):
    shared_device = shared_device_field()


class OneTimeCodeForm(ActivateTOTPForm):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        code = self.fields["code"]
        code.label = _("The code that the app shows")
        code.widget.attrs = {"autocomplete": "one-time-code", "inputmode": "numeric"}


class PasskeyForm(AddWebAuthnForm):
    name = forms.CharField(
        label=_("What you call it"),
        max_length=PASSKEY_NAME_LENGTH,
        required=False,
        help_text=_("Such as: phone, or the key on my key ring."),
    )
    passwordless = forms.BooleanField(
        label=_("It signs me in by itself, without the password"),
        required=False,
        initial=True,
        help_text=_(
            "The device then asks for your finger, face or PIN. Without the tick it is asked after the password."
        ),
    )


class PasskeyNameForm(EditWebAuthnForm):
    name = forms.CharField(label=_("What you call it"), max_length=PASSKEY_NAME_LENGTH)
