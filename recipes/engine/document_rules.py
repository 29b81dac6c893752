"""What must hold between the fields of a recipe document, beyond each field being well formed."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from recipes.engine.alternatives import same_item
from recipes.engine.document_details import duplicates
from recipes.engine.document_fields import Fields
from recipes.engine.quantities import JAR_ML, PACKETS, UNITS
from recipes.engine.rules import FERMENT_KINDS, LOW_ACID_KINDS, RULES, is_borderline
from recipes.engine.terms import (
    Alternative,
    Ingredient,
    JarFact,
    Method,
    PotLimits,
    ProcessRow,
    ProcessTable,
    Role,
    TestedRecipe,
    Use,
)

ADDED_PECTIN = ("powdered", "liquid")


def check_recipe(recipe: TestedRecipe, fields: Fields) -> None:
    """Note every rule that the recipe breaks. Runs on the recipe as far as it could be read."""
    _check_acid(fields)
    _check_process(recipe, fields)
    _check_pectin(recipe, fields)
    _check_limits(recipe, fields)
    check_details(recipe, fields)
    _check_yields(recipe, fields)
    _check_loads(recipe, fields)


def _check_acid(fields: Fields) -> None:
    """LOWACID-METHOD and ACID-ADDED, read from the raw lines so that no other mistake hides them.

    Acid, or a ferment's salt, that may be left out is none.
    """
    ingredients = [line for line in _tables(fields.raw("ingredients")) if line.get("use") != Use.SOAK.value]
    lines = [line for line in ingredients if isinstance(line.get("role"), str)]
    roles = {line["role"] for line in lines}
    always = {line["role"] for line in lines if not line.get("optional")}
    if fields.text_or_empty("kind") in LOW_ACID_KINDS and Role.ACID.value in always:
        for where in _boiling_water_places(fields):
            fields.note(where, "Vegetables, meat and soups go into a pressure canner; what acid keeps is a pickle.")
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
    cold = recipe.method.is_cold
    if cold and (fields.has("process") or fields.has("process_seen") or recipe.low_temperature):
        fields.note("process", f"A {recipe.method.value} recipe has no process; leave process and process_seen out.")
    if (recipe.method is Method.REFRIGERATOR) != (recipe.kept_cold is not None):
        fields.note("kept_cold", "How many weeks it keeps, for a recipe of the method refrigerator and for no other.")
    if not cold and not fields.has("process_seen"):
        fields.note("process_seen", "This field is missing.")
    _check_pressure(recipe, fields)
    if not cold and recipe.process and all(row.method is not recipe.method for row in recipe.process):
        fields.note("process", f"No row has the recipe's own method, {recipe.method.value}.")
    check_repeats(recipe.process, fields, "process")


LEAST_DIAL_PSI, LEAST_WEIGHTED_PSI = 11, 10


def _check_pressure(recipe: TestedRecipe, fields: Fields) -> None:
    """LOWACID-PSI: no row of low-acid food below the pressure at which it reaches 240 degrees F.

    Not of vegetables in an acidified food, such as a juice of tomatoes, whose published rows begin at 6 pounds.
    """
    roles = {line.role for line in recipe.ingredients}
    if recipe.kind not in LOW_ACID_KINDS and (Role.LOW_ACID not in roles or Role.ACID in roles):
        return
    rule = RULES["LOWACID-PSI"]
    for i, row in enumerate(recipe.process):
        gauges = (("dial_psi", row.dial, LEAST_DIAL_PSI), ("weighted_psi", row.weighted, LEAST_WEIGHTED_PSI))
        for key, bands, least in gauges:
            if any(band.psi is not None and band.psi < least for band in bands):
                fields.note(f"process[{i}].{key}", f"{rule.name}: {rule.statement}")


def check_repeats(rows: tuple[ProcessRow, ...], fields: Fields, key: str) -> None:
    """Refuse a second boiling-water row for the same pack, jar and foods, and a pressure row given twice."""
    marks = (
        (row.method, row.pack, row.jar, row.minutes, row.dial, row.weighted, row.only_for, row.not_for) for row in rows
    )
    for i, first in duplicates(marks):
        fields.note(f"{key}[{i}]", f"The same method, pack and jar as {key}[{first}].")


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


# The largest of the published process tables: large lima beans in quarts, raw (USDA Complete Guide, Guide 4).
MOST_HEADSPACE_IN = Fraction(3, 2)
_TOO_MUCH_SPACE = "No published jar leaves more than 1 1/2 inches of headspace."


# What the second edition adds, beside each other.


def _check_headspace(
    entry: TestedRecipe | ProcessTable, rows: tuple[ProcessRow, ...], key: str, fields: Fields
) -> None:
    if entry.headspace_in > MOST_HEADSPACE_IN:
        fields.note("headspace_in", _TOO_MUCH_SPACE)
    for i, row in enumerate(rows):
        if row.headspace_in > MOST_HEADSPACE_IN and row.headspace_in != entry.headspace_in:
            fields.note(f"{key}[{i}].headspace_in", _TOO_MUCH_SPACE)


def check_details(entry: TestedRecipe | ProcessTable, fields: Fields) -> None:
    """What must hold between the rows, loads, jars and choices of a recipe or a table."""
    rows = entry.process if isinstance(entry, TestedRecipe) else entry.rows
    key = "process" if isinstance(entry, TestedRecipe) else "rows"
    _check_foods(entry, rows, key, fields)
    _check_headspace(entry, rows, key, fields)
    for i, first in duplicates((line.jar, line.pack, same_item(line.item)) for line in entry.loads):
        fields.note(f"loads[{i}]", f"The same jar, pack and item as loads[{first}].")
    for i, line in enumerate(entry.loads):
        same = next(other for other in entry.loads if (other.jar, other.pack) == (line.jar, line.pack))
        if line.count != same.count:
            fields.note(f"loads[{i}].count", f"A load of {same.jar} jars is {same.count} further up.")
    for i, first in duplicates((fact.jar, fact.pack, same_item(fact.item)) for fact in entry.per_jar):
        fields.note(f"per_jar[{i}]", f"The same jar, pack and item as per_jar[{first}].")
    _check_jar_acid(entry.per_jar, fields)
    if entry.packing_liquids is not None and isinstance(entry, TestedRecipe):
        items = {same_item(line.item) for line in entry.ingredients}
        for i, name in enumerate(entry.packing_liquids.instead_of):
            if same_item(name) not in items:
                fields.note(f"packing_liquids.instead_of[{i}]", f'No ingredient here is "{name}".')
    _check_alternatives(entry, fields)


def _check_foods(entry: TestedRecipe | ProcessTable, rows: tuple[ProcessRow, ...], key: str, fields: Fields) -> None:
    """A row's `only_for` and `not_for` name foods of `produce`, so that a plan can ask which one is meant."""
    foods = {same_item(name) for name in entry.produce}
    for i, row in enumerate(rows):
        for part, names in (("only_for", row.only_for), ("not_for", row.not_for)):
            for j, name in enumerate(names):
                if same_item(name) not in foods:
                    fields.note(f"{key}[{i}].{part}[{j}]", f'"{name}" is not among the produce of this entry.')


