"""The one way to use crispy: a form carries its helper, and its button says what it does."""

from __future__ import annotations

from typing import Any, ClassVar

from crispy_forms.helper import FormHelper
from crispy_forms.layout import HTML, Layout, Submit
from django import forms
from django.utils.html import format_html
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from club.core.fields import token_field


def form_helper(*layout: Any, submit: str, css: str = "btn-lg", action: str = "") -> FormHelper:
    """For a form that crispy draws whole: its tag, its fields (all of them without a layout), its button."""
    helper = FormHelper()
    helper.form_action = action
    helper.layout = Layout(*layout) if layout else None
    helper.add_input(Submit("send", submit, css_class=css or None))
    return helper


def fields_helper(submit: str, css: str = "btn-lg", *, css_id: str = "") -> FormHelper:
    """For fields and a button inside a form tag that the template writes."""
    helper = FormHelper()
    helper.form_tag = False
    helper.add_input(Submit("send", submit, css_class=css or None, css_id=css_id))
    return helper


class ButtonForm(forms.Form):
    """Fields and one button, for a form tag that the template writes.

    Two of them on one page have a prefix each, and so have their buttons.
    """

    button: ClassVar[Any]
    button_css: ClassVar[str] = "btn-lg"

    @property
    def helper(self) -> FormHelper:
        return fields_helper(str(self.button), self.button_css, css_id=f"submit-id-{self.add_prefix('send')}")


def bare_helper() -> FormHelper:
    """For fields alone: the template writes the tag, the token and the button."""
    helper = FormHelper()
    helper.form_tag = False
    helper.disable_csrf = True
    return helper


def heading(text: str) -> HTML:
    return HTML(format_html('<h2 class="h4">{}</h2>', text))


class TokenForm(forms.Form):
    """Carries a token, so that two presses are one."""

    token = token_field()


class PhotoForm(forms.Form):
    photo = forms.FileField(
        label=_("Picture"),
        help_text=_("JPEG, PNG or WebP, at most 8 MB. Nobody in it who has not agreed to be shown."),
        widget=forms.ClearableFileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
    )

    def __init__(self, *args: Any, action: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper(submit=gettext("Show this picture"), css="", action=action)
