"""What people grow and give: its name in the library, its name among the foods, and how much of it is thrown away.

The keys are the words by which the library's recipes name their produce, so that an offer finds the recipes that fit.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_DOWN, ROUND_HALF_UP, Decimal
from fractions import Fraction
from math import floor

from django.utils.functional import Promise
from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _

from recipes.engine.mass_balance import PUBLISHED
from recipes.engine.quantities import POUND_G, UNITS, Amount, AmountError, parse_amount

OTHER = "other"
SR28 = "USDA SR28 FOOD_DES NDB "


@dataclass(frozen=True)
class Produce:
    """`food` as the engine's foods name it, "" where they do not. `refuse_pct` of it as bought is not used."""

    label: str | Promise
    food: str = ""
    refuse_pct: int | None = None
    refuse_source: str = ""


def _one(label: str | Promise, food: str, refuse_pct: int | None = None, ndb: str = "") -> Produce:
    return Produce(label, food, refuse_pct, SR28 + ndb if ndb else "")


PRODUCE: dict[str, Produce] = {
    "apples": _one(_("apples"), "apple", 10, "09003"),
    "apricots": _one(_("apricots"), "apricot", 7, "09021"),
    "asparagus": _one(_("asparagus"), "asparagus", 47, "11011"),
    "beets": _one(_("beets"), "beet", 33, "11080"),
    "blackberries": _one(_("blackberries"), "blackberry", 4, "09042"),
    "blueberries": _one(_("blueberries"), "blueberry", 5, "09050"),
    "cabbage": _one(_("cabbage"), "cabbage", 20, "11109"),
    "carrots": _one(_("carrots"), "carrot", 11, "11124"),
    "cherries": _one(_("cherries"), "cherry", 10, "09063"),
    "corn": _one(_("corn in husks"), "corn", 64, "11167"),
    "crab apples": _one(_("crab apples"), "crab apple", 8, "09077"),
    "cranberries": _one(_("cranberries"), "cranberry", 2, "09078"),
    "cucumbers": _one(_("cucumbers"), "cucumber", 3, "11205"),
    "currants": _one(_("currants"), "currant", 2, "09083"),
    "figs": _one(_("figs"), "fig", 1, "09089"),
    "gooseberries": _one(_("gooseberries"), "gooseberry", 0, "09107"),
    "grapes": _one(_("grapes"), "grape", 4, "09132"),
    "green beans": _one(_("green beans"), "bean", 12, "11052"),
    "green tomatoes": _one(_("green tomatoes"), "green tomato", 9, "11527"),
    "lemons": _one(_("lemons"), "lemon"),
    "lima beans": _one(_("lima beans in pods"), "bean", 56, "11031"),
    "nectarines": _one(_("nectarines"), "nectarine", 9, "09191"),
    "okra": _one(_("okra"), "okra", 14, "11278"),
    "onions": _one(_("onions"), "onion", 10, "11282"),
    "oranges": _one(_("oranges"), "orange", 27, "09200"),
    "peaches": _one(_("peaches"), "peach", 4, "09236"),
    "pears": _one(_("pears"), "pear", 10, "09252"),
    "peas": _one(_("peas in pods"), "pea", 62, "11304"),
    "peppers": _one(_("peppers"), "pepper", 18, "11333"),
    "plums": _one(_("plums"), "plum", 6, "09279"),
    "potatoes": _one(_("potatoes"), "potato", 25, "11352"),
    "quinces": _one(_("quinces"), "quince", 39, "09296"),
    "raspberries": _one(_("raspberries"), "raspberry", 4, "09302"),
    "rhubarb": _one(_("rhubarb"), "rhubarb", 25, "09307"),
    "strawberries": _one(_("strawberries"), "strawberry", 6, "09316"),
    "tomatoes": _one(_("tomatoes"), "tomato", 9, "11529"),
    "zucchini": _one(_("zucchini"), "zucchini", 5, "11477"),
    OTHER: Produce(_("something else")),
}


def produce_choices() -> list[tuple[str, str | Promise]]:
    return [(key, one.label) for key, one in PRODUCE.items()]


