"""How pages of this room write jars, sums of money and errors of a gauge."""

from __future__ import annotations

from decimal import Decimal

from django import template

from club.core import money
from recipes.choices import JARS

register = template.Library()


@register.filter
def jar_word(size: str) -> str:
    return str(JARS.get(size, size))


@register.filter
def money_words(cents: int) -> str:
    return money.money_text(cents)


@register.filter
def signed(value: Decimal) -> str:
    """With its sign and no zeros behind: +0.5, -2, 0."""
    plain = f"{value.normalize():f}"
    return f"+{plain}" if value > 0 else plain.replace("-", "\N{MINUS SIGN}")
