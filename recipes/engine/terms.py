"""The words of the trade as values: what every engine module takes and returns.

Units are in the names. Amounts are exact (`Fraction`). Nothing here computes.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from typing import NamedTuple

from recipes.engine.messages import Text
from recipes.engine.rules import RULES
from recipes.engine.rules import Rule as Rule  # among the terms of the trade for whoever names a rule


class Role(StrEnum):
    """What an ingredient does in the jar; what may be changed about it hangs on this."""

    FRUIT = "fruit"
    LOW_ACID = "low-acid vegetable"
    SUGAR = "sugar"
    ACID = "acid"
    PECTIN = "pectin"
    SALT = "salt"
    SPICE = "spice"
    FAT = "fat"
    LIQUID = "liquid"
    THICKENER = "thickener"


class Method(StrEnum):
    """How the filled jar is made safe to keep."""

    BOILING_WATER = "boiling-water"
    PRESSURE = "pressure"
    FREEZER = "freezer"  # kept cold, never on a shelf: no process at all
    REFRIGERATOR = "refrigerator"  # the same, for the weeks that the source gives it

    @property
    def is_cold(self) -> bool:
        """Whether it is kept cold, without any process."""
        return self in (Method.FREEZER, Method.REFRIGERATOR)


class Pack(StrEnum):
    HOT = "hot"
    RAW = "raw"
    NOT_STATED = "not-stated"  # the source prints one process and names no pack (smoked fish, oysters)


class Canner(StrEnum):
    """The canner at hand; the two pressure kinds read their pressure differently."""

    BOILING_WATER = "boiling-water"
    DIAL_GAUGE = "dial-gauge"
    WEIGHTED_GAUGE = "weighted-gauge"
    STEAM = "steam"  # of boiling water's heat and times, at no pressure (rule STEAM-LONGEST)


class Seen(StrEnum):
    """How far a figure was checked against print. Only the `seen` kinds count as tested."""

    TWICE = "seen-twice"
    ONCE = "seen-once"
    PARTLY_MEMORY = "partly-memory"
    MEMORY = "memory"
    DISPUTED = "disputed"
    SUSPECT = "suspect"

    @property
    def is_seen(self) -> bool:
        return self in (Seen.TWICE, Seen.ONCE)


@dataclass(frozen=True)
class TestedSource:
    """The publication that tested the recipe or the process."""

    title: str
    edition: str  # edition or year, as printed
    place: str  # page, table, guide or address


@dataclass(frozen=True)
class Reason:
    """What speaks against something, or is to be minded: a key of the catalogue of messages and its parameters.

    A room that words it itself gives its `own_words`, and the source of a rule of its own.
    """

    key: str  # up to its first dot it is the code
    rule: str
    params: Mapping[str, object] = field(default_factory=dict)
    own_words: str = ""
    own_source: str = ""

    @property
    def code(self) -> str:
        return self.key.partition(".")[0]

    @property
    def text(self) -> Text | None:
        return None if self.own_words else Text(self.key, self.params)

    @property
    def message(self) -> str:
        """In English, or in the words of the room. Raises `KeyError` for a key without a text."""
        return self.own_words or str(self.text)

    @property
    def source(self) -> str:
        """Raises `KeyError` for a rule that is none of the engine's and has no source of its own."""
        return self.own_source or RULES[self.rule].source


class Caution(Reason):
    """Something to mind that does not stop the work."""


class Refusal(Reason):
    """Why something is not to be done, and what to do instead. A value, never an exception."""

    def as_caution(self) -> Caution:
        """The same where the work may go on without it."""
        return Caution(self.key, self.rule, self.params, self.own_words, self.own_source)


FOOT_M = Fraction("0.3048")


@dataclass(frozen=True)
class Altitude:
    """Height above sea level, exact. Bands are published in feet and compared in feet."""

    metres: Fraction

    @property
    def feet(self) -> Fraction:
        return self.metres / FOOT_M

    @classmethod
    def from_feet(cls, feet: Fraction | int) -> Altitude:
        return cls(Fraction(feet) * FOOT_M)