def _check_jar_acid(facts: tuple[JarFact, ...], fields: Fields) -> None:
    """A larger jar never takes less acid than a smaller one."""
    for i, fact in enumerate(facts):
        for other in facts:
            if (
                fact.role is Role.ACID
                and same_item(fact.item) == same_item(other.item)
                and fact.pack is other.pack
                and JAR_ML[other.jar] < JAR_ML[fact.jar]
                and UNITS[fact.unit].kind == UNITS[other.unit].kind
                and fact.amount * UNITS[fact.unit].size < other.amount * UNITS[other.unit].size
            ):
                fields.note(f"per_jar[{i}].amount", f"A {fact.jar} cannot need less acid than a {other.jar}.")


def _check_alternatives(entry: TestedRecipe | ProcessTable, fields: Fields) -> None:
    """Each stands in place of lines that there are; only acid stands in place of acid, and never as an option."""
    roles: dict[str, set[Role]] = {}
    lines: list[Ingredient | JarFact] = [*entry.per_jar]
    lines += entry.ingredients if isinstance(entry, TestedRecipe) else ()
    for line in lines:
        roles.setdefault(same_item(line.item), set()).add(line.role)
    for i, other in enumerate(entry.alternatives):
        replaced: set[Role] = set()
        for j, name in enumerate(other.instead_of):
            if same_item(name) not in roles:
                fields.note(f"alternatives[{i}].instead_of[{j}]", f'No line here has the item "{name}".')
            replaced |= roles.get(same_item(name), set())
        group = {each.role for each in entry.alternatives if _choice(each) == _choice(other)}
        if Role.ACID in replaced and Role.ACID not in group:
            fields.note(f"alternatives[{i}].role", "Only an acid stands in place of an acid.")
        if other.role is Role.ACID and other.optional:
            fields.note(f"alternatives[{i}].optional", "An acid is never left out.")
        if other.role is Role.LOW_ACID and replaced and Role.LOW_ACID not in replaced:
            fields.note(f"alternatives[{i}].role", "A low-acid vegetable stands in place of another only.")
    keys = ((_choice(each), same_item(each.item), each.jar) for each in entry.alternatives)
    for i, first in duplicates(keys):
        fields.note(f"alternatives[{i}]", f"The same choice, item and jar as alternatives[{first}].")


