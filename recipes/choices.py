"""The trade's own words as the pages show them; the values themselves stay as the library has them."""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from recipes.engine import StepKind
from recipes.engine.terms import Canner, Method, Pack, Role, Seen, Strength

METHODS: dict[str, str | Promise] = {
    Method.BOILING_WATER: _("boiling water"),
    Method.PRESSURE: _("pressure"),
    Method.FREEZER: _("freezer"),
    Method.REFRIGERATOR: _("refrigerator"),
}
PACKS: dict[str, str | Promise] = {
    Pack.HOT: _("hot pack"),
    Pack.RAW: _("raw pack"),
    Pack.NOT_STATED: _("pack not stated"),
}
CANNERS: dict[str, str | Promise] = {
    Canner.BOILING_WATER: _("boiling-water canner"),
    Canner.DIAL_GAUGE: _("pressure canner, dial gauge"),
    Canner.WEIGHTED_GAUGE: _("pressure canner, weighted gauge"),
    Canner.STEAM: _("atmospheric steam canner"),
}
JARS: dict[str, str | Promise] = {
    "quarter-pint": _("quarter-pint (118 ml)"),
    "half-pint": _("half-pint (237 ml)"),
    "twelve-ounce": _("12-ounce (355 ml)"),
    "pint": _("pint (473 ml)"),
    "pint-and-half": _("pint and a half (710 ml)"),
    "quart": _("quart (946 ml)"),
    "half-gallon": _("half-gallon (1.89 l)"),
}
# What covers the food in a jar; other liquids are named as the recipe does.
LIQUIDS: dict[str, str | Promise] = {
    Strength.VERY_LIGHT: _("very light syrup (10 %)"),
    Strength.LIGHT: _("light syrup (20 %)"),
    Strength.MEDIUM: _("medium syrup (30 %)"),
    Strength.HEAVY: _("heavy syrup (40 %)"),
    Strength.VERY_HEAVY: _("very heavy syrup (50 %)"),
}
ROLES: dict[str, str | Promise] = {
    Role.FRUIT: _("fruit"),
    Role.LOW_ACID: _("low-acid vegetable"),
    Role.SUGAR: _("sugar"),
    Role.ACID: _("acid"),
    Role.PECTIN: _("pectin"),
    Role.SALT: _("salt"),
    Role.SPICE: _("spice"),
    Role.FAT: _("fat"),
    Role.LIQUID: _("liquid"),
    Role.THICKENER: _("thickener"),
}
SEEN: dict[str, str | Promise] = {
    Seen.TWICE: _("seen in print, in two places"),
    Seen.ONCE: _("seen in print, in one place"),
    Seen.PARTLY_MEMORY: _("partly from memory"),
    Seen.MEMORY: _("from memory"),
    Seen.DISPUTED: _("in dispute"),
    Seen.SUSPECT: _("suspect"),
}
STOVES: dict[str, str | Promise] = {
    "electric": _("electric rings"),
    "gas": _("gas"),
    "induction": _("induction"),
}
CAPACITY_LABELS: dict[str, str | Promise] = {
    "7 quart": _("7 quarts or 9 pints"),
    "4 quart": _("4 quarts or 7 pints"),
}
# What a step is called: in full, and in a word for a short bar.
STEPS: dict[StepKind, tuple[str | Promise, str | Promise]] = {
    StepKind.PREPARE: (_("prepare food"), _("prepare")),
    StepKind.WASH: (_("wash jars"), _("wash")),
    StepKind.HEAT: (_("heat water"), _("heat")),
    StepKind.STERILISE: (_("sterilise jars"), _("sterilise")),
    StepKind.COOK: (_("cook"), _("cook")),
    StepKind.STIR: (_("stir and skim"), _("stir")),
    StepKind.FILL: (_("fill jars"), _("fill")),
    StepKind.KEEP_HOT: (_("canner ready"), _("ready")),
    StepKind.POT_WAITS: (_("keep pot hot"), _("hot")),
    StepKind.COME_BACK: (_("come to the boil"), _("boil")),
    StepKind.STEAM: (_("heat to steam"), _("steam")),
    StepKind.VENT: (_("vent"), _("vent")),
    StepKind.COME_UP: (_("come to pressure"), _("up")),
    StepKind.PROCESS: (_("process"), _("process")),
    StepKind.REST: (_("rest, heat off"), _("rest")),
    StepKind.DEPRESSURISE: (_("lose pressure, heat off"), _("down")),
    StepKind.OUT: (_("lift jars out"), _("out")),
}
# What hands do to food before its pot is lit, by the words of `recipes/engine/data/handwork.csv`.
HAND_TASKS: dict[str, str | Promise] = {
    "sort": _("sort"),
    "wash": _("wash"),
    "hull": _("hull"),
    "stem": _("stem"),
    "pit": _("pit"),
    "husk": _("husk"),
    "shell": _("shell"),
    "snap": _("snap"),
    "trim": _("trim"),
    "peel": _("peel"),
    "core": _("core"),
    "seed": _("seed"),
    "cut": _("cut"),
    "slice": _("slice"),
    "chop": _("chop"),
    "shred": _("shred"),
    "grind": _("grind"),
    "crush": _("crush"),
    "press": _("press"),
}
# Which drawing of `club/produce.svg` stands for a produce; what is not here is drawn as a pot.
DRAWINGS: dict[str, tuple[str, ...]] = {
    "apple": ("apples", "crab apples"),
    "bean": ("beans", "dried beans", "green beans", "kidney beans", "lima beans", "wax beans"),
    "beet": ("beets", "turnips", "rutabagas"),
    "berry": ("blackberries", "blueberries", "boysenberries", "cranberries", "currants", "elderberries"),
    "carrot": ("carrots", "parsnips"),
    "cauliflower": ("cauliflower", "broccoli", "cabbage"),
    "cherry": ("cherries",),
    "citrus": ("grapefruit", "lemons", "limes", "oranges"),
    "corn": ("corn", "sweet corn"),
    "cucumber": ("cucumbers", "zucchini"),
    "fig": ("figs",),
    "grape": ("grapes", "muscadines"),
    "leaf": ("basil", "greens", "mint", "spinach"),
    "mushroom": ("mushrooms",),
    "pea": ("peas", "okra"),
    "peach": ("apricots", "mangoes", "nectarines", "peaches"),
    "pear": ("pears", "quinces"),
    "pepper": ("bell peppers", "hot peppers", "peppers", "yellow peppers"),
    "pineapple": ("pineapple",),
    "plum": ("plums",),
    "root": ("potatoes", "sweet potatoes"),
    "squash": ("pumpkin", "watermelon rind", "winter squash"),
    "stalk": ("asparagus", "celery", "rhubarb"),
    "strawberry": ("strawberries",),
    "tomato": ("green tomatoes", "tomatillos", "tomatoes"),
}
DRAWING_OF = {produce: drawing for drawing, names in DRAWINGS.items() for produce in names}


def drawing_of(produce: str) -> str:
    """Of berries that are not named above all look alike."""
    return DRAWING_OF.get(produce) or ("berry" if produce.endswith("berries") else "pot")


# Kinds are open words; one that is not here is shown as the library spells it.
KINDS: dict[str, str | Promise] = {
    "butter": _("fruit butter"),
    "canner-load": _("canner load, from its table"),
    "chutney": _("chutney"),
    "conserve": _("conserve"),
    "ferment": _("ferment"),
    "fish": _("fish"),
    "fruit": _("fruit"),
    "jam": _("jam"),
    "jelly": _("jelly"),
    "juice": _("juice"),
    "marmalade": _("marmalade"),
    "meat": _("meat"),
    "pickle": _("pickle"),
    "pie-filling": _("pie filling"),
    "preserve": _("preserve"),
    "relish": _("relish"),
    "salsa": _("salsa"),
    "sauce": _("sauce"),
    "soup": _("soup"),
    "syrup": _("syrup"),
    "tomato": _("tomato"),
    "vegetable": _("vegetable"),
}


def kind_label(kind: str) -> str:
    return str(KINDS.get(kind, kind.replace("-", " ")))
