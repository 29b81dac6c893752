"""What a container of a kind of produce weighs, from published tables; nothing where none prints it.

The figures are those of fixtures/foods/produce.csv, each with its source; a row that was only remembered is left out.
Of two printed figures for one container USDA's is taken. A half bushel and a peck are a half and a quarter of a bushel
(US dry measure: NIST Handbook 44, appendix C). Juice goes by what a US cup of it weighs (recipes.engine.foods_weights).
A giver who weighed a container knows better than any table: her figure goes before it.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext

from inventory.fruit.produce import PRODUCE
from recipes.engine.foods import PUBLISHED
from recipes.engine.units import POUND_G, UNITS

FRESH, FROZEN, JUICE = "fresh", "frozen", "juice"

CONTAINERS: dict[str, str | Promise] = {
    "bushel": _("bushels"),
    "half-bushel": _("half bushels"),
    "peck": _("pecks"),
    "lug": _("lugs"),
    "crate": _("crates or flats"),
    "quart": _("quarts"),
    "litre": _("litres"),
    "bucket": _("buckets"),
    "box": _("boxes"),
    "bag": _("bags"),
}
# Of a bushel.
PARTS = {"half-bushel": 2, "peck": 4}

USDA = "USDA AIB 539 Guide 2"
USDA_TOMATO = "USDA AIB 539 Guide 3"
USDA_VEGETABLE = "USDA AIB 539 Guide 4"
GEORGIA = "University of Georgia/Georgia Dept of Agriculture yield table as quoted"
STATE = "A state table of weights and processed yields (copy read)"

# Produce and container: pounds, source.
POUNDS: dict[tuple[str, str], tuple[str, str]] = {
    ("apples", "bushel"): ("48", USDA),
    ("apricots", "bushel"): ("50", USDA),
    ("apricots", "lug"): ("24", GEORGIA),
    ("asparagus", "crate"): ("31", USDA_VEGETABLE),
    ("asparagus", "bushel"): ("45", "Michigan State Extension 01701369"),
    ("beets", "bushel"): ("52", USDA_VEGETABLE),
    ("blackberries", "crate"): ("36", USDA),
    ("blackberries", "quart"): ("1.375", STATE),
    ("blueberries", "crate"): ("36", USDA),
    ("blueberries", "quart"): ("1.75", STATE),
    ("carrots", "bushel"): ("50", USDA_VEGETABLE),
    ("cherries", "lug"): ("25", USDA),
    ("cherries", "bushel"): ("56", GEORGIA),
    ("cherries", "quart"): ("1.625", STATE),
    ("corn", "bushel"): ("35", USDA_VEGETABLE),
    ("cranberries", "bushel"): ("100", GEORGIA),
    ("cucumbers", "bushel"): ("48", "North Dakota State FN189"),
    ("currants", "crate"): ("36", USDA),
    ("figs", "lug"): ("6", GEORGIA),
    ("gooseberries", "crate"): ("36", USDA),
    ("grapes", "lug"): ("26", USDA),
    ("grapes", "bushel"): ("48", GEORGIA),
    ("green beans", "bushel"): ("30", USDA_VEGETABLE),
    ("green tomatoes", "bushel"): ("53", USDA_TOMATO),
    ("lima beans", "bushel"): ("32", USDA_VEGETABLE),
    ("nectarines", "crate"): ("18", GEORGIA),
    ("okra", "bushel"): ("26", USDA_VEGETABLE),
    ("peaches", "bushel"): ("48", USDA),
    ("peaches", "lug"): ("20.5", STATE),
    ("pears", "bushel"): ("50", USDA),
    ("pears", "lug"): ("22.5", STATE),
    ("pears", "crate"): ("46", GEORGIA),
    ("peas", "bushel"): ("30", USDA_VEGETABLE),
    ("peppers", "bushel"): ("25", USDA_VEGETABLE),
    ("plums", "bushel"): ("56", USDA),
    ("potatoes", "bushel"): ("50", USDA_VEGETABLE),
    ("raspberries", "crate"): ("36", USDA),
    ("raspberries", "quart"): ("1.375", STATE),
    ("rhubarb", "lug"): ("28", USDA),
    ("strawberries", "crate"): ("36", STATE),
    ("strawberries", "quart"): ("1.375", STATE),
    ("tomatoes", "bushel"): ("53", USDA_TOMATO),
    ("tomatoes", "lug"): ("32", GEORGIA),
    ("tomatoes", "crate"): ("60", GEORGIA),
}


@dataclass(frozen=True)
class ContainerWeight:
    grams: int
    source: str


def container_weight(produce: str, container: str, state: str = FRESH) -> ContainerWeight | None:
    """Grams in one container of this produce, to the gram; None where no table that was seen prints it.

    Frozen fruit has no printed weight: how it lies in a box hangs on how it was cut and packed.
    """
    if state == JUICE:
        return _juice(produce, container)
    if state != FRESH:
        return None
    printed = POUNDS.get((produce, "bushel" if container in PARTS else container))
    if printed is None:
        return None
    pounds, source = printed
    grams = round(float(pounds) * float(POUND_G) / PARTS.get(container, 1))
    return ContainerWeight(grams, f"{source}: {_pounds_words(pounds, container)}")


def _pounds_words(pounds: str, container: str) -> str:
    return f"{pounds} lb a bushel" if container in PARTS else f"{pounds} lb"


def _juice(produce: str, container: str) -> ContainerWeight | None:
    unit = {"quart": "quart", "litre": "l"}.get(container)
    cup = PUBLISHED.grams_per_cup.get((PRODUCE[produce].food, "juice")) if produce in PRODUCE and unit else None
    if unit is None or cup is None:
        return None
    cups = float(UNITS[unit].size / UNITS["cup"].size)
    return ContainerWeight(round(cup.span.best * cups), cup.source)


def containers_words(container: str, count: int) -> str:
    """ "3 bushels", "1 lug"."""
    told = {
        "bushel": ngettext("%(n)d bushel", "%(n)d bushels", count),
        "half-bushel": ngettext("%(n)d half bushel", "%(n)d half bushels", count),
        "peck": ngettext("%(n)d peck", "%(n)d pecks", count),
        "lug": ngettext("%(n)d lug", "%(n)d lugs", count),
        "crate": ngettext("%(n)d crate", "%(n)d crates", count),
        "quart": ngettext("%(n)d quart", "%(n)d quarts", count),
        "litre": ngettext("%(n)d litre", "%(n)d litres", count),
        "bucket": ngettext("%(n)d bucket", "%(n)d buckets", count),
        "box": ngettext("%(n)d box", "%(n)d boxes", count),
        "bag": ngettext("%(n)d bag", "%(n)d bags", count),
    }
    return told[container] % {"n": count}