@dataclass(frozen=True)
class JarCount:
    """So many jars of one size, a key of `JAR_ML`."""

    size: str
    count: int


class Use(StrEnum):
    """What an ingredient of a recipe is for."""

    JAR = "jar"  # it goes into the jars
    SOAK = "soak"  # it is poured off again: no part of what is in the jars


@dataclass(frozen=True)
class Ingredient:
    """One line of a recipe, for one pot, as the test has it."""

    item: str
    prep: str
    role: Role
    amount: Fraction
    unit: str
    amount_high: Fraction | None = None  # where the source prints a range
    optional: bool = False
    grams: Fraction | None = None  # weight of `amount`, where the source or a named table gives one
    grams_source: str = ""
    as_bought: str = ""  # "about 3 lb" beside a measured cup; for the shopping list only
    use: Use = Use.JAR


class MinutesBand(NamedTuple):
    """Minutes up to and including `upper_ft`; None means every altitude above the band before."""

    upper_ft: int | None
    minutes: int


class PressureBand(NamedTuple):
    """Pounds per square inch up to and including `upper_ft`; psi None means "not recommended"."""

    upper_ft: int | None
    psi: int | None


@dataclass(frozen=True)
class ProcessRow:
    """One tested process: one method, pack and jar size.

    Boiling water: `minutes_bands` is filled. Pressure: `minutes` holds at every altitude and
    `dial` or `weighted` (or both) give the pressure.
    """

    method: Method
    pack: Pack
    jar: str
    seen: Seen
    source: TestedSource
    headspace_in: Fraction
    minutes_bands: tuple[MinutesBand, ...] = ()
    minutes: int | None = None
    dial: tuple[PressureBand, ...] = ()
    weighted: tuple[PressureBand, ...] = ()
    note: str = ""
    only_for: tuple[str, ...] = ()  # foods of the recipe or table that the row is for; none: for all of them
    not_for: tuple[str, ...] = ()
    condition: str = ""  # what else the source makes this row hang on
    dispute: str = ""  # what another publication prints; this row is the safer one


@dataclass(frozen=True)
class StatedYield:
    """What the source says one pot fills. Where it prints none, `is_printed` is false and the figures mean nothing."""

    jar: str
    low: Fraction
    high: Fraction
    seen: Seen
    note: str = ""
    is_printed: bool = True


class HardBoil(NamedTuple):
    """The full rolling boil of a spread with added pectin."""

    minutes: Fraction
    last_added_before: str
    pectin_added: str


@dataclass(frozen=True)
class PotLimits:
    """How far one pot may be scaled. `step` None means any scale between the two."""

    smallest: Fraction = Fraction(1)
    largest: Fraction = Fraction(1)
    step: Fraction | None = None
    source: str = "common practice, no source"


# The second edition of the library's format: steps, loads, jars, choices and packing liquids as data.


class Range(NamedTuple):
    """A figure as printed; one figure has two equal ends."""

    low: Fraction
    high: Fraction


_PRINTED = {
    "minutes": ("minute", "minutes"),
    "hours": ("hour", "hours"),
    "temperature": ("F", "F"),
    "size": ("inch", "inches"),
}


def figure_text(figure: Range, name: str) -> str:
    """ "5 minutes", "12 to 18 hours", "1/2 inch"."""
    low, high = ((f"{end // 1} {end % 1}" if end > 1 and end % 1 else str(end)) for end in figure)
    one, many = _PRINTED[name]
    return f"{low if low == high else f'{low} to {high}'} {one if figure.high <= 1 else many}"


