"""The allergens that a recipe's ingredients hold, by the list that the club goes by.

What holds what, and which law lists it, is `fixtures/library/allergens.csv` and `allergen-lists.csv`, each row with its
source and how far it was seen. An ingredient that no row names is not said to be free of anything.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from django.conf import settings
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from recipes.engine.acidity import words_of
from recipes.engine.terms import Seen
from recipes.library import SHIPPED

WORDS: dict[str, str | Promise] = {
    "milk": _("milk"),
    "eggs": _("eggs"),
    "fish": _("fish"),
    "crustaceans": _("crustaceans"),
    "molluscs": _("molluscs"),
    "tree nuts": _("tree nuts"),
    "pine nuts": _("tree nuts"),
    "peanuts": _("peanuts"),
    "wheat": _("wheat"),
    "gluten": _("gluten"),
    "soy": _("soy"),
    "sesame": _("sesame"),
    "mustard": _("mustard"),
    "celery": _("celery"),
    "lupin": _("lupin"),
    "sulphites": _("sulphites"),
}
LISTS: dict[str, str | Promise] = {
    "us": _("the list of the United States"),
    "canada": _("the list of Canada"),
    "eu": _("the list of the European Union and the United Kingdom"),
}


@dataclass(frozen=True)
class Source:
    """Where a row was read; `places` are addresses."""

    name: str
    places: tuple[str, ...]
    seen: Seen


@dataclass(frozen=True)
class Holding:
    """Words of an ingredient that holds an allergen, for sure or, as makers differ, perhaps.

    A line is meant whose words include all of a name's, in any order, and none of `unless`.
    """

    allergen: str
    is_sure: bool
    names: tuple[frozenset[str], ...]
    unless: frozenset[str]
    source: Source

    def is_in(self, words: frozenset[str]) -> bool:
        return not words & self.unless and any(name <= words for name in self.names)


@lru_cache(maxsize=1)
def holdings() -> tuple[Holding, ...]:
    """Every row of `allergens.csv`. ValueError for one without a source that was seen in print."""
    with (SHIPPED / "allergens.csv").open(encoding="utf-8", newline="") as file:
        return tuple(
            Holding(
                row["allergen"],
                {"holds": True, "may": False}[row["sure"]],
                tuple(frozenset(words_of(name)) for name in row["names"].split("; ")),
                frozenset(words_of(row["unless"])),
                _source("allergens.csv", row),
            )
            for row in csv.DictReader(file)
        )


@lru_cache(maxsize=1)
def lists() -> Mapping[str, Mapping[str, Source]]:
    """By list, its allergens, each with where it was read; the order is that of the file."""
    found: dict[str, dict[str, Source]] = {key: {} for key in LISTS}
    with (SHIPPED / "allergen-lists.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            found[row["list"]][row["allergen"]] = _source("allergen-lists.csv", row)
    return found


def _source(name: str, row: Mapping[str, str]) -> Source:
    seen = Seen(row["seen"])
    if not seen.is_seen or not row["source"] or not row["place"]:
        raise ValueError(f"{name}: {row['allergen']} has no source that was seen in print")
    return Source(row["source"], tuple(row["place"].split(" ; ")), seen)


@dataclass(frozen=True)
class Declared:
    """One allergen as a label names it, with the ingredients that hold it and where that was read."""

    allergen: str
    items: tuple[str, ...]
    sources: tuple[Source, ...]

    @property
    def word(self) -> str | Promise:
        return WORDS[self.allergen]

    def __str__(self) -> str:
        return f"{self.word} ({', '.join(self.items)})"


@dataclass(frozen=True)
class Allergens:
    """What the list has of these ingredients: held for sure, and perhaps, where only the bottle's label can say.

    `list_source` is where the list itself was read.
    """

    held: tuple[Declared, ...]
    perhaps: tuple[Declared, ...]
    list_name: str | Promise
    list_source: Source


def allergens_of(lines: Iterable[tuple[str, str]], by_list: str | None = None) -> Allergens:
    """Of ingredients as (item, preparation), by the club's list unless another one is named; in the list's order."""
    key = by_list or settings.ALLERGEN_LIST
    listed = lists()[key]
    held: dict[str, list[tuple[str, Source]]] = {one: [] for one in listed}
    perhaps: dict[str, list[tuple[str, Source]]] = {one: [] for one in listed}
    for item, prep in lines:
        words = frozenset(words_of(f"{item} {prep}"))
        found = [one for one in holdings() if one.allergen in listed and one.is_in(words)]
        sure = {one.allergen for one in found if one.is_sure}
        for one in found:
            if one.is_sure:
                held[one.allergen].append((item, one.source))
            elif one.allergen not in sure:
                perhaps[one.allergen].append((item, one.source))
    return Allergens(_declared(held), _declared(perhaps), LISTS[key], next(iter(listed.values())))


def _declared(found: Mapping[str, Sequence[tuple[str, Source]]]) -> tuple[Declared, ...]:
    """Each item and each source once."""
    return tuple(
        Declared(one, *(tuple(dict.fromkeys(column)) for column in zip(*rows, strict=True)))
        for one, rows in found.items()
        if rows
    )
