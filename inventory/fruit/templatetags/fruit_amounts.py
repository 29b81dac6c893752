"""How the room's pages write weights and containers: in the reader's own units."""

from __future__ import annotations

from typing import Any

from django import template

from inventory.fruit.amounts import units_words, weight_words
from inventory.fruit.models import Offer

register = template.Library()


def _units(context: Any) -> str:
    return str(getattr(context["request"].user, "units", "metric"))


@register.simple_tag(takes_context=True)
def amount(context: Any, offer: Offer, count: int) -> str:
    """ "3 bushels (76.2 kg)", or "12 kg": so many of the offer's units."""
    return units_words(count, container=offer.container, unit_g=offer.unit_g, units=_units(context))


@register.simple_tag(takes_context=True)
def weight(context: Any, grams: int, weighings: int = 0) -> str:
    return weight_words(grams, _units(context), weighings=weighings)
