"""Weights as the freezer's pages show them."""

from __future__ import annotations

from django import template

register = template.Library()

POUND = 453.59237


@register.filter
def weight(grams: int, units: str = "metric") -> str:
    """ "2.4 kg" or "5.3 lb"; below a kilogram in whole grams, below a pound in ounces."""
    if units == "us":
        pounds = grams / POUND
        return f"{pounds:.1f} lb" if pounds >= 1 else f"{pounds * 16:.1f} oz"
    return f"{grams / 1000:.2f}".rstrip("0").rstrip(".") + " kg" if grams >= 1000 else f"{grams} g"
