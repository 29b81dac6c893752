"""What the rules of change need to know of a recipe: its lines, what it is, and how an amount compares with its own."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property, lru_cache

from recipes.engine.changes.foods import (
    ACIDS,
    DRIED,
    GROUND,
    MASHED,
    PECTINS,
    SALTS,
    SWEETS,
    THICKENERS,
    TOMATOES,
    Food,
    Kind,
    Phrase,
    read_phrase,
    without_percent,
)
from recipes.engine.changes.normalise import lemmas
from recipes.engine.changes.terms import LITTLE, Act, Change
from recipes.engine.changes.vocabulary import data, phrases, words_of
from recipes.engine.quantities import (
    JAR_ML,
    JAR_SIZES,
    UNITS,
    US_CUP_ML,
    Amount,
    ConversionError,
    convert,
    parse_amount,
)
from recipes.engine.rules import LOW_ACID_KINDS
from recipes.engine.terms import Ingredient, Method, Role, TestedRecipe

# What a recipe's kind says, by parts of words: kinds are free text ("fruit-jam", "pickled-beans").
_SPREAD_PARTS = ("jam", "jelly", "jellies", "marmalade", "preserve", "conserve", "spread")
_PICKLE_PARTS = ("pickl", "relish", "chutney", "kraut", "ferment", "kimchi")
FRUIT_PACKS = frozenset({"fruit", "canned-fruit", "juice", "fruit-puree", "fruit-juice"})
_FERMENT_PARTS = ("kraut", "ferment", "kimchi")

# Kinds whose members answer to one another's name: "peppers" for jalapenos, "salt" for canning salt.
_FAMILIES = (
    frozenset({Kind.PEPPER}),
    SALTS,
    PECTINS,
    SWEETS,
    THICKENERS,
    frozenset({Kind.BUTTER, Kind.OIL}),
    frozenset({Kind.VINEGAR}),
    frozenset({Kind.COLOUR}),
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

    @cached_property
    def words(self) -> frozenset[str]:
        """The words that the recipe has for its lines."""
        return frozenset(word for line in self.lines for word in line.phrase.words if word.isalpha())

    @property
    def is_freezer(self) -> bool:
        return self.recipe.method.is_cold

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
        words = " ".join((self.recipe.kind, self.recipe.title, *(step.text for step in self.recipe.steps))).lower()
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

    @property
    def is_syrup_pack(self) -> bool:
        """Fruit packed in syrup, water or juice."""
        return self.is_fruit_pack and self.kind not in ("juice", "fruit-juice") and bool(self.with_role(Role.SUGAR))

    def printed_for_jar(self, line: Line, jar: str) -> Amount | None:
        """What the recipe states of a line for one jar, where it states it."""
        return next(
            (parse_amount(f"{number} {unit}") for number, unit, size in _each(line.ingredient.prep) if size == jar),
            None,
        )

    def find(self, text: str, *, widely: bool = True) -> tuple[Line, ...]:
        """The lines that a phrase means: by their own words, else by role or family (when `widely`); else none."""
        words = set(lemmas(text)) - _IGNORED
        if not words:
            return ()
        if (
            widely
            and (role := _role_words().get(" ".join(word for word in lemmas(text) if word not in _IGNORED)))
            and (found := self.with_role(role))
        ):
            # Vinegar and juice are liquids too: less of "the liquid" is less of them.
            return found + (self.with_role(Role.ACID) if role is Role.LIQUID else ())
        own = self.with_words(words)
        if not read_phrase(text).foods:  # "less sour" is not less of the sour cherries
            own = tuple(line for line in own if not line.phrase.foods)
        named = read_phrase(text)
        if named.is_known and any(named.kinds & line.phrase.kinds for line in own):
            own = tuple(line for line in own if named.kinds & line.phrase.kinds)  # "paste tomatoes" are no tomato paste
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
    words_of(
        "the a an of any all some my total amount each and both it called for one kind type variety sort same original"
    )
)


@lru_cache(maxsize=1)
def _role_words() -> dict[str, Role]:
    return {
        " ".join(words_of(word)): Role(role) for role, words in data("words")["role"].items() for word in phrases(words)
    }


def names_role(text: str) -> bool:
    """Whether a text is a word for all lines of a role: "acid", "the liquid"."""
    return " ".join(word for word in lemmas(text) if word not in _IGNORED) in _role_words()


def unrelated(lines: Sequence[Line], phrase: Phrase) -> bool:
    """Whether a known food shares a word but no class with the lines found: "celery" and celery seed."""
    return phrase.is_known and not any(phrase.kinds & line.phrase.kinds for line in lines)


def _volume(item: Ingredient) -> Fraction | None:
    return converted(Amount(item.amount, item.unit), "ml")


def _alike(one: Food, other: Food) -> bool:
    """ "ground cinnamon" is cinnamon; "white onion" is onion; "orange juice" is not orange."""
    a, b = set(one.name.split()), set(other.name.split())
    return one.kind is other.kind and (a <= b or b <= a)


def facts_of(recipe: TestedRecipe) -> Facts:
    """The facts of a recipe; its lines are read with the same vocabulary as the change."""
    lines = tuple(Line(item, _phrase_of(item)) for item in recipe.ingredients)
    return Facts(recipe, tuple(_as_titled(recipe, line) for line in lines))


def _as_titled(recipe: TestedRecipe, line: Line) -> Line:
    """A line of the recipe's own produce with the cuts among which its title leaves the choice: "halved or sliced"."""
    produce = set(lemmas(recipe.produce[0])) if recipe.produce else set()
    title = recipe.title.lower()
    if " or " not in title or line.role not in (Role.FRUIT, Role.LOW_ACID) or not produce & line.phrase.words:
        return line
    preps = read_phrase(title).preps
    return replace(line, phrase=replace(line.phrase, preps=line.phrase.preps | preps))


