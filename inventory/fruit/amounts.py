"""Amounts in the reader's units: grams as kilograms or pounds, an offer's units as weight or as containers."""

from __future__ import annotations

from decimal import ROUND_DOWN, ROUND_HALF_UP, Decimal

from django.utils.translation import gettext as _

from inventory.fruit.containers import containers_words
from recipes.engine.units import POUND_G

POUND = Decimal(POUND_G.numerator) / Decimal(POUND_G.denominator)
# What a weight is typed in: a value to its grams.
WEIGHTS: dict[str, Decimal] = {"kg": Decimal(1000), "lb": POUND}


def weight_unit(units: str) -> str:
    """The unit a person weighs in; `units` is metric or us."""
    return "lb" if units == "us" else "kg"


def grams_typed(value: Decimal, unit: str) -> int:
    return int((value * WEIGHTS[unit]).quantize(Decimal(1), ROUND_HALF_UP))


def weight_typed(grams: int, unit: str) -> Decimal:
    """As one would type it, to a hundredth: grams_typed of it is within half of that again."""
    return (Decimal(grams) / WEIGHTS[unit]).quantize(Decimal("0.01"), ROUND_HALF_UP).normalize() + 0


def weight_words(grams: int, units: str, *, weighings: int = 0) -> str:
    """ "650 g", "4.35 kg"; "1.4 lb". Never more than there is: rounded down.

    A container's weight comes from a table in pounds and is kept in whole grams, so each of `weighings` containers
    that make up `grams` may be half a gram more: a bushel of 56 lb, kept as 25401 g, is 56 lb and not 55.9.
    """
    if units == "us":
        return f"{_short((grams + Decimal(weighings) / 2) / POUND, '0.1')} lb"
    return f"{grams} g" if grams < 1000 else f"{_short(Decimal(grams) / 1000, '0.01')} kg"


def _short(value: Decimal, step: str) -> str:
    return f"{value.quantize(Decimal(step), ROUND_DOWN).normalize():f}"


def units_words(count: int, *, container: str, unit_g: int, units: str) -> str:
    """ "12 kg", or "3 bushels (76.2 kg)", or "none"; the count is of the offer's units."""
    if not count:
        return _("none")
    weight = weight_words(count * unit_g, units, weighings=count if container else 0)
    return f"{containers_words(container, count)} ({weight})" if container else weight
