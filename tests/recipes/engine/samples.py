"""Documents for the engine's tests: small, invented in their words, printed in their numbers."""

from __future__ import annotations

import copy
from typing import Any

SOURCE = {"title": "Complete Guide to Home Canning", "edition": "2015", "place": "Guide 7"}

STRAWBERRY_JAM: dict[str, Any] = {
    "slug": "strawberry-jam-liquid",
    "title": "Strawberry jam with liquid pectin",
    "kind": "jam",
    "method": "boiling-water",
    "produce": ["strawberries"],
    "pectin": "liquid",
    "headspace_in": "1/4",
    "amounts_seen": "seen-twice",
    "process_seen": "seen-twice",
    "source": SOURCE,
    "ingredients": [
        {
            "item": "strawberries",
            "prep": "crushed",
            "role": "fruit",
            "amount": "4",
            "unit": "cup",
            "as_bought": "2 quart boxes",
            "grams": "928",
            "grams_source": "USDA SR28, NDB 09316, 232 g a cup",
        },
        {"item": "sugar", "prep": "granulated", "role": "sugar", "amount": "7", "unit": "cup"},
        {"item": "pectin", "prep": "liquid", "role": "pectin", "amount": "1", "unit": "pouch"},
    ],
    "stated_yield": {"jar": "half-pint", "low": "8", "high": "8", "seen": "seen-twice"},
    "hard_boil": {"minutes": "1", "last_added_before": "sugar", "pectin_added": "off the heat"},
    "steps": ["Crush the berries.", "Bring to a full rolling boil."],
    "cautions": ["Skim before filling."],
    "process": [
        {
            "method": "boiling-water",
            "pack": "hot",
            "jar": jar,
            "minutes": [[1000, 5], [6000, 10], ["above", 15]],
            "seen": "seen-twice",
        }
        for jar in ("half-pint", "pint")
    ],
}

SNAP_BEANS: dict[str, Any] = {
    "slug": "snap-beans",
    "title": "Snap beans",
    "kind": "vegetable",
    "method": "pressure",
    "produce": ["green beans"],
    "pectin": "",
    "headspace_in": "1",
    "amounts_seen": "seen-twice",
    "process_seen": "seen-twice",
    "source": SOURCE,
    "ingredients": [
        {"item": "green beans", "prep": "1-inch pieces", "role": "low-acid vegetable", "amount": "14", "unit": "lb"},
        {"item": "salt", "role": "salt", "amount": "7", "unit": "tsp", "optional": True},
    ],
    "stated_yield": {"jar": "quart", "low": "7", "high": "7", "seen": "seen-twice"},
    "pot_limits": {"smallest": "1/7", "largest": "1", "step": "1/7", "source": "each jar is packed by itself"},
    "steps": ["Pack the jars."],
    "process": [
        {
            "method": "pressure",
            "pack": pack,
            "jar": jar,
            "minutes": minutes,
            "dial_psi": [[2000, 11], [4000, 12], [6000, 13], [8000, 14]],
            "weighted_psi": [[1000, 10], ["above", 15]],
            "seen": "seen-twice",
        }
        for pack in ("hot", "raw")
        for jar, minutes in (("pint", 20), ("quart", 25))
    ],
}

# The second edition of the format, with each of its parts; figures as printed, but for what the name says.
SALT: dict[str, Any] = {"item": "salt", "role": "salt", "unit": "tsp", "optional": True}
DETAILED_BEANS: dict[str, Any] = {
    **SNAP_BEANS,
    "steps": [
        "Wash the jars and keep them hot.",
        {
            "action": "cut",
            "text": "Leave the beans whole or cut them into pieces.",
            "size_in": "1",
            "seen": "seen-twice",
        },
        {
            "action": "boil",
            "text": "Cover the beans with boiling water, boil {minutes} and fill the jars loosely.",
            "minutes": 5,
            "pack": "hot",
            "seen": "seen-twice",
        },
        {"action": "pack", "text": "Fill the jars tightly with raw beans.", "pack": "raw"},
        {
            "action": "soak",
            "text": "An invented wait of {hours}.",
            "hours": [12, 18],
            "jars": ["quart"],
            "seen": "memory",
        },
    ],
    "loads": [
        {"jar": "quart", "count": 7, "item": "green beans", "amount": "14", "unit": "lb", "seen": "seen-twice"},
        {
            "jar": "pint",
            "count": 9,
            "item": "green beans",
            "amount": "9",
            "unit": "lb",
            "seen": "seen-twice",
            "source": SOURCE | {"place": "Guide 4"},
            "dispute": "an invented one",
        },
    ],
    "per_jar": [
        {
            "item": "salt",
            "role": "salt",
            "jar": "quart",
            "amount": "1",
            "unit": "tsp",
            "optional": True,
            "seen": "seen-twice",
        },
        {
            "item": "salt",
            "role": "salt",
            "jar": "pint",
            "amount": "1/2",
            "unit": "tsp",
            "optional": True,
            "seen": "seen-once",
        },
    ],
    "alternatives": [
        {
            "instead_of": ["salt"],
            "item": "an invented herb",
            "role": "spice",
            "jar": "pint",
            "amount": "1/4",
            "amount_high": "1/2",
            "unit": "tsp",
            "seen": "memory",
        }
    ],
    "other_yields": [{"jar": "pint", "low": "14", "high": "14", "seen": "memory"}],
    "packing_liquids": {
        "syrups": ["very-light", "light"],
        "others": ["water"],
        "usual": "light",
        "seen": "memory",
    },
    "low_temperature": {"water_f": ["180", "185"], "minutes": 30, "packs": ["raw"], "seen": "memory"},
}

APRICOT_TABLE: dict[str, Any] = {
    "food": "apricots",
    "variant": "halved or sliced",
    "method": "boiling-water",
    "source": SOURCE,
    "headspace_in": "1/2",
    "rows": [
        {
            "pack": "hot",
            "jar": "pint",
            "minutes": [[1000, 20], [3000, 25], [6000, 30], ["above", 35]],
            "seen": "seen-twice",
        }
    ],
}


def strawberry_jam(**changes: Any) -> dict[str, Any]:
    """A fresh copy of the jam, with fields put over it."""
    return {**copy.deepcopy(STRAWBERRY_JAM), **changes}


def snap_beans(**changes: Any) -> dict[str, Any]:
    return {**copy.deepcopy(SNAP_BEANS), **changes}


def detailed_beans(**changes: Any) -> dict[str, Any]:
    """The beans with every part of the format's second edition."""
    return {**copy.deepcopy(DETAILED_BEANS), **changes}


def apricot_table(**changes: Any) -> dict[str, Any]:
    return {**copy.deepcopy(APRICOT_TABLE), **changes}


def put(document: dict[str, Any], path: str, value: Any) -> dict[str, Any]:
    """The document with the value at a path such as `process.1.minutes` put in."""
    *way, last = path.split(".")
    here: Any = document
    for step in way:
        here = here[int(step)] if step.isdigit() else here[step]
    here[int(last) if last.isdigit() else last] = value
    return document