# What a container of a kind of produce weighs, from published tables; nothing where none prints it.
#
# The figures are those of fixtures/foods/produce.csv, each with its source; what was only remembered is left out.
# Of two printed figures for one container USDA's is taken. A half bushel and a peck are a half and a quarter of a
# bushel (US dry measure: NIST Handbook 44, appendix C). Juice goes by what a US cup of it weighs.
# A giver who weighed a container knows better than any table: their figure goes before it.

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
    return ContainerWeight(grams, f"{source}: {pounds} lb a bushel" if container in PARTS else f"{source}: {pounds} lb")


def _juice(produce: str, container: str) -> ContainerWeight | None:
    unit = {"quart": "quart", "litre": "l"}.get(container)
    cup = PUBLISHED.grams_per_cup.get((PRODUCE[produce].food, "juice")) if produce in PRODUCE and unit else None
    if unit is None or cup is None:
        return None
    cups = float(UNITS[unit].size / UNITS["cup"].size)
    return ContainerWeight(round(cup.span.best * cups), cup.source)


def containers_words(container: str, count: int) -> str:
    """ "3 bushels", "1 lug"."""
    words = {
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
    return words[container] % {"n": count}


# Amounts in the reader's units: grams as kilograms or pounds, an offer's units as weight or as containers.

POUND = Decimal(POUND_G.numerator) / Decimal(POUND_G.denominator)
# What a weight is typed in: a value to its grams.
WEIGHTS: dict[str, Decimal] = {"kg": Decimal(1000), "lb": POUND}


def weight_unit(units: str) -> str:
    """The unit a person weighs in; `units` is metric or us."""
    return "lb" if units == "us" else "kg"


def grams_typed(value: Decimal, unit: str) -> int:
    return int((value * WEIGHTS[unit]).quantize(Decimal(1), ROUND_HALF_UP))


def grams_in(text: str) -> int | None:
    """Whole grams of "2.4 kg", "3 lb" or "800", rounded down: never more than there is. None for what is no weight."""
    plain = text.strip()
    try:
        amount = parse_amount(f"{plain} g" if plain.replace(".", "", 1).isdigit() else plain)
    except AmountError:
        return None
    unit = UNITS[amount.unit]
    return floor(amount.value * Fraction(unit.size)) if unit.kind == "mass" else None


def weight_typed(grams: int, unit: str) -> Decimal:
    """As one would type it, to a hundredth: grams_typed of it is within half of that again."""
    return (Decimal(grams) / WEIGHTS[unit]).quantize(Decimal("0.01"), ROUND_HALF_UP).normalize() + 0


def weight_asked(grams: int, units: str) -> Amount:
    """As one would type it to a recipe's plan: in pounds to a hundredth, in kilograms, or below one in grams."""
    if units == "us":
        return Amount(Fraction(weight_typed(grams, "lb")), "lb")
    return Amount(Fraction(grams), "g") if grams < 1000 else Amount(Fraction(grams, 1000), "kg")


def weight_words(grams: int, units: str, *, weighings: int = 0) -> str:
    """ "650 g", "4.35 kg"; "1.4 lb", below a pound "7.5 oz". Never more than there is: rounded down.

    Weights are kept in whole grams, so that a pound typed may be up to a gram more than what is kept: 24 lb, kept as
    10886 g, is 24 lb and not 23.9. A container's weight comes from a table in pounds, and each of `weighings`
    containers that make up `grams` may be half a gram more: a bushel of 56 lb, kept as 25401 g, is 56 lb.
    """
    if units == "us":
        pounds = (grams + max(Decimal(weighings) / 2, Decimal(bool(grams)))) / POUND
        return f"{_short(pounds * 16, '0.1')} oz" if 0 < pounds < 1 else f"{_short(pounds, '0.1')} lb"
    return f"{grams} g" if grams < 1000 else f"{_short(Decimal(grams) / 1000, '0.01')} kg"


def _short(value: Decimal, step: str) -> str:
    return f"{value.quantize(Decimal(step), ROUND_DOWN).normalize():f}"


def units_words(count: int, *, container: str, unit_g: int, units: str) -> str:
    """ "12 kg", or "3 bushels (76.2 kg)", or "none"; the count is of the offer's units."""
    if not count:
        return gettext("none")
    weight = weight_words(count * unit_g, units, weighings=count if container else 0)
    return f"{containers_words(container, count)} ({weight})" if container else weight