# What a preparation adds to an ingredient's name; the rest ("for medium syrup", "with juice") is not the food.
_TELLING = frozenset(
    {"white", "brown", "bottled", "fresh", "dried", "frozen", "canned", "ground", "whole", "powdered", "liquid"}
)


@lru_cache(maxsize=1024)
def _phrase_of(ingredient: Ingredient) -> Phrase:
    item = read_phrase(ingredient.item)
    prep = read_phrase(ingredient.prep)
    words = item.words | (prep.words & _TELLING)
    return Phrase(item.foods, item.forms | prep.forms, item.unknown, words, item.preps | prep.preps)


def new_preps(line: Line, phrase: Phrase) -> frozenset[str]:
    """How a phrase wants produce cut, mashed, sized, peeled or cooked, where its line says nothing of it."""
    if line.role not in (Role.FRUIT, Role.LOW_ACID) or phrase.kinds == {Kind.SPICE}:
        return frozenset()
    own = line.phrase
    return (phrase.preps | (phrase.forms & {GROUND, MASHED})) - own.preps - own.forms


# Amounts: comparing a new one with the recipe's, exactly; None where the two cannot be compared.

TEASPOON_ML = US_CUP_ML / 48


def millilitres(amount: Amount | None) -> Fraction | None:
    return converted(amount, "ml") if amount else None


def total_of(lines: Sequence[Line], unit: str, *, high: bool = False) -> Fraction | None:
    """What the lines have together, in `unit`; by weight where the recipe or a table gives one."""
    total = Fraction(0)
    for line in lines:
        item = line.ingredient
        value = item.amount_high if high and item.amount_high is not None else item.amount
        part = converted(Amount(value, item.unit), unit)
        if part is None and item.unit == "each" and unit in lemmas(f"{item.item} {item.prep}"):
            part = value  # "cloves" of garlic counted as pieces
        if part is None and item.grams is not None and UNITS[unit].kind == "mass":
            part = convert(item.grams * value / item.amount, "g", unit) if item.amount else None
        if part is None:
            return None
        total += part
    return total


def converted(amount: Amount, unit: str) -> Fraction | None:
    try:
        return convert(amount.value, amount.unit, unit)
    except ConversionError:
        return None


def ratio_to(lines: Sequence[Line], new: Amount) -> Fraction | None:
    """New over old. Within a printed range it is 1; below it new over its low end, above it new over its high end."""
    if new.unit not in UNITS:
        return None
    low, high = total_of(lines, new.unit), total_of(lines, new.unit, high=True)
    if not low or not high:
        return None
    if new.value < low:
        return new.value / low
    return new.value / high if new.value > high else Fraction(1)


def factor_after(lines: Sequence[Line], difference: Amount, sign: int) -> Fraction | None:
    """New over old after adding (sign 1) or taking away (sign -1) an amount."""
    old = total_of(lines, difference.unit) if difference.unit in UNITS else None
    return 1 + sign * difference.value / old if old else None


