"""What people grow and give: its name in the library, its name among the foods, and how much of it is thrown away.

The keys are the words by which the library's recipes name their produce, so that an offer finds the recipes that fit.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

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