@dataclass(frozen=True)
class RecipeStep:
    """One step in our own words, and its figures as printed.

    `{minutes}`, `{hours}`, `{temperature}` and `{size}` in `text` stand for the figures. Temperatures are in degrees
    Fahrenheit, sizes in inches. `pack`, `method` and `jars` say whom the step is for: None or nothing for everybody.
    A step of the first edition is its text alone.
    """

    text: str
    action: str = ""  # one of `document_details.ACTIONS`, or "" in the first edition
    minutes: Range | None = None
    hours: Range | None = None
    temperature_f: Range | None = None
    size_in: Range | None = None
    size_of: str = ""  # "cubes", "whole, in diameter"
    pack: Pack | None = None
    method: Method | None = None
    jars: tuple[str, ...] = ()
    seen: Seen | None = None  # of the figures; None where there are none
    source: TestedSource | None = None  # None: the recipe's own
    dispute: str = ""

    @property
    def figures(self) -> dict[str, Range]:
        """The figures by the names that stand for them in the text."""
        named = {"minutes": self.minutes, "hours": self.hours, "temperature": self.temperature_f, "size": self.size_in}
        return {name: figure for name, figure in named.items() if figure is not None}

    def is_for(self, *, pack: Pack | None, method: Method | None, jars: Collection[str]) -> bool:
        """Whether a plan of this pack, method and these jars has the step; None stands for what is not known."""
        return (
            (self.pack is None or pack in (None, self.pack))
            and (self.method is None or method in (None, self.method))
            and (not self.jars or not jars or any(jar in self.jars for jar in jars))
        )

    @property
    def is_read(self) -> bool:
        """Whether its figures, if it has any, were seen in print; others are shown to nobody."""
        return self.seen is None or self.seen.is_seen

    def __str__(self) -> str:
        """The sentence with its figures as printed; pages put them into the reader's units."""
        if self.is_read:
            return self.in_words({name: figure_text(figure, name) for name, figure in self.figures.items()})
        unread = str(Text("part.see-source"))
        return self.in_words({name: unread for name in self.figures if f"{{{name}}}" in self.text})

    def in_words(self, figures: Mapping[str, str]) -> str:
        """The sentence with these figures: in their places, and those without one behind it."""
        said, rest = self.text, []
        for name, words in figures.items():
            if f"{{{name}}}" in said:
                said = said.replace(f"{{{name}}}", words)
            else:
                rest.append(words)
        return f"{said} ({', '.join(rest)})" if rest else said


@dataclass(frozen=True)
class LoadLine:
    """What the source prints of one ingredient for a canner load of `count` jars."""

    jar: str
    count: int
    item: str  # of an ingredient; of a process table: the food where it is empty
    amount: Fraction
    unit: str
    seen: Seen
    pack: Pack | None = None
    source: TestedSource | None = None
    dispute: str = ""
    note: str = ""


@dataclass(frozen=True)
class JarFact:
    """What goes into each jar of one size."""

    item: str
    role: Role
    jar: str
    amount: Fraction
    unit: str
    seen: Seen
    prep: str = ""
    amount_high: Fraction | None = None
    optional: bool = False
    pack: Pack | None = None
    source: TestedSource | None = None
    dispute: str = ""
    note: str = ""
    is_mixed: bool = False  # measured for all jars together, as a syrup is; never so in a document


@dataclass(frozen=True)
class Alternative:
    """One line of a choice that the source prints in place of other lines: for one pot, or for each jar of a size."""

    instead_of: tuple[str, ...]  # items of ingredients or of facts for each jar
    choice: str  # its name; lines of one name go together
    item: str
    role: Role
    amount: Fraction
    unit: str
    seen: Seen
    prep: str = ""
    amount_high: Fraction | None = None
    optional: bool = False
    jar: str = ""  # "" for one pot
    grams: Fraction | None = None
    grams_source: str = ""
    source: TestedSource | None = None
    dispute: str = ""
    note: str = ""


class Strength(StrEnum):
    """The five syrups of the guide, by the sugar in them."""

    VERY_LIGHT = "very-light"
    LIGHT = "light"
    MEDIUM = "medium"
    HEAVY = "heavy"
    VERY_HEAVY = "very-heavy"


