"""What a fitting recipe gives and takes, in a line each."""

from __future__ import annotations

from typing import Any

from django import template

from inventory.fruit.models import Offer
from inventory.fruit.produce import weight_words
from inventory.fruit.suggestions import Fit
from recipes.engine.terms import Role
from recipes.presentation import jar_texts
from recipes.shopping import shopping_list

register = template.Library()

# What is worth knowing before one decides: what is bought, not what every kitchen has.
WORTH_KNOWING = frozenset({Role.SUGAR, Role.PECTIN, Role.ACID})


@register.filter
def jars_of(fit: Fit) -> str:
    """ "12 half-pints"; "" where the plan has none."""
    return ", ".join(jar_texts(fit.plan)) if fit.plan else ""


@register.filter
def needs(fit: Fit, units: str = "metric") -> str:
    """Sugar, pectin and acid over all pots, as the shopping list has them."""
    if fit.plan is None:
        return ""
    items = {line.ingredient.item for line in fit.plan.lines if line.ingredient.role in WORTH_KNOWING}
    return ", ".join(
        f"{one.item} {one.need}"
        for one in shopping_list(fit.plan, units)
        if any(one.item in known or known in one.item for known in items)
    )


# Weights as the freezer's pages show them.


@register.filter
def weight(grams: int, units: str = "metric") -> str:
    """ "2.4 kg" or "5.3 lb", as `weight_words` says it."""
    return weight_words(grams, units)


# How the room's pages write weights and containers: in the reader's own units.


def _units(context: Any) -> str:
    return str(getattr(context["request"].user, "units", "metric"))


@register.simple_tag(takes_context=True)
def amount(context: Any, offer: Offer, count: int) -> str:
    return offer.amount_text(count, _units(context))


@register.simple_tag(takes_context=True)
def fruit_weight(context: Any, grams: int, weighings: int = 0) -> str:
    return weight_words(grams, _units(context), weighings=weighings)
