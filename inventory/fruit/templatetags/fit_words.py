"""What a fitting recipe gives and takes, in a line each."""

from __future__ import annotations

from django import template

from inventory.fruit.fitting import Fit
from recipes.engine.terms import Role
from recipes.plan_page import jar_words
from recipes.shopping import shopping_list

register = template.Library()

# What is worth knowing before one decides: what is bought, not what every kitchen has.
TOLD = frozenset({Role.SUGAR, Role.PECTIN, Role.ACID})


@register.filter
def jars_of(fit: Fit) -> str:
    """ "12 half-pints"; "" where the plan has none."""
    return ", ".join(jar_words(fit.plan)) if fit.plan else ""


@register.filter
def needs(fit: Fit, units: str = "metric") -> str:
    """Sugar, pectin and acid over all pots, as the shopping list has them."""
    if fit.plan is None:
        return ""
    items = {line.ingredient.item for line in fit.plan.lines if line.ingredient.role in TOLD}
    return ", ".join(f"{one.item} {one.need}" for one in shopping_list(fit.plan, units) if _is_told(one.item, items))


def _is_told(item: str, items: set[str]) -> bool:
    return any(item in known or known in item for known in items)
