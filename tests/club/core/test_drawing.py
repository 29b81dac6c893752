"""What Python draws is what the packages' own templates draw, but for blanks between tags."""

from __future__ import annotations

import re

import pytest
from django import forms
from django.forms.renderers import DjangoTemplates as PlainWidgets
from django.template import Context, Template, TemplateSyntaxError
from django.template.backends.django import DjangoTemplates
from django.utils.safestring import mark_safe
from django.utils.translation import gettext_lazy as _

from club.core.drawing import WidgetRenderer, field_html

PLAIN = DjangoTemplates({"NAME": "plain", "DIRS": [], "APP_DIRS": True, "OPTIONS": {}})
CHOICES = [("", "---"), ("a&b", "A & <b>B</b>"), (_("More"), [(3, mark_safe("<i>3</i>")), (4.5, _("four"))])]


class Everything(forms.Form):
    required_css_class = "must"

    name = forms.CharField(label="N & <M>", help_text=mark_safe("with <em>help</em>"), max_length=5)
    text = forms.CharField(widget=forms.Textarea(attrs={"rows": 2, "spellcheck": False, "data-q": '"'}), required=False)
    number = forms.DecimalField(min_value=1, widget=forms.NumberInput(attrs={"class": "short"}))
    yes = forms.BooleanField(help_text="really")
    maybe = forms.BooleanField(label=_("Maybe"), required=False)
    one = forms.ChoiceField(choices=CHOICES)
    several = forms.MultipleChoiceField(choices=CHOICES, required=False)
    boxes = forms.MultipleChoiceField(choices=CHOICES[:2], widget=forms.CheckboxSelectMultiple, help_text="tick")
    radio = forms.ChoiceField(choices=CHOICES[:2], widget=forms.RadioSelect)
    moment = forms.SplitDateTimeField(required=False)
    picture = forms.FileField(widget=forms.ClearableFileInput(attrs={"accept": "image/png"}))
    secret = forms.CharField(widget=forms.HiddenInput, initial="<s>")
    nameless = forms.CharField(label="", disabled=True, initial="it's")


def form(renderer: type[PlainWidgets], data: dict[str, object] | None) -> Everything:
    return Everything(data, renderer=renderer(), initial={"text": "<b>\nx", "several": ["a&b"]})


def without_blanks(html: str) -> str:
    html = re.sub(r"\s+", " ", html)
    return re.sub(r" ?(</?[a-z][^>]*?) ?(>) ?", r"\1\2", html)


@pytest.mark.parametrize("data", [None, {"name": "too long <", "one": "a&b", "number": "0", "boxes": "z", "yes": "on"}])
@pytest.mark.parametrize("more", [{}, {"error_text_inline": True}])
def test_each_field_is_drawn_as_its_packages_would(data, more):
    given = {"form_show_errors": True, "form_show_labels": True, **more}
    theirs, ours = form(PlainWidgets, data), form(WidgetRenderer, data)
    template = PLAIN.get_template("bootstrap5/field.html")
    for name in Everything.base_fields:
        drawn = field_html(ours[name], given)
        assert without_blanks(drawn) == without_blanks(template.render({"field": theirs[name], **given})), name
        assert name in drawn


def test_once_keeps_what_it_drew_and_sees_nothing_of_the_page():
    template = Template("{% load drawing %}{% once a=a %}{{ a }}-{{ who }}{% endonce %} {{ who }}")
    assert template.render(Context({"a": "<", "who": "Ada"})) == "&lt;- Ada"
    assert template.render(Context({"a": "2", "who": "Bo"})) == "2- Bo"
    assert template.render(Context({"a": "<", "who": "Cy"})) == "&lt;- Cy"
    for wrong in ("{% once a %}{% endonce %}", "{% once %}{% block b %}{% endblock %}{% endonce %}"):
        with pytest.raises(TemplateSyntaxError):
            Template("{% load drawing %}" + wrong)
