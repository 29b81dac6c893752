"""Filters that turn the library's own words into those of a page."""

from __future__ import annotations

from django import template

from recipes.choices import JARS, METHODS, SEEN
from recipes.choices import kind_word as word_of_kind
from recipes.engine.terms import TestedSource
from recipes.models import unbarred
from recipes.presentation import source_words as words_of_source

register = template.Library()


@register.filter
def kind_word(kind: str) -> str:
    return word_of_kind(kind)


@register.filter
def method_word(method: str) -> str:
    return str(METHODS.get(method, method))


@register.filter
def jar_word(jar: str) -> str:
    return str(JARS.get(jar, jar))


@register.filter
def seen_word(seen: str) -> str:
    return str(SEEN.get(seen, seen))


@register.filter
def listed(text: str) -> str:
    """ "|plums|apples|" as "plums, apples"."""
    return ", ".join(unbarred(text))


@register.filter
def source_words(source: TestedSource) -> str:
    return words_of_source(source)
