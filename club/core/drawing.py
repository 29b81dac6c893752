"""Fields and widgets of forms, drawn by Python instead of template by template.

A form of forty fields goes through some two hundred templates of Django's and crispy's for it, most of them a line
long: three quarters of such a page's time. Here the same HTML is put together in one pass; a widget of another kind
than Django's plain ones, and a set of boxes, still come from their templates.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django import forms
from django.forms.renderers import DjangoTemplates
from django.template.loader import get_template
from django.utils.formats import localize
from django.utils.functional import Promise
from django.utils.html import conditional_escape, escape
from django.utils.safestring import SafeData, SafeString, mark_safe

WIDGETS = "django/forms/widgets/"


class WidgetRenderer(DjangoTemplates):
    """Django's own (the setting `FORM_RENDERER`), but its plain widgets are drawn here."""

    def render(self, template_name: str, context: dict[str, Any], request: Any = None) -> SafeString:
        draw = DRAWN.get(template_name)
        return mark_safe(draw(context["widget"]) if draw else super().render(template_name, context, request))


def _shown(value: Any) -> str:
    """As a template shows `{{ value|stringformat:'s' }}`."""
    return str(value) if isinstance(value, SafeData) else escape(str(value))


def _attributes(given: Mapping[str, Any]) -> str:
    return "".join(
        f" {name}" if value is True else f' {name}="{_shown(value)}"'
        for name, value in given.items()
        if value is not False
    )


def _input(widget: dict[str, Any]) -> str:
    value = "" if widget["value"] is None else f' value="{_shown(widget["value"])}"'
    return f'<input type="{widget["type"]}" name="{escape(widget["name"])}"{value}{_attributes(widget["attrs"])}>'


def _textarea(widget: dict[str, Any]) -> str:
    inside = conditional_escape(widget["value"] or "")
    return f'<textarea name="{escape(widget["name"])}"{_attributes(widget["attrs"])}>\n{inside}</textarea>'


def _select(widget: dict[str, Any]) -> str:
    parts = [f'<select name="{escape(widget["name"])}"{_attributes(widget["attrs"])}>']
    for group, options, _index in widget["optgroups"]:
        if group:
            parts.append(f'<optgroup label="{conditional_escape(group)}">')
        for option in options:
            label: Any = option["label"] if isinstance(option["label"], str | Promise) else localize(option["label"])
            attributes = _attributes(option["attrs"])
            parts.append(f'<option value="{_shown(option["value"])}"{attributes}>{conditional_escape(label)}</option>')
        if group:
            parts.append("</optgroup>")
    parts.append("</select>")
    return "\n".join(parts)


DRAWN: dict[str, Callable[[dict[str, Any]], str]] = {
    f"{WIDGETS}{name}.html": draw
    for draw, names in (
        (_input, "checkbox date datetime email hidden input number password search tel text time url color"),
        (_select, "select"),
        (_textarea, "textarea"),
    )
    for name in names.split()
}


def field_html(field: forms.BoundField, context: Mapping[str, Any]) -> SafeString:
    """A field with its label, its errors and its help, as `bootstrap5/field.html` of crispy-bootstrap5 lays it out.

    `context` is what crispy gives that template: only `error_text_inline` and `flat_attrs` are used on this site.
    """
    if field.is_hidden:
        return mark_safe(str(field))
    widget, css = field.field.widget, field.css_classes()
    css = f" {escape(css)}" if css else ""
    required = " requiredField" if field.field.required else ""
    star = '<span class="asteriskField">*</span>' if required else ""
    label = f"{conditional_escape(field.label)}{star}"
    if isinstance(widget, forms.CheckboxInput):
        _class_widget(field, "form-check-input")
        return mark_safe(
            f'<div class="mb-3"><div id="div_{field.auto_id}" class="form-check{css}">{field} '
            f'<label for="{field.id_for_label}" class="form-check-label{required}">{label}</label>'
            f"{_errors(field, context)}{_help(field)}</div></div>"
        )
    opening, closing = "", ""
    if field.label:
        target = f'for="{field.id_for_label}" ' if field.id_for_label else ""
        if field.use_fieldset:
            described = f' aria-describedby="{field.aria_describedby}"' if field.aria_describedby else ""
            opening = f'<fieldset{described}><legend {target}class="form-label{required} fs-6">{label}</legend>'
            closing = "</fieldset>"
        else:
            opening = f'<label {target}class="form-label{required}">{label}</label>'
    return mark_safe(
        f'<div id="div_{field.auto_id}" class="mb-3{css}">{opening}{_inside(field, context)}{closing}</div>'
    )


def _inside(field: forms.BoundField, context: Mapping[str, Any]) -> str:
    widget = field.field.widget
    if isinstance(widget, forms.CheckboxSelectMultiple | forms.RadioSelect):
        return _by_template("radio_checkbox_select", field, context)
    if isinstance(widget, forms.FileInput):
        return _by_template("field_file", field, context)
    _class_widget(field, "form-select" if isinstance(widget, forms.Select) else "form-control")
    return f"{field}{_errors(field, context)}{_help(field)}"


def _by_template(name: str, field: forms.BoundField, context: Mapping[str, Any]) -> str:
    given = {key: context.get(key, "") for key in ("flat_attrs", "form_show_errors", "error_text_inline")}
    return get_template(f"bootstrap5/layout/{name}.html").render({"field": field, **given})


def _class_widget(field: forms.BoundField, css: str) -> None:
    """The widget, or each of its parts, is given Bootstrap's class and the name of its own."""
    whole: Any = field.field.widget
    wanted = f"{css} is-invalid" if field.errors else css
    for widget in getattr(whole, "widgets", [whole]):
        own = type(widget).__name__.lower()
        had = widget.attrs.get("class", "")
        if own not in had:
            had = f"{had} {own}".strip()
        new = [one for one in wanted.split() if one not in had.split()]
        widget.attrs["class"] = " ".join([had, *new])


def _errors(field: forms.BoundField, context: Mapping[str, Any]) -> str:
    if not field.errors:
        return ""
    tag = "span" if context.get("error_text_inline") else "p"
    errors: Any = field.errors  # what lies in it is text by now
    lines = "".join(
        f'<{tag} id="error_{n}_{field.auto_id}"><strong>{conditional_escape(error)}</strong></{tag}>'
        for n, error in enumerate(errors, 1)
    )
    return f'<div id="{errors.field_id}_error" class="invalid-feedback">{lines}</div>'


def _help(field: forms.BoundField) -> str:
    if not field.help_text:
        return ""
    return f'<div id="{field.auto_id}_helptext" class="form-text">{field.help_text}</div>'