@dataclass(frozen=True)
class PackingLiquids:
    """What the source allows to cover the food with: syrups by strength, and others by name ("water")."""

    syrups: tuple[Strength, ...]
    others: tuple[str, ...]
    seen: Seen
    usual: str = ""  # one of them; "" where the source prefers none
    instead_of: tuple[str, ...] = ()  # items of the recipe's own syrup; none: the lines whose preparation names one
    source: TestedSource | None = None
    dispute: str = ""
    note: str = ""

    @property
    def names(self) -> tuple[str, ...]:
        return (*(strength.value for strength in self.syrups), *self.others)


@dataclass(frozen=True)
class LowTemperature:
    """Low-temperature pasteurisation, where the recipe itself allows it: minutes at a water temperature held."""

    low_f: Fraction
    high_f: Fraction
    minutes: int
    seen: Seen
    packs: tuple[Pack, ...] = ()
    jars: tuple[str, ...] = ()
    source: TestedSource | None = None
    dispute: str = ""


@dataclass(frozen=True)
class KeptCold:
    """How long what is kept in the refrigerator lasts there, and in the freezer where the source lets it be frozen."""

    weeks: Range
    seen: Seen
    freezer_months: Range | None = None
    source: TestedSource | None = None
    dispute: str = ""


# Kinds of spread that are cooked until they jell: of them alone a jelly point says anything.
JELLIED_KINDS = frozenset({"jam", "jelly", "marmalade", "preserve", "conserve"})


@dataclass(frozen=True)
class TestedRecipe:
    """A whole recipe as tested, for one pot."""

    slug: str
    title: str
    kind: str
    method: Method
    produce: tuple[str, ...]
    pectin: str  # "none", "powdered", "liquid" or "" where pectin has no part
    ingredients: tuple[Ingredient, ...]
    stated_yield: StatedYield
    headspace_in: Fraction
    process: tuple[ProcessRow, ...]
    steps: tuple[RecipeStep, ...]
    source: TestedSource
    amounts_seen: Seen
    process_seen: Seen | None  # None: a freezer or refrigerator recipe
    pot_limits: PotLimits = field(default_factory=PotLimits)
    hard_boil: HardBoil | None = None
    endpoint_f_above_boiling: Fraction | None = None
    cautions: tuple[str, ...] = ()
    note: str = ""
    other_yields: tuple[StatedYield, ...] = ()  # what the source prints for the same pot in other jars
    loads: tuple[LoadLine, ...] = ()
    per_jar: tuple[JarFact, ...] = ()
    alternatives: tuple[Alternative, ...] = ()
    packing_liquids: PackingLiquids | None = None
    low_temperature: LowTemperature | None = None
    kept_cold: KeptCold | None = None  # of the method refrigerator alone
    is_by_jar: bool = False  # made of a process table alone: no pot is known, only jars

    @property
    def is_jellied(self) -> bool:
        return self.kind in JELLIED_KINDS and self.method is not Method.REFRIGERATOR  # that is set by gelatin

    @property
    def is_tested(self) -> bool:
        """Whether amounts, process and the acid of each jar were seen in print; less is never shown as tested."""
        if self.method.is_cold:
            process_ok = self.kept_cold is None or self.kept_cold.seen.is_seen
        else:
            process_ok = self.process_seen is not None and self.process_seen.is_seen
        acid_ok = all(fact.seen.is_seen for fact in self.per_jar if fact.role is Role.ACID)
        return self.amounts_seen.is_seen and process_ok and acid_ok


@dataclass(frozen=True)
class ProcessTable:
    """A published process for a food, without a whole recipe: every row has the table's method."""

    food: str
    variant: str
    method: Method
    headspace_in: Fraction
    rows: tuple[ProcessRow, ...]
    source: TestedSource
    note: str = ""
    produce: tuple[str, ...] = ()
    loads: tuple[LoadLine, ...] = ()
    per_jar: tuple[JarFact, ...] = ()
    alternatives: tuple[Alternative, ...] = ()
    packing_liquids: PackingLiquids | None = None
    steps: tuple[RecipeStep, ...] = ()
    cautions: tuple[str, ...] = ()
