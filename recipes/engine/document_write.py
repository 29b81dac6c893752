"""Writing a recipe or a process table back to the plain values of the document format.

Reading what was written gives the same recipe. Fields that say nothing are left out, so that a diff stays short.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from recipes.engine.document_process import ABOVE, NOT_RECOMMENDED
from recipes.engine.terms import (
    Alternative,
    HardBoil,
    Ingredient,
    JarFact,
    KeptCold,
    LoadLine,
    LowTemperature,
    PackingLiquids,
    PotLimits,
    PressureBand,
    ProcessRow,
    ProcessTable,
    Range,
    RecipeStep,
    StatedYield,
    TestedRecipe,
    TestedSource,
    Use,
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
        "steps": [_step(step) for step in recipe.steps],
        **_said(cautions=list(recipe.cautions)),
        **_said(process=[_row(row, recipe.source, recipe.headspace_in) for row in recipe.process]),
        **_said(
            other_yields=[_stated_yield(each) for each in recipe.other_yields],
            kept_cold=recipe.kept_cold and _kept_cold(recipe.kept_cold),
            low_temperature=recipe.low_temperature and _low_temperature(recipe.low_temperature),
            by_jar=recipe.is_by_jar,
        ),
        **_details(recipe),
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
        **_said(
            produce=list(table.produce),
            steps=[_step(step) for step in table.steps],
            cautions=list(table.cautions),
        ),
        **_details(table),
    }


def _details(entry: TestedRecipe | ProcessTable) -> Document:
    """What recipes and tables have alike since the second edition."""
    return _said(
        loads=[_load(line) for line in entry.loads],
        per_jar=[_jar_fact(fact) for fact in entry.per_jar],
        alternatives=[_alternative(each) for each in entry.alternatives],
        packing_liquids=entry.packing_liquids and _packing_liquids(entry.packing_liquids),
    )


def _step(step: RecipeStep) -> Document | str:
    """A step of the first edition is its sentence, so that what was published before is written as it was."""
    if step == RecipeStep(step.text):
        return step.text
    return {
        **_said(action=step.action),
        "text": step.text,
        **_said(
            minutes=_range(step.minutes),
            hours=_range(step.hours),
            temperature_f=_range(step.temperature_f),
            size_in=_range(step.size_in),
            size_of=step.size_of,
            pack=step.pack and step.pack.value,
            method=step.method and step.method.value,
            jars=list(step.jars),
            seen=step.seen and step.seen.value,
            source=_own_source(step.source),
            dispute=step.dispute,
        ),
    }


def _range(figure: Range | None) -> str | list[str] | None:
    if figure is None:
        return None
    low, high = map(exact_text, figure)
    return low if low == high else [low, high]


def _load(line: LoadLine) -> Document:
    return {
        "jar": line.jar,
        "count": line.count,
        **_said(item=line.item),
        "amount": exact_text(line.amount),
        "unit": line.unit,
        "seen": line.seen.value,
        **_said(
            pack=line.pack and line.pack.value,
            source=_own_source(line.source),
            dispute=line.dispute,
            note=line.note,
        ),
    }


def _jar_fact(fact: JarFact) -> Document:
    return {
        "item": fact.item,
        **_said(prep=fact.prep),
        "role": fact.role.value,
        "jar": fact.jar,
        "amount": exact_text(fact.amount),
        **_said(amount_high=_optional(fact.amount_high)),
        "unit": fact.unit,
        "seen": fact.seen.value,
        **_said(
            optional=fact.optional,
            pack=fact.pack and fact.pack.value,
            source=_own_source(fact.source),
            dispute=fact.dispute,
            note=fact.note,
        ),
    }


def _alternative(other: Alternative) -> Document:
    return {
        "instead_of": list(other.instead_of),
        **_said(choice=other.choice if other.choice != other.item else ""),
        "item": other.item,
        **_said(prep=other.prep),
        "role": other.role.value,
        **_said(jar=other.jar),
        "amount": exact_text(other.amount),
        **_said(amount_high=_optional(other.amount_high)),
        "unit": other.unit,
        "seen": other.seen.value,
        **_said(
            optional=other.optional,
            grams=_optional(other.grams),
            grams_source=other.grams_source,
            source=_own_source(other.source),
            dispute=other.dispute,
            note=other.note,
        ),
    }


def _packing_liquids(liquids: PackingLiquids) -> Document:
    return {
        **_said(syrups=[strength.value for strength in liquids.syrups], others=list(liquids.others)),
        **_said(usual=liquids.usual, instead_of=list(liquids.instead_of)),
        "seen": liquids.seen.value,
        **_said(source=_own_source(liquids.source), dispute=liquids.dispute, note=liquids.note),
    }


def _kept_cold(kept: KeptCold) -> Document:
    return {
        "weeks": _range(kept.weeks),
        "seen": kept.seen.value,
        **_said(
            freezer_months=kept.freezer_months and _range(kept.freezer_months),
            source=_own_source(kept.source),
            dispute=kept.dispute,
        ),
    }


def _low_temperature(low: LowTemperature) -> Document:
    return {
        "water_f": _range(Range(low.low_f, low.high_f)),
        "minutes": low.minutes,
        "seen": low.seen.value,
        **_said(
            packs=[pack.value for pack in low.packs],
            jars=list(low.jars),
            source=_own_source(low.source),
            dispute=low.dispute,
        ),
    }


def _own_source(source: TestedSource | None) -> Document | None:
    return None if source is None else _source(source)


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
            use=line.use.value if line.use is not Use.JAR else "",
        ),
    }


def _stated_yield(stated: StatedYield) -> Document:
    if not stated.is_printed:
        return {"jar": stated.jar, "none_printed": True, "note": stated.note}
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
            only_for=list(row.only_for),
            not_for=list(row.not_for),
            condition=row.condition,
            dispute=row.dispute,
        ),
    }


def _pressures(bands: Iterable[PressureBand]) -> list[list[object]]:
    return [
        [ABOVE if band.upper_ft is None else band.upper_ft, NOT_RECOMMENDED if band.psi is None else band.psi]
        for band in bands
    ]
