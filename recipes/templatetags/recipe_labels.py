"""Filters that show the library's values as a page names them."""

from __future__ import annotations

from django import template

from recipes import choices, presentation
from recipes.choices import JARS, METHODS, SEEN
from recipes.engine.terms import TestedRecipe, TestedSource
from recipes.models import unbarred

register = template.Library()


@register.filter
def in_words(reason: object) -> str:
    """{{ refusal|in_words }}: what the engine says, in the reader's language."""
    return presentation.in_words(reason)


@register.filter
def kind_label(kind: str) -> str:
    return choices.kind_label(kind)


@register.filter
def method_label(method: str) -> str:
    return str(METHODS.get(method, method))


@register.filter
def jar_label(jar: str) -> str:
    return str(JARS.get(jar, jar))


@register.filter
def seen_label(seen: str) -> str:
    return str(SEEN.get(seen, seen))


@register.filter
def listed(text: str) -> str:
    """ "|plums|apples|" as "plums, apples"."""
    return ", ".join(unbarred(text))


@register.filter
def drawing(text: str) -> str:
    """The drawing of the first produce of "|plums|apples|", or of a produce by its name."""
    return choices.drawing_of(next(iter(unbarred(text)), text))


@register.filter
def split_jars(text: str) -> tuple[str, ...]:
    """ "|half-pint|pint|" as its sizes."""
    return unbarred(text)


@register.filter
def source_text(source: TestedSource) -> str:
    return presentation.source_text(source)


@register.filter
def kept_cold(recipe: TestedRecipe) -> str:
    """Where a recipe without a process is kept, and how long."""
    return presentation.kept_cold_words(recipe)
