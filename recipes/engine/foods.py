"""What foods weigh and hold: the types, and finding a recipe's words among the foods of a table.

A `Foods` value is passed to whatever needs one; `PUBLISHED` below is the default. The figures are plain Python in
`foods_weights` and `foods_solids`, each with its source beside it, so that the engine reads no file. A figure is a
`Span`: 95 of 100 kitchens are taken to lie between its ends.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import NamedTuple

from recipes.engine import foods_solids, foods_weights
from recipes.engine.terms import Ingredient

# Words that say how a food was cut, most telling first: "fresh or thawed, crushed" is crushed.
_FORMS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("juice", ("juice", "juiced", "cider")),
    ("crushed", ("crushed", "mashed", "pureed", "puree", "pulp")),
    ("ground", ("ground", "minced")),
    ("finely chopped", ("finely",)),
    ("grated", ("grated", "shredded", "zested")),
    ("cooked", ("cooked", "stewed")),
    ("chopped", ("chopped", "diced", "quartered", "cubed", "cubes", "chunks", "pieces", "cut")),
    ("sliced", ("sliced", "slices", "sections", "slivered")),
    ("halves", ("halved", "halves")),
    ("pitted", ("pitted",)),
    ("unpacked", ("unpacked",)),
    ("packed", ("packed",)),
    ("whole", ("whole", "stemmed", "capped", "hulled")),
)
# What else may stand for a form that the table lacks, at NEAR_REACH more either way. Uncut food is whole: no estimate.
_NEAR: dict[str, tuple[str, ...]] = {
    "crushed": ("cooked",),
    "ground": ("crushed",),
    "cooked": ("crushed",),
    "chopped": ("sliced", "pitted", "halves"),
    "sliced": ("chopped", "halves"),
    "halves": ("sliced", "chopped"),
    "pitted": ("whole", "sliced"),
}
_UNCUT = ("", "whole", "chopped", "sliced", "packed")
NEAR_REACH = 0.1


class Span(NamedTuple):
    """A figure with its reach: `low` <= `best` <= `high`, all in the unit its field names."""

    low: float
    best: float
    high: float

    def times(self, factor: float) -> Span:
        return Span(self.low * factor, self.best * factor, self.high * factor)

    @property
    def half_width(self) -> float:
        return (self.high - self.low) / 2


class Figure(NamedTuple):
    """A span with where it comes from; an estimate is one that nobody printed for this very food and form."""

    span: Span
    source: str
    is_estimate: bool = False


@dataclass(frozen=True)
class Foods:
    """Grams in a US cup by food and form, grams apiece, degrees Brix, and the words that name a food."""

    grams_per_cup: Mapping[tuple[str, str], Figure]
    grams_each: Mapping[str, Figure]
    brix: Mapping[str, Figure]
    names: tuple[tuple[str, str], ...]  # words, food

    @cached_property
    def _stems(self) -> tuple[tuple[frozenset[str], str], ...]:
        return tuple((frozenset(words_of(words)), food) for words, food in self.names)

    def named_in(self, text: str) -> tuple[str, ...]:
        """The foods that `text` names: the fullest names only, so that orange peel is no orange."""
        words = frozenset(words_of(text))
        found = [(stems, food) for stems, food in self._stems if stems <= words]
        kept = [food for stems, food in found if not any(stems < other for other, _ in found)]
        told = [food for food in kept if food in foods_solids.STAND_ALONE]
        return tuple(dict.fromkeys(told or kept))

    def cup_of(self, food: str, form: str) -> Figure | None:
        """A cup of the food in this form, or in one near it: then it is an estimate, and reaches wider."""
        for known in (form,) if form else _UNCUT:
            if (figure := self.grams_per_cup.get((food, known))) is not None:
                return figure
        for near in _NEAR.get(form, ()):
            if (figure := self.grams_per_cup.get((food, near))) is not None:
                span = figure.span
                wide = Span(span.low * (1 - NEAR_REACH), span.best, span.high * (1 + NEAR_REACH))
                return Figure(wide, f"estimate: taken equal to {near}, {figure.source}", is_estimate=True)
        return None


@lru_cache(maxsize=1024)
def words_of(text: str) -> tuple[str, ...]:
    """The words of `text`, small letters, singular: "Sour cherries" is sour and cherry."""
    return tuple(_singular(word) for word in re.findall(r"[a-z]+", text.lower()))


def form_of(line: Ingredient) -> str:
    """How the food of this line was cut, in the words of the weight table."""
    words = frozenset(re.findall(r"[a-z]+", f"{line.item} {line.prep}".lower()))
    return next((form for form, telling in _FORMS if words & set(telling)), "")


def _singular(word: str) -> str:
    if word.endswith("ies") and len(word) > 4:
        return word[:-3] + "y"
    if word.endswith(("oes", "ches", "shes")):
        return word[:-2]
    return word[:-1] if word.endswith("s") and not word.endswith("ss") else word


def _figure(low: float, best: float, high: float, source: str) -> Figure:
    return Figure(Span(low, best, high), source, is_estimate=source.startswith("estimate"))


def _cups(rows: Iterable[tuple[str, str, float, float, float, str]]) -> dict[tuple[str, str], Figure]:
    return {(food, form): _figure(low, best, high, source) for food, form, low, best, high, source in rows}


PUBLISHED = Foods(
    grams_per_cup=_cups(foods_weights.rows()),
    grams_each={food: _figure(low, best, high, source) for food, low, best, high, source in foods_weights.EACH},
    brix={food: _figure(low, best, high, source) for food, low, best, high, source in foods_solids.rows()},
    names=foods_solids.NAMES,
)
