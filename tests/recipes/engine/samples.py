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