def _choice(alternative: Alternative) -> tuple[frozenset[str], str]:
    return frozenset(map(same_item, alternative.instead_of)), same_item(alternative.choice)


def _check_yields(recipe: TestedRecipe, fields: Fields) -> None:
    for i, first in duplicates(each.jar for each in (recipe.stated_yield, *recipe.other_yields)):
        of = "stated_yield" if first == 0 else f"other_yields[{first - 1}]"
        fields.note(f"other_yields[{i - 1}].jar", f"The same jar as {of}.")
    if recipe.other_yields and not recipe.stated_yield.is_printed:
        fields.note("stated_yield.none_printed", "A yield is printed: put the first of other_yields here.")


def _check_loads(recipe: TestedRecipe, fields: Fields) -> None:
    """A load is of the recipe's own lines, and agrees with the pot where both are printed for the same jars."""
    if recipe.is_by_jar:
        if recipe.ingredients or recipe.stated_yield.is_printed:
            fields.note("by_jar", "What is planned by the jar alone has no ingredients and no yield.")
        return
    for i, load in enumerate(recipe.loads):
        lines = [
            line for line in recipe.ingredients if same_item(line.item) == same_item(load.item) and line.use is Use.JAR
        ]
        if not lines:
            fields.note(f"loads[{i}].item", "Name the ingredient that the load is of, as its line does.")
            continue
        stated = recipe.stated_yield
        is_the_pot = load.jar == stated.jar and load.count == stated.low == stated.high and stated.is_printed
        if is_the_pot and len(lines) == 1 and lines[0].unit == load.unit and lines[0].amount != load.amount:
            fields.note(f"loads[{i}].amount", f"The ingredients say {lines[0].amount} {load.unit} for the same jars.")
    for i, fact in enumerate(recipe.per_jar):
        if fact.role is Role.ACID:
            _check_acid_of_pot(recipe, i, fact, fields)


def _check_acid_of_pot(recipe: TestedRecipe, i: int, fact: JarFact, fields: Fields) -> None:
    """The acid of each jar is among the ingredients too, and no less in the jars than in the pot."""
    lines = [
        line for line in recipe.ingredients if line.role is Role.ACID and same_item(line.item) == same_item(fact.item)
    ]
    if not lines:
        fields.note(f"per_jar[{i}].item", "The acid of each jar stands among the ingredients too, for one pot.")
        return
    units = {UNITS[unit].kind for unit in (fact.unit, *(line.unit for line in lines))}
    if len(units) > 1 or not recipe.stated_yield.is_printed:
        return
    stated = recipe.stated_yield
    of_pot = sum((line.amount * UNITS[line.unit].size for line in lines), Fraction(0)) / (
        stated.high * JAR_ML[stated.jar]
    )
    if fact.amount * UNITS[fact.unit].size / JAR_ML[fact.jar] < of_pot:
        fields.note(f"per_jar[{i}].amount", "This is less acid in the jars than the ingredients have for one pot.")
