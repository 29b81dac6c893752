"""Reading the fields of one recipe entry."""

from __future__ import annotations

import re
from fractions import Fraction

from recipes.engine.document_details import (
    LONGEST_NAME,
    read_alternatives,
    read_amounts,
    read_kept_cold,
    read_loads,
    read_low_temperature,
    read_packing_liquids,
    read_per_jar,
    read_steps,
    read_unit,
)
from recipes.engine.document_fields import Fields
from recipes.engine.document_process import read_row, read_source
from recipes.engine.quantities import JAR_SIZES
from recipes.engine.terms import (
    HardBoil,
    Ingredient,
    Method,
    PotLimits,
    Role,
    Seen,
    StatedYield,
    TestedRecipe,
    Use,
)

PECTINS = ("none", "powdered", "liquid", "")

_SLUG = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")


def read_recipe(fields: Fields) -> TestedRecipe:
    """The recipe, with harmless values where a problem was noted."""
    source = read_source(fields, "source")
    headspace_in = fields.fraction("headspace_in")
    method = fields.choice("method", Method)
    rows = fields.tables("process", required=not method.is_cold)
    is_by_jar = fields.has_new("by_jar") and fields.flag("by_jar")
    return TestedRecipe(
        slug=_slug(fields, "slug", 80),
        title=fields.text("title", most=LONGEST_NAME),
        kind=_slug(fields, "kind", 40),
        method=method,
        produce=fields.texts("produce"),
        pectin=fields.one_of("pectin", PECTINS),
        ingredients=tuple(_ingredient(line) for line in fields.tables("ingredients", required=not is_by_jar)),
        stated_yield=_stated_yield(fields),
        headspace_in=headspace_in,
        process=tuple(read_row(row, source=source, headspace_in=headspace_in) for row in rows),
        steps=read_steps(fields) if fields.raw("steps") or not is_by_jar else (),
        source=source,
        amounts_seen=fields.choice("amounts_seen", Seen),
        process_seen=fields.choice("process_seen", Seen) if fields.has("process_seen") else None,
        pot_limits=_pot_limits(fields),
        hard_boil=_hard_boil(fields),
        endpoint_f_above_boiling=fields.optional_fraction("endpoint_f_above_boiling"),
        cautions=fields.texts("cautions", required=False),
        note=fields.text("note", required=False),
        other_yields=_other_yields(fields),
        loads=read_loads(fields),
        per_jar=read_per_jar(fields),
        alternatives=read_alternatives(fields),
        packing_liquids=read_packing_liquids(fields),
        low_temperature=read_low_temperature(fields),
        kept_cold=read_kept_cold(fields),
        is_by_jar=is_by_jar,
    )


def _slug(fields: Fields, key: str, most: int) -> str:
    text = fields.text(key, most=most)
    if text and not _SLUG.fullmatch(text):
        fields.note(key, "Use small letters, digits and single hyphens only, such as plum-jam.")
    return text


def _ingredient(fields: Fields) -> Ingredient:
    amount, high = read_amounts(fields)
    grams = fields.optional_fraction("grams")
    line = Ingredient(
        item=fields.text("item", most=LONGEST_NAME),
        prep=fields.text("prep", required=False, most=LONGEST_NAME),
        role=fields.choice("role", Role),
        amount=amount,
        unit=read_unit(fields),
        amount_high=high,
        optional=fields.flag("optional"),
        grams=grams,
        grams_source=fields.text("grams_source", required=grams is not None),
        as_bought=fields.text("as_bought", required=False, most=LONGEST_NAME),
        use=fields.choice("use", Use) if fields.has_new("use") else Use.JAR,
    )
    fields.close()
    return line


def _stated_yield(fields: Fields) -> StatedYield:
    table = fields.table("stated_yield")
    if table is None:
        return StatedYield(JAR_SIZES[0], Fraction(1), Fraction(1), Seen.MEMORY)
    if table.has_new("none_printed") and table.flag("none_printed"):
        found = StatedYield(
            table.one_of("jar", JAR_SIZES), Fraction(1), Fraction(1), Seen.MEMORY, table.text("note"), is_printed=False
        )
        table.close()
        return found
    return _yield(table)


def _yield(table: Fields) -> StatedYield:
    found = StatedYield(
        jar=table.one_of("jar", JAR_SIZES),
        low=table.fraction("low"),
        high=table.fraction("high"),
        seen=table.choice("seen", Seen),
        note=table.text("note", required=False),
    )
    if found.high < found.low:
        table.note("high", "The high yield is below the low one.")
    table.close()
    return found


def _other_yields(fields: Fields) -> tuple[StatedYield, ...]:
    return tuple(_yield(table) for table in fields.tables("other_yields")) if fields.has_new("other_yields") else ()


def _pot_limits(fields: Fields) -> PotLimits:
    table = fields.table("pot_limits", required=False)
    if table is None:
        return PotLimits()
    limits = PotLimits(
        smallest=table.optional_fraction("smallest") or Fraction(1),
        largest=table.optional_fraction("largest") or Fraction(1),
        step=table.optional_fraction("step"),
        source=table.text("source"),
    )
    table.close()
    return limits


def _hard_boil(fields: Fields) -> HardBoil | None:
    table = fields.table("hard_boil", required=False)
    if table is None:
        return None
    boil = HardBoil(
        minutes=table.fraction("minutes"),
        last_added_before=table.text("last_added_before", most=LONGEST_NAME),
        pectin_added=table.text("pectin_added", required=False, most=LONGEST_NAME),
    )
    table.close()
    return boil
