"""The trade's own words as the pages show them; the values themselves stay as the library has them."""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from recipes.engine.terms import Canner, Method, Pack, Role, Seen

METHODS: dict[str, str | Promise] = {
    Method.BOILING_WATER: _("boiling water"),
    Method.PRESSURE: _("pressure"),
    Method.FREEZER: _("freezer"),
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
# Kinds are open words; one that is not here is shown as the library spells it.
KINDS: dict[str, str | Promise] = {
    "butter": _("fruit butter"),
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


def kind_word(kind: str) -> str:
    return str(KINDS.get(kind, kind.replace("-", " ")))
