"""The library's document format: from a table of plain values to a tested recipe, and back.

A document is what `tomllib` or `json` gives for one `[[recipe]]` or `[[process_table]]` entry. Reading is
strict and finds every problem in one pass: unknown fields, wrong types, unknown words, bands out of order,
and rules such as LOWACID-METHOD. Numbers that must stay exact are text, such as "2 1/4".
The only error that reading raises is `DocumentError`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import TypeVar, cast

from recipes.engine.document_details import (
    read_alternatives,
    read_loads,
    read_packing_liquids,
    read_per_jar,
    read_steps,
)
from recipes.engine.document_fields import FORMATS, NEWEST_EDITION, Fields, Problem, one_of, shown
from recipes.engine.document_process import read_row, read_source
from recipes.engine.document_recipe import read_recipe
from recipes.engine.document_rules import check_details, check_recipe, check_repeats
from recipes.engine.document_write import process_table_to_document, recipe_to_document
from recipes.engine.terms import Method, ProcessTable, TestedRecipe

__all__ = [
    "FORMATS",
    "DocumentError",
    "Problem",
    "entries_from_library",
    "process_table_from_document",
    "process_table_to_document",
    "recipe_from_document",
    "recipe_to_document",
]

Entry = TypeVar("Entry", TestedRecipe, ProcessTable)


class DocumentError(ValueError):
    """The document is not a recipe, a table or a library; `problems` says all that is wrong with it."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


def recipe_from_document(
    document: Mapping[str, object], where: str = "", edition: int = NEWEST_EDITION
) -> TestedRecipe:
    """The recipe of one entry. `where` names the entry in the problems of a `DocumentError`.

    A document of the first edition reads the same in both; with `edition` 1 what came later is refused.
    """
    problems: list[Problem] = []
    fields = _open(document, where, problems, edition)
    recipe = read_recipe(fields)
    check_recipe(recipe, fields)
    _finish(fields, where, problems)
    return recipe


def process_table_from_document(
    document: Mapping[str, object], where: str = "", edition: int = NEWEST_EDITION
) -> ProcessTable:
    """The process table of one entry; problems and `edition` as for a recipe."""
    problems: list[Problem] = []
    fields = _open(document, where, problems, edition)
    table = _read_table(fields)
    check_repeats(table.rows, fields, "rows")
    check_details(table, fields)
    _finish(fields, where, problems)
    return table


def entries_from_library(document: Mapping[str, object]) -> tuple[list[TestedRecipe], list[ProcessTable]]:
    """Every recipe and process table of a library file, or a `DocumentError` naming each bad entry and field."""
    problems: list[Problem] = []
    fields = _open(document, "", problems)
    edition = next((number for number, name in FORMATS.items() if fields.raw("format") == name), None)
    if edition is None:
        fields.note("format", f"This must be {one_of(FORMATS.values())}, not {shown(fields.raw('format'))}.")
        edition = NEWEST_EDITION
    read_recipe_entry = partial(recipe_from_document, edition=edition)
    read_table_entry = partial(process_table_from_document, edition=edition)
    recipes = [
        recipe
        for i, entry in enumerate(_entries(fields, "recipe", problems))
        if (recipe := _try(read_recipe_entry, entry, _entry_name("recipe", i, entry, "slug"), problems))
    ]
    tables = [
        table
        for i, entry in enumerate(_entries(fields, "process_table", problems))
        if (table := _try(read_table_entry, entry, _entry_name("process_table", i, entry, "food"), problems))
    ]
    _check_slugs(recipes, problems)
    for recipe in recipes:
        if recipe.is_by_jar:
            message = "The site makes these itself of a process table; a file has the process_table."
            problems.append(Problem("by_jar", message, f'recipe "{recipe.slug}"'))
    if not problems and not recipes and not tables:
        problems.append(Problem("recipe", "The file has neither recipes nor process tables."))
    _finish(fields, "", problems)
    return recipes, tables


def _read_table(fields: Fields) -> ProcessTable:
    method = fields.choice("method", Method)
    source = read_source(fields, "source")
    headspace_in = fields.fraction("headspace_in")
    rows = fields.tables("rows")
    return ProcessTable(
        food=fields.text("food", most=100),
        variant=fields.text("variant", required=False, most=100),
        method=method,
        headspace_in=headspace_in,
        rows=tuple(read_row(row, source=source, headspace_in=headspace_in, table_method=method) for row in rows),
        source=source,
        note=fields.text("note", required=False),
        produce=fields.texts("produce") if fields.has_new("produce") else (),
        loads=read_loads(fields),
        per_jar=read_per_jar(fields),
        alternatives=read_alternatives(fields),
        packing_liquids=read_packing_liquids(fields),
        steps=read_steps(fields) if fields.has_new("steps") else (),
        cautions=fields.texts("cautions") if fields.has_new("cautions") else (),
    )


def _open(document: object, where: str, problems: list[Problem], edition: int = NEWEST_EDITION) -> Fields:
    if not isinstance(document, Mapping):
        raise DocumentError([Problem("", f"This must be a table of fields, not {shown(document)}.", where)])
    return Fields(document, "", problems, edition)


def _finish(fields: Fields, where: str, problems: list[Problem]) -> None:
    fields.close()
    if problems:
        raise DocumentError([Problem(p.field, p.message, p.entry or where) for p in problems])


def _entries(fields: Fields, key: str, problems: list[Problem]) -> list[object]:
    value = fields.raw(key)
    if value is None and not fields.has(key):
        return []
    if isinstance(value, (list, tuple)):
        return list(value)
    problems.append(Problem(key, f"This must be a list of entries, not {shown(value)}."))
    return []


def _entry_name(kind: str, index: int, entry: object, key: str) -> str:
    """`recipe "plum-jam"`, or `recipe[3]` where the entry has no usable name."""
    name = entry.get(key) if isinstance(entry, Mapping) else None
    return f"{kind} {shown(name)}" if isinstance(name, str) and name.strip() else f"{kind}[{index}]"


def _try(
    read: Callable[[Mapping[str, object], str], Entry], entry: object, where: str, problems: list[Problem]
) -> Entry | None:
    try:
        return read(cast(Mapping[str, object], entry), where)  # the reader checks that it is one
    except DocumentError as error:
        problems.extend(error.problems)
        return None


def _check_slugs(recipes: Sequence[TestedRecipe], problems: list[Problem]) -> None:
    seen: set[str] = set()
    for recipe in recipes:
        if recipe.slug in seen:
            problems.append(Problem("slug", "This slug is used twice in the file.", f'recipe "{recipe.slug}"'))
        seen.add(recipe.slug)
