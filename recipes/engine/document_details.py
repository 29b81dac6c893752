"""Reading what the second edition adds to a recipe or a process table: steps, loads, jars, choices, packing liquids.

Each part is read by itself; what must hold between them is in `document_rules`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from enum import StrEnum
from fractions import Fraction
from typing import TypeVar

from recipes.engine.document_fields import Fields, shown
from recipes.engine.document_process import LONGEST_MINUTES, read_source
from recipes.engine.quantities import JAR_SIZES, UNITS
from recipes.engine.terms import (
    Alternative,
    JarFact,
    KeptCold,
    LoadLine,
    LowTemperature,
    Method,
    Pack,
    PackingLiquids,
    Range,
    RecipeStep,
    Role,
    Seen,
    Strength,
    TestedSource,
)

# What a step does. Several words for one thing are one here, so that hand work and the cook's page can go by them.
# fmt: off
ACTIONS = (
    # hand work
    "choose", "wash", "sort", "trim", "hull", "pit", "core", "peel", "skin", "husk", "shell", "snap", "prick", "cut",
    "slice", "chop", "shred", "grate", "grind", "crush", "mash", "mince", "sieve", "strain", "squeeze", "press",
    "measure", "weigh", "mix",
    # waiting, wet and cold
    "soak", "brine", "salt", "rinse", "drain", "chill", "freeze", "thaw", "stand", "settle", "skim", "hold", "drip",
    "marinate", "ferment", "dry",
    # heat
    "blanch", "dip", "heat", "boil", "simmer", "steam", "cook", "bake", "roast", "blister", "fry", "reduce", "stir",
    "dissolve", "test",
    # jars
    "prepare-jars", "prepare-lids", "sterilise", "pack", "fill", "add", "cover", "free-bubbles", "wipe", "close",
    "load", "vent", "process", "cool", "check", "label", "store", "serve",
)
# fmt: on

MOST_JARS_A_LOAD = 60
LONGEST_NAME = 200
HOTTEST_F = 600

_PLACEHOLDER = re.compile(r"\{([^{}]*)\}")
_FIGURES = {"minutes": "minutes", "hours": "hours", "temperature": "temperature_f", "size": "size_in"}

Word = TypeVar("Word", bound=StrEnum)


def read_steps(fields: Fields, key: str = "steps") -> tuple[RecipeStep, ...]:
    """Steps as sentences (the first edition) or as tables of figures (the second); both may stand in one list."""
    found = []
    for where, item in fields.entries(key):
        if isinstance(item, Mapping):
            if fields.edition < 2:
                fields.note(where, "A step with figures came with the second edition; in the first it is a sentence.")
            else:
                found.append(_step(fields.below(where, item)))
        else:
            found.append(RecipeStep(fields.clean(where, item)))
    return tuple(found)


def _step(fields: Fields) -> RecipeStep:
    temperature = _range(fields, "temperature_f")
    step = RecipeStep(
        text=fields.text("text"),
        action=fields.one_of("action", ACTIONS),
        minutes=_range(fields, "minutes"),
        hours=_range(fields, "hours"),
        temperature_f=temperature,
        size_in=_range(fields, "size_in"),
        size_of=fields.text("size_of", required=False, most=LONGEST_NAME),
        pack=optional_choice(fields, "pack", Pack),
        method=optional_choice(fields, "method", Method),
        jars=fields.choices("jars", JAR_SIZES),
        seen=optional_choice(fields, "seen", Seen),
        source=read_own_source(fields),
        dispute=fields.text("dispute", required=False),
    )
    _check_step(step, fields)
    fields.close()
    return step


def _check_step(step: RecipeStep, fields: Fields) -> None:
    named = set(_PLACEHOLDER.findall(step.text))
    for name in sorted(named):
        if name not in _FIGURES:
            known = ", ".join(f"{{{each}}}" for each in _FIGURES)
            fields.note("text", f"There is no figure {shown(name)} to stand here; there are {known}.")
        elif not fields.has(_FIGURES[name]):
            fields.note("text", f"{{{name}}} stands for {_FIGURES[name]}, which is missing.")
    if re.search(r"[{}]", _PLACEHOLDER.sub("", step.text)):
        fields.note("text", "A brace without its other half.")
    if step.figures and step.seen is None and not fields.has("seen"):
        fields.note("seen", "A step with a figure says how far it was seen.")
    if step.minutes and step.hours:
        fields.note("hours", "Give minutes or hours, not both.")
    if step.temperature_f and step.temperature_f.high > HOTTEST_F:
        fields.note("temperature_f", f"No step is hotter than {HOTTEST_F} F.")
    if step.action in ("process", "vent") and (step.minutes or step.hours):
        fields.note("minutes", "How long jars are processed and vented stands in the process rows, by altitude.")
    if step.pack is Pack.NOT_STATED:
        fields.note("pack", "A step is for hot or raw; leave the field out where it is for both.")


def read_loads(fields: Fields, key: str = "loads") -> tuple[LoadLine, ...]:
    """What the source prints for a canner load, by jar."""
    return tuple(_load(line) for line in _new_tables(fields, key))


def _load(fields: Fields) -> LoadLine:
    line = LoadLine(
        jar=fields.one_of("jar", JAR_SIZES) or JAR_SIZES[0],
        count=fields.whole("count", MOST_JARS_A_LOAD),
        item=fields.text("item", required=False, most=LONGEST_NAME),
        amount=fields.fraction("amount"),
        unit=read_unit(fields),
        seen=fields.choice("seen", Seen),
        pack=optional_choice(fields, "pack", Pack),
        source=read_own_source(fields),
        dispute=fields.text("dispute", required=False),
        note=fields.text("note", required=False),
    )
    fields.close()
    return line


def read_per_jar(fields: Fields, key: str = "per_jar") -> tuple[JarFact, ...]:
    """What goes into each jar of a size."""
    return tuple(_jar_fact(line) for line in _new_tables(fields, key))


def _jar_fact(fields: Fields) -> JarFact:
    amount, high = read_amounts(fields)
    fact = JarFact(
        item=fields.text("item", most=LONGEST_NAME),
        role=fields.choice("role", Role),
        jar=fields.one_of("jar", JAR_SIZES) or JAR_SIZES[0],
        amount=amount,
        unit=read_unit(fields),
        seen=fields.choice("seen", Seen),
        prep=fields.text("prep", required=False, most=LONGEST_NAME),
        amount_high=high,
        optional=fields.flag("optional"),
        pack=optional_choice(fields, "pack", Pack),
        source=read_own_source(fields),
        dispute=fields.text("dispute", required=False),
        note=fields.text("note", required=False),
    )
    if fact.optional and fact.role is Role.ACID:
        fields.note("optional", "An acid is never left out.")
    fields.close()
    return fact


def read_alternatives(fields: Fields, key: str = "alternatives") -> tuple[Alternative, ...]:
    """What the source lets stand in place of other lines."""
    return tuple(_alternative(line) for line in _new_tables(fields, key))


def _alternative(fields: Fields) -> Alternative:
    amount, high = read_amounts(fields)
    grams = fields.optional_fraction("grams")
    item = fields.text("item", most=LONGEST_NAME)
    alternative = Alternative(
        instead_of=fields.texts("instead_of"),
        choice=fields.text("choice", required=False, most=LONGEST_NAME) or item,
        item=item,
        role=fields.choice("role", Role),
        amount=amount,
        unit=read_unit(fields),
        seen=fields.choice("seen", Seen),
        prep=fields.text("prep", required=False, most=LONGEST_NAME),
        amount_high=high,
        optional=fields.flag("optional"),
        jar=fields.one_of("jar", JAR_SIZES, required=False),
        grams=grams,
        grams_source=fields.text("grams_source", required=grams is not None),
        source=read_own_source(fields),
        dispute=fields.text("dispute", required=False),
        note=fields.text("note", required=False),
    )
    fields.close()
    return alternative


def read_packing_liquids(fields: Fields, key: str = "packing_liquids") -> PackingLiquids | None:
    """What may cover the food, or None where the entry says nothing of it."""
    table = fields.table(key) if fields.has_new(key) else None
    if table is None:
        return None
    liquids = PackingLiquids(
        syrups=tuple(Strength(name) for name in table.choices("syrups", tuple(Strength))),
        others=table.texts("others", required=False),
        seen=table.choice("seen", Seen),
        usual=table.text("usual", required=False, most=LONGEST_NAME),
        instead_of=table.texts("instead_of", required=False),
        source=read_own_source(table),
        dispute=table.text("dispute", required=False),
        note=table.text("note", required=False),
    )
    if not liquids.names:
        table.note("syrups", "Name at least one syrup, or another liquid under others.")
    if liquids.usual and liquids.usual not in liquids.names:
        table.note("usual", f"This must be one of {', '.join(liquids.names)}, not {shown(liquids.usual)}.")
    table.close()
    return liquids


def read_low_temperature(fields: Fields, key: str = "low_temperature") -> LowTemperature | None:
    """Low-temperature pasteurisation, or None where the recipe does not allow it."""
    table = fields.table(key) if fields.has_new(key) else None
    if table is None:
        return None
    held = _range(table, "water_f")
    if held is None and not table.has("water_f"):
        table.note("water_f", "This field is missing.")
    found = LowTemperature(
        low_f=held.low if held else Fraction(180),
        high_f=held.high if held else Fraction(185),
        minutes=table.whole("minutes", LONGEST_MINUTES),
        seen=table.choice("seen", Seen),
        packs=tuple(Pack(name) for name in table.choices("packs", (Pack.HOT, Pack.RAW))),
        jars=table.choices("jars", JAR_SIZES),
        source=read_own_source(table),
        dispute=table.text("dispute", required=False),
    )
    if held and held.low < 180:
        table.note("water_f", "Below 180 F nothing is pasteurised at home.")
    table.close()
    return found


LONGEST_WEEKS, LONGEST_MONTHS = 104, 24


def read_kept_cold(fields: Fields, key: str = "kept_cold") -> KeptCold | None:
    """How long it keeps in the refrigerator, or None where the entry says nothing of it."""
    table = fields.table(key) if fields.has_new(key) else None
    if table is None:
        return None
    weeks, months = _range(table, "weeks"), _range(table, "freezer_months")
    if weeks is None and not table.has("weeks"):
        table.note("weeks", "This field is missing.")
    for name, found, most in (("weeks", weeks, LONGEST_WEEKS), ("freezer_months", months, LONGEST_MONTHS)):
        if found and found.high > most:
            table.note(name, f"At most {most}: nothing keeps longer so.")
    kept = KeptCold(
        weeks=weeks or Range(Fraction(1), Fraction(1)),
        seen=table.choice("seen", Seen),
        freezer_months=months,
        source=read_own_source(table),
        dispute=table.text("dispute", required=False),
    )
    table.close()
    return kept


# Small parts that several of them have.


def _new_tables(fields: Fields, key: str) -> list[Fields]:
    return fields.tables(key) if fields.has_new(key) else []


def read_unit(fields: Fields) -> str:
    if fields.raw("unit") == "fl oz":
        return "fl-oz"
    return fields.one_of("unit", UNITS) or "each"


def read_amounts(fields: Fields) -> tuple[Fraction, Fraction | None]:
    """`amount`, and `amount_high` where the source prints a range."""
    amount, high = fields.fraction("amount"), fields.optional_fraction("amount_high")
    if high is not None and high <= amount:
        fields.note("amount_high", "The high end of a range must be more than the amount.")
    return amount, high


def read_own_source(fields: Fields) -> TestedSource | None:
    """A part's own source; None where the entry's stands for it."""
    if fields.has("source"):
        return read_source(fields, "source")
    fields.raw("source")
    return None


def optional_choice(fields: Fields, key: str, kind: type[Word]) -> Word | None:
    if not fields.has(key):
        fields.raw(key)
        return None
    return fields.choice(key, kind)


def _range(fields: Fields, key: str) -> Range | None:
    span = fields.span(key, zero_ok=key == "hours")
    return None if span is None else Range(*span)


def duplicates(keys: Iterable[object]) -> Iterable[tuple[int, int]]:
    """The index of each key that came before, and of the first of its kind."""
    first: dict[object, int] = {}
    for i, key in enumerate(keys):
        if key in first:
            yield i, first[key]
        first.setdefault(key, i)