_EACH = r"([0-9]+(?: [0-9]+/[0-9]+|/[0-9]+)?) ([a-z]+) in each (half-pint|pint|quart)"


def for_the_pot(facts: Facts, change: Change) -> Change | None:
    """A change whose amount was said for each jar, with the amount of the pot; None where that cannot be told.

    Acid is counted by what the recipe itself states for that jar ("each jar" is the largest stated), else by the
    fewest jars that a pot fills; everything else by the most.
    """
    said = change.other_amount if change.act is Act.SWAP else change.amount
    if not change.per_jar or said is None:
        return None if change.per_jar and change.other_amount else change
    name = change.other if change.act is Act.SWAP else change.item
    kinds = read_phrase(without_percent(name)).kinds
    times = _acid_times(facts, change.per_jar) if kinds & ACIDS else _jars_of_a_pot(facts, change.per_jar)
    if times is None:
        return None
    amount = Amount(said.value * times, said.unit)
    if change.act is not Act.SWAP:
        return replace(change, amount=amount)
    old = change.amount  # "1/2 tsp a quart in place of 2 tbsp": both are said of a jar
    return replace(change, other_amount=amount, amount=Amount(old.value * times, old.unit) if old else None)


def _acid_times(facts: Facts, jar: str) -> Fraction | None:
    """How many times the measure of one jar the pot holds, by the one acid line and what it states for that jar."""
    lines = facts.with_role(Role.ACID)
    if not lines:
        return _jars_of_a_pot(facts, jar)
    if len(lines) != 1:
        return None
    item = lines[0].ingredient
    stated = {size: converted(parse_amount(f"{number} {unit}"), item.unit) for number, unit, size in _each(item.prep)}
    sizes = [size for size in JAR_SIZES if stated.get(size)]
    if not sizes:
        return _fewest_jars(facts, jar)
    found = stated.get(sizes[-1] if jar == "jar" and sizes else jar)
    return item.amount / found if found else None


def _each(prep: str) -> list[tuple[str, str, str]]:
    return re.findall(_EACH, prep)


def _jars_of_a_pot(facts: Facts, jar: str) -> Fraction:
    """The most jars that a pot fills; "each jar" is of the size that the yield is stated in."""
    stated = facts.recipe.stated_yield
    return stated.high * JAR_ML[stated.jar] / JAR_ML[jar if jar in JAR_ML else stated.jar]


def _fewest_jars(facts: Facts, jar: str) -> Fraction:
    """The fewest jars that a pot fills; "each jar" is of the size that the yield is stated in."""
    stated = facts.recipe.stated_yield
    return stated.low * JAR_ML[stated.jar] / JAR_ML[jar if jar in JAR_ML else stated.jar]


def as_spice(facts: Facts, change: Change) -> Change:
    """Ginger, or an herb by the teaspoon, of which nothing else is said: the dried spice, and read back so.

    Ginger without a measure is that only beside fruit high in acid, where the fresh root would do no harm either.
    """
    name = change.other if change.act is Act.SWAP else change.item
    amount = change.other_amount if change.act is Act.SWAP else change.amount
    if change.act not in (Act.ADD, Act.USE, Act.SWAP) or (amount and amount.unit not in ("tsp", "tbsp")):
        return change
    if name == "ginger" and not facts.with_kind({Kind.FRESH_ROOT}) and (amount or facts.is_high_acid_fruit):
        name = f"{GROUND} {name}"
    elif name in _DRIED_BY_THE_TEASPOON and (
        (amount is None and change.word == LITTLE) or (amount and amount.unit == "tsp" and amount.value <= 3)
    ):
        name = name if facts.find(name, widely=False) else f"{DRIED} {name}"
    return replace(change, other=name) if change.act is Act.SWAP else replace(change, item=name)


_DRIED_BY_THE_TEASPOON = frozenset({"oregano", "thyme", "marjoram", "sage", "rosemary", "savory", "basil", "tarragon"})


def is_consumed(facts: Facts, name: str) -> bool:
    """Whether every word of a name is the food, its form or its description, or part of one of the recipe's lines."""
    name = without_percent(name)
    phrase = read_phrase(name)
    if not name or name == "another" or names_role(name) or phrase.is_known or not phrase.unknown and not phrase.foods:
        return True
    words = set(lemmas(name)) - _IGNORED
    return bool(words) and any(words <= line.phrase.words for line in facts.lines)
