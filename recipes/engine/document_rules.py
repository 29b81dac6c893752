"""What must hold between the fields of a recipe document, beyond each field being well formed."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from recipes.engine.document_fields import Fields
from recipes.engine.quantities import PACKETS
from recipes.engine.rules import FERMENT_KINDS, LOW_ACID_KINDS, RULES, is_borderline
from recipes.engine.terms import Method, PotLimits, ProcessRow, Role, TestedRecipe

ADDED_PECTIN = ("powdered", "liquid")


def check_recipe(recipe: TestedRecipe, fields: Fields) -> None:
    """Note every rule that the recipe breaks. Runs on the recipe as far as it could be read."""
    _check_acid(fields)
    _check_process(recipe, fields)
    _check_pectin(recipe, fields)
    _check_limits(recipe, fields)
    if recipe.stated_yield.high < recipe.stated_yield.low:
        fields.note("stated_yield.high", "The high yield is below the low one.")


def _check_acid(fields: Fields) -> None:
    """LOWACID-METHOD and ACID-ADDED, read from the raw lines so that no other mistake hides them.

    Acid, or a ferment's salt, that may be left out is none.
    """
    lines = [line for line in _tables(fields.raw("ingredients")) if isinstance(line.get("role"), str)]
    roles = {line["role"] for line in lines}
    always = {line["role"] for line in lines if not line.get("optional")}
    fermented = fields.text_or_empty("kind") in FERMENT_KINDS and Role.SALT.value in always
    if fermented or Role.ACID.value in always:
        return
    low_acid = fields.text_or_empty("kind") in LOW_ACID_KINDS or Role.LOW_ACID.value in roles
    borderline = any(is_borderline(str(line.get("item"))) for line in lines if isinstance(line.get("item"), str))
    if not low_acid and not borderline:
        return
    rule = RULES["LOWACID-METHOD" if low_acid else "ACID-ADDED"]
    for where in _boiling_water_places(fields):
        fields.note(where, f"{rule.name}: {rule.statement} This recipe has no acid.")


def _boiling_water_places(fields: Fields) -> list[str]:
    places = ["method"] if fields.raw("method") == Method.BOILING_WATER.value else []
    rows = fields.raw("process")
    for i, row in enumerate(rows if isinstance(rows, (list, tuple)) else ()):
        if isinstance(row, Mapping) and row.get("method") == Method.BOILING_WATER.value:
            places.append(f"process[{i}].method")
    return places


def _tables(value: object) -> list[Mapping[object, object]]:
    return [item for item in value if isinstance(item, Mapping)] if isinstance(value, (list, tuple)) else []


def _check_process(recipe: TestedRecipe, fields: Fields) -> None:
    freezer = recipe.method is Method.FREEZER
    if freezer and (fields.has("process") or fields.has("process_seen")):
        fields.note("process", "A freezer recipe has no process; leave process and process_seen out.")
    if not freezer and not fields.has("process_seen"):
        fields.note("process_seen", "This field is missing.")
    if not freezer and recipe.process and all(row.method is not recipe.method for row in recipe.process):
        fields.note("process", f"No row has the recipe's own method, {recipe.method.value}.")
    check_repeats(recipe.process, fields, "process")


def check_repeats(rows: tuple[ProcessRow, ...], fields: Fields, key: str) -> None:
    """Refuse a second boiling-water row for the same pack and jar, and a pressure row given twice."""
    seen: dict[tuple[object, ...], int] = {}
    for i, row in enumerate(rows):
        mark = (row.method, row.pack, row.jar, row.minutes, row.dial, row.weighted)
        if mark in seen:
            fields.note(f"{key}[{i}]", f"The same method, pack and jar as {key}[{seen[mark]}].")
        seen.setdefault(mark, i)


def _check_pectin(recipe: TestedRecipe, fields: Fields) -> None:
    has_line = any(line.role is Role.PECTIN for line in recipe.ingredients)
    added = recipe.pectin in ADDED_PECTIN
    if added and not has_line:
        fields.note("pectin", f"Pectin is {recipe.pectin}, but no ingredient has the role pectin.")
    if has_line and not added:
        fields.note("pectin", "An ingredient has the role pectin: say whether it is powdered or liquid.")
    if added and recipe.endpoint_f_above_boiling is not None:
        fields.note("endpoint_f_above_boiling", "An end point by thermometer is only for spreads without added pectin.")


def _check_limits(recipe: TestedRecipe, fields: Fields) -> None:
    limits = recipe.pot_limits
    if not limits.smallest <= 1 <= limits.largest:
        fields.note("pot_limits", "One pot as printed must lie between smallest and largest.")
    if limits.step is not None and any((end / limits.step).denominator != 1 for end in _ends(limits)):
        fields.note("pot_limits.step", "Smallest, largest and 1 must each be a whole number of steps.")
    packets = [line for line in recipe.ingredients if line.role is Role.PECTIN and line.unit in PACKETS]
    if packets and any(end != 1 for end in _ends(limits)):
        fields.note("pot_limits", f"PECTIN-WHOLE: {RULES['PECTIN-WHOLE'].statement} Such a pot is made as printed.")


def _ends(limits: PotLimits) -> tuple[Fraction, ...]:
    return limits.smallest, limits.largest, Fraction(1)
