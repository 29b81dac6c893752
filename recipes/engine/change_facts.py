"""What the rules of change need to know of a recipe, drawn from roles, kind, method, pectin and produce."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property, lru_cache

from recipes.engine.change_foods import Food, Phrase, read_phrase
from recipes.engine.change_kinds import ACIDS, PECTINS, SALTS, SWEETS, THICKENERS, TOMATOES, Kind
from recipes.engine.change_text import plain, tokens
from recipes.engine.quantities import ConversionError, convert
from recipes.engine.rules import LOW_ACID_KINDS
from recipes.engine.terms import Ingredient, Method, Role, TestedRecipe

# What a recipe's kind says, by parts of words: kinds are free text ("fruit-jam", "pickled-beans").
_SPREAD_PARTS = ("jam", "jelly", "jellies", "marmalade", "preserve", "conserve", "spread")
_PICKLE_PARTS = ("pickl", "relish", "chutney", "kraut", "ferment", "kimchi")
FRUIT_PACKS = frozenset({"fruit", "canned-fruit", "juice", "fruit-puree", "fruit-juice"})
_FERMENT_PARTS = ("kraut", "ferment", "kimchi")

# Words people use for all ingredients of one role.
_ROLE_WORDS: dict[str, Role] = {
    "fruit": Role.FRUIT,
    "sugar": Role.SUGAR,
    "sweetener": Role.SUGAR,
    "acid": Role.ACID,
    "acidity": Role.ACID,
    "pectin": Role.PECTIN,
    "salt": Role.SALT,
    "sodium": Role.SALT,
    "spice": Role.SPICE,
    "seasoning": Role.SPICE,
    "herb": Role.SPICE,
    "vegetable": Role.LOW_ACID,
    "veggie": Role.LOW_ACID,
    "veg": Role.LOW_ACID,
    "low acid vegetable": Role.LOW_ACID,
    "liquid": Role.LIQUID,
    "thickener": Role.THICKENER,
    "starch": Role.THICKENER,
    "fat": Role.FAT,
}
# Kinds whose members answer to one another's name: "peppers" for jalapenos, "salt" for canning salt.
_FAMILIES = (
    frozenset({Kind.PEPPER}),
    SALTS,
    PECTINS,
    SWEETS,
    THICKENERS,
    frozenset({Kind.BUTTER, Kind.OIL}),
    frozenset({Kind.VINEGAR}),
)


@dataclass(frozen=True)
class Line:
    """One ingredient, with the food it is."""

    ingredient: Ingredient
    phrase: Phrase

    @property
    def role(self) -> Role:
        """The stricter of the printed role and the food: an acid or a vegetable is one whatever its line says."""
        kinds = self.phrase.kinds
        if self.ingredient.role is Role.ACID or kinds & ACIDS:
            return Role.ACID
        if kinds & {Kind.VEGETABLE, Kind.ALLIUM, Kind.PEPPER, Kind.LEGUME, Kind.SUMMER_SQUASH, Kind.PUMPKIN}:
            return Role.LOW_ACID
        return self.ingredient.role

    @property
    def is_fresh_herb(self) -> bool:
        return Kind.HERB in self.phrase.kinds or Kind.FRESH_ROOT in self.phrase.kinds

    @property
    def is_bottled(self) -> bool:
        return "bottled" in self.phrase.forms


@dataclass(frozen=True)
class Facts:
    """A recipe as the rules of change see it."""

    recipe: TestedRecipe
    lines: tuple[Line, ...]

    def with_role(self, role: Role) -> tuple[Line, ...]:
        return tuple(line for line in self.lines if line.role is role)

    def with_kind(self, kinds: Iterable[Kind]) -> tuple[Line, ...]:
        wanted = frozenset(kinds)
        return tuple(line for line in self.lines if line.phrase.kinds & wanted)

    @cached_property
    def kind(self) -> str:
        kind = self.recipe.kind.lower()
        return kind[:-1] if kind in ("fruits", "juices", "sauces", "salsas", "syrups", "butters") else kind

    def _kind_has(self, parts: tuple[str, ...]) -> bool:
        return any(part in self.kind for part in parts)

    @property
    def is_freezer(self) -> bool:
        return self.recipe.method is Method.FREEZER

    @property
    def is_spread(self) -> bool:
        return not self.is_pickle and (self.has_pectin or self._kind_has(_SPREAD_PARTS))

    @property
    def has_pectin(self) -> bool:
        return self.recipe.pectin in ("powdered", "liquid")

    @property
    def is_pickle(self) -> bool:
        return self._kind_has(_PICKLE_PARTS)

    @property
    def is_salsa(self) -> bool:
        return "salsa" in self.kind

    @property
    def is_low_acid(self) -> bool:
        """Vegetables, meat and the like: safe by pressure alone."""
        return self.recipe.method is Method.PRESSURE or self.kind in LOW_ACID_KINDS

    @cached_property
    def is_fermented(self) -> bool:
        """A ferment makes its own acid with the help of its salt; too little added acid to be a pickle is one sign."""
        words = " ".join((self.recipe.kind, self.recipe.title, *self.recipe.steps)).lower()
        if self._kind_has(_FERMENT_PARTS) or "ferment" in words or "sauerkraut" in words:
            return True
        return self.is_pickle and bool(self.with_role(Role.SALT)) and self._has_little_acid

    @property
    def _has_little_acid(self) -> bool:
        """Less than a quarter as much acid as water: no vinegar pickle (a fresh-pack brine has at least half)."""
        acid = [_volume(line.ingredient) for line in self.with_role(Role.ACID)]
        water = [_volume(line.ingredient) for line in self.with_role(Role.LIQUID)]
        return not acid or sum(filter(None, acid)) * 4 < sum(filter(None, water))

    @cached_property
    def has_tomato(self) -> bool:
        return bool(self.with_kind({*TOMATOES, Kind.TOMATO_PRODUCT}))

    @cached_property
    def has_borderline_fruit(self) -> bool:
        return self.has_tomato or bool(self.with_kind({Kind.BORDERLINE, Kind.LOW_FRUIT}))

    @cached_property
    def is_mixture(self) -> bool:
        """A balance of acid and low-acid food: salsas, relishes, pepper jelly, sauces with onions."""
        return self.is_salsa or self.is_pickle or bool(self.with_role(Role.LOW_ACID))

    @cached_property
    def is_high_acid_spread(self) -> bool:
        """Every fruit in it is known to be high in acid, and there is no vegetable."""
        fruit = self.with_role(Role.FRUIT)
        known = all(line.phrase.kinds & {Kind.FRUIT, Kind.JUICE, Kind.FLAVOUR, Kind.CITRUS} for line in fruit)
        return self.is_spread and bool(fruit) and known and not self.is_mixture and not self.has_borderline_fruit

    @cached_property
    def is_high_acid_fruit(self) -> bool:
        """Fruit of every sort without vegetables: packs, sauces, butters, syrups, juices, pie fillings and spreads."""
        fruit = self.with_role(Role.FRUIT)
        known = all(line.phrase.kinds & {Kind.FRUIT, Kind.JUICE, Kind.FLAVOUR, Kind.CITRUS} for line in fruit)
        return bool(fruit) and known and not (self.is_mixture or self.has_borderline_fruit or self.is_low_acid)

    @property
    def is_acidified_alone(self) -> bool:
        """One near-acid food with acid put into each jar: tomatoes, figs, Asian pears."""
        return (
            self.has_borderline_fruit and not self.is_mixture and not self.is_spread and bool(self.with_role(Role.ACID))
        )

    @property
    def is_fruit_pack(self) -> bool:
        return self.kind in FRUIT_PACKS and not self.has_borderline_fruit and not self.is_mixture

    def find(self, text: str, *, widely: bool = True) -> tuple[Line, ...]:
        """The lines that a phrase means: by their own words, else by role or family (when `widely`); else none."""
        words = set(tokens(text)) - _IGNORED
        if not words:
            return ()
        if (
            widely
            and (role := _ROLE_WORDS.get(" ".join(word for word in tokens(text) if word not in _IGNORED)))
            and (found := self.with_role(role))
        ):
            # Vinegar and juice are liquids too: less of "the liquid" is less of them.
            return found + (self.with_role(Role.ACID) if role is Role.LIQUID else ())
        own = self.with_words(words)
        if not read_phrase(text).foods:  # "less sour" is not less of the sour cherries
            own = tuple(line for line in own if not line.phrase.foods)
        if "peppers" in text:  # never the ground spice
            own = tuple(line for line in own if Kind.PEPPER in line.phrase.kinds)
        return own or self._by_food(text, widely)

    def with_words(self, words: set[str]) -> tuple[Line, ...]:
        """The lines whose names hold all these words: in a swap "yellow" and "powdered" are names enough."""
        return tuple(line for line in self.lines if words and words <= line.phrase.words)

    def _by_food(self, text: str, widely: bool) -> tuple[Line, ...]:
        phrase = read_phrase(text)
        if not phrase.is_known:
            return ()
        same = tuple(line for line in self.lines if any(_alike(a, b) for a in phrase.foods for b in line.phrase.foods))
        if same:
            return same
        families = [family for family in _FAMILIES if phrase.kinds <= family] if widely else []
        return self.with_kind(families[0]) if families else ()


_IGNORED = frozenset(
    {
        "the",
        "a",
        "an",
        "of",
        "any",
        "all",
        "some",
        "my",
        "total",
        "amount",
        "each",
        "and",
        "both",
        "it",
        "called",
        "for",
        "one",
        "kind",
        "type",
        "variety",
        "sort",
        "same",
        "original",
    }
)


def names_role(text: str) -> bool:
    """Whether a text is a word for all lines of a role: "acid", "the liquid"."""
    return " ".join(word for word in tokens(text) if word not in _IGNORED) in _ROLE_WORDS


def unrelated(lines: Sequence[Line], phrase: Phrase) -> bool:
    """Whether a known food shares a word but no class with the lines found: "celery" and celery seed."""
    return phrase.is_known and not any(phrase.kinds & line.phrase.kinds for line in lines)


def _volume(item: Ingredient) -> Fraction | None:
    try:
        return convert(item.amount, item.unit, "ml")
    except ConversionError:
        return None


def _alike(one: Food, other: Food) -> bool:
    """ "ground cinnamon" is cinnamon; "white onion" is onion; "orange juice" is not orange."""
    a, b = set(one.name.split()), set(other.name.split())
    return one.kind is other.kind and (a <= b or b <= a)


def facts_of(recipe: TestedRecipe) -> Facts:
    """The facts of a recipe; its lines are read with the same vocabulary as the change."""
    return Facts(recipe, tuple(Line(item, _phrase_of(item)) for item in recipe.ingredients))


# What a preparation adds to an ingredient's name; the rest ("for medium syrup", "with juice") is not the food.
_TELLING = frozenset(
    {"white", "brown", "bottled", "fresh", "dried", "frozen", "canned", "ground", "whole", "powdered", "liquid"}
)


@lru_cache(maxsize=1024)
def _phrase_of(ingredient: Ingredient) -> Phrase:
    item = read_phrase(plain(ingredient.item))
    prep = read_phrase(plain(ingredient.prep))
    return Phrase(item.foods, item.forms | prep.forms, item.unknown, item.words | (prep.words & _TELLING))
