"""Writing a recipe or a process table back to the plain values of the document format.

Reading what was written gives the same recipe. Fields that say nothing are left out, so that a diff stays short.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from recipes.engine.document_process import ABOVE, NOT_RECOMMENDED
from recipes.engine.terms import (
    HardBoil,
    Ingredient,
    PotLimits,
    PressureBand,
    ProcessRow,
    ProcessTable,
    StatedYield,
    TestedRecipe,
    TestedSource,
)

Document = dict[str, object]


def exact_text(value: Fraction) -> str:
    """2, 3/8 or 2 1/4: what the reader turns into the same fraction."""
    whole, rest = divmod(value, 1)
    return str(value) if not rest or not whole else f"{whole} {rest}"


def recipe_to_document(recipe: TestedRecipe) -> Document:
    """The recipe as plain text, numbers, lists and tables, fit for JSON and for `recipe_from_document`."""
    return {
        "slug": recipe.slug,
        "title": recipe.title,
        "kind": recipe.kind,
        "method": recipe.method.value,
        "produce": list(recipe.produce),
        "pectin": recipe.pectin,
        "headspace_in": exact_text(recipe.headspace_in),
        "amounts_seen": recipe.amounts_seen.value,
        **_said(process_seen=recipe.process_seen and recipe.process_seen.value, note=recipe.note),
        "source": _source(recipe.source),
        "ingredients": [_ingredient(line) for line in recipe.ingredients],
        "stated_yield": _stated_yield(recipe.stated_yield),
        **_said(
            hard_boil=recipe.hard_boil and _hard_boil(recipe.hard_boil),
            endpoint_f_above_boiling=_optional(recipe.endpoint_f_above_boiling),
            pot_limits=_pot_limits(recipe.pot_limits),
        ),
        "steps": list(recipe.steps),
        **_said(cautions=list(recipe.cautions)),
        **_said(process=[_row(row, recipe.source, recipe.headspace_in) for row in recipe.process]),
    }


def process_table_to_document(table: ProcessTable) -> Document:
    """The table as plain values, fit for JSON and for `process_table_from_document`."""
    return {
        "food": table.food,
        **_said(variant=table.variant),
        "method": table.method.value,
        "source": _source(table.source),
        "headspace_in": exact_text(table.headspace_in),
        **_said(note=table.note),
        "rows": [_row(row, table.source, table.headspace_in) for row in table.rows],
    }


def _said(**values: object) -> Document:
    """The values that say something."""
    return {key: value for key, value in values.items() if value}


def _optional(value: Fraction | None) -> str | None:
    return None if value is None else exact_text(value)


def _source(source: TestedSource) -> Document:
    return {"title": source.title, **_said(edition=source.edition), "place": source.place}


def _ingredient(line: Ingredient) -> Document:
    return {
        "item": line.item,
        **_said(prep=line.prep),
        "role": line.role.value,
        "amount": exact_text(line.amount),
        **_said(amount_high=_optional(line.amount_high)),
        "unit": line.unit,
        **_said(
            optional=line.optional,
            grams=_optional(line.grams),
            grams_source=line.grams_source,
            as_bought=line.as_bought,
        ),
    }


def _stated_yield(stated: StatedYield) -> Document:
    return {
        "jar": stated.jar,
        "low": exact_text(stated.low),
        "high": exact_text(stated.high),
        "seen": stated.seen.value,
        **_said(note=stated.note),
    }


def _hard_boil(boil: HardBoil) -> Document:
    return {
        "minutes": exact_text(boil.minutes),
        "last_added_before": boil.last_added_before,
        **_said(pectin_added=boil.pectin_added),
    }


def _pot_limits(limits: PotLimits) -> Document | None:
    if limits == PotLimits():
        return None
    return {
        "smallest": exact_text(limits.smallest),
        "largest": exact_text(limits.largest),
        **_said(step=_optional(limits.step)),
        "source": limits.source,
    }


def _row(row: ProcessRow, source: TestedSource, headspace_in: Fraction) -> Document:
    bands = [[ABOVE if band.upper_ft is None else band.upper_ft, band.minutes] for band in row.minutes_bands]
    return {
        "method": row.method.value,
        "pack": row.pack.value,
        "jar": row.jar,
        "minutes": bands or row.minutes,
        **_said(dial_psi=_pressures(row.dial), weighted_psi=_pressures(row.weighted)),
        "seen": row.seen.value,
        **_said(
            headspace_in=exact_text(row.headspace_in) if row.headspace_in != headspace_in else "",
            source=_source(row.source) if row.source != source else None,
            note=row.note,
        ),
    }


def _pressures(bands: Iterable[PressureBand]) -> list[list[object]]:
    return [
        [ABOVE if band.upper_ft is None else band.upper_ft, NOT_RECOMMENDED if band.psi is None else band.psi]
        for band in bands
    ]
