"""Reading library files: TOML a person can review, checked whole before anybody acts on it.

Nothing here touches the database. Every problem is a `LibraryProblem`, printed as `file: entry: field: message`.
"""

from __future__ import annotations

import csv
import hashlib
import json
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from typing import Any

from django.utils.translation import gettext

from club.core.places import FIXTURES
from recipes.engine.acidity import FoodClass, KnownFood, KnownFoods, Ledger, ledger_of
from recipes.engine.document import (
    FORMATS,
    DocumentError,
    entries_from_library,
    process_table_to_document,
    recipe_to_document,
)
from recipes.engine.keeping import Tables, read_tables
from recipes.engine.terms import ProcessTable, TestedRecipe

# The published library that comes with the site. Where a file lies decides whether it is ours; nothing in a file does.
SHIPPED = FIXTURES / "library"
LARGEST_FILE_BYTES = 4 * 1024 * 1024
# A dotted key of n parts costs tomllib n * n steps and as much memory: 200 KB of "a.a.a" took 9 GB.
MOST_DOTS_A_LINE = 500
# Names of pages below /recipes/ that a recipe's own page must not hide.
RESERVED_SLUGS = frozenset({"process-tables", "drafts", "prices"})


@dataclass(frozen=True)
class LibraryProblem:
    """What is wrong, and where. `entry` and `field` are empty where the whole file is meant."""

    file: str
    entry: str
    field: str
    message: str

    def __str__(self) -> str:
        return ": ".join(part for part in (self.file, self.entry, self.field, self.message) if part)


@dataclass(frozen=True)
class RecipeEntry:
    """One recipe of one file, with its content in the canonical form that is stored."""

    file: str
    recipe: TestedRecipe
    content: dict[str, Any]
    digest: str

    @property
    def name(self) -> str:
        return f'recipe "{self.recipe.slug}"'

    @property
    def is_shipped(self) -> bool:
        return is_shipped(self.file)


@dataclass(frozen=True)
class TableEntry:
    """One process table of one file."""

    file: str
    table: ProcessTable
    content: dict[str, Any]
    digest: str

    @property
    def is_shipped(self) -> bool:
        return is_shipped(self.file)

    @property
    def key(self) -> str:
        return " | ".join((self.table.food, self.table.variant, self.table.method.value))


@dataclass
class Library:
    """What the files hold; nothing of it may be used while there are problems."""

    recipes: list[RecipeEntry] = field(default_factory=list)
    tables: list[TableEntry] = field(default_factory=list)
    problems: list[LibraryProblem] = field(default_factory=list)


def is_shipped(file: str, folder: Path = SHIPPED) -> bool:
    """Whether a file is one of the library that comes with the site; a link is followed to where it leads."""
    return Path(file).resolve().parent == folder.resolve()


def content_digest(content: Mapping[str, object]) -> str:
    """SHA-256 of a document, whatever the order of its keys."""
    plain = json.dumps(content, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(plain.encode()).hexdigest()


def read_library(paths: Iterable[Path]) -> Library:
    """Every file of `paths` (files, or folders of *.toml), read and checked one by one and against each other."""
    library = Library()
    for path in paths:
        for file in _files_of(path, library):
            _read_file(file, library)
    _refuse_twice(library)
    return library


def _files_of(path: Path, library: Library) -> list[Path]:
    if path.is_dir():
        found = sorted(path.glob("*.toml"))
        if not found:
            library.problems.append(LibraryProblem(str(path), "", "", "This folder has no file ending in .toml."))
        return found
    if path.is_file():
        return [path]
    why = "This is neither a file nor a folder." if path.exists() else "There is no such file or folder."
    library.problems.append(LibraryProblem(str(path), "", "", why))
    return []


def _read_file(file: Path, library: Library) -> None:
    try:
        recipes, tables = entries_from_library(_parse(_text_of(file)))
    except _Unreadable as error:
        library.problems.append(LibraryProblem(str(file), "", "", str(error)))
        return
    except DocumentError as error:
        library.problems.extend(LibraryProblem(str(file), p.entry, p.field, p.message) for p in error.problems)
        return
    for recipe in recipes:
        content = recipe_to_document(recipe)
        library.recipes.append(RecipeEntry(str(file), recipe, content, content_digest(content)))
    for table in tables:
        content = process_table_to_document(table)
        library.tables.append(TableEntry(str(file), table, content, content_digest(content)))


class _Unreadable(Exception):
    """The file is not TOML text that we can take in; the message says why and where."""


def recipe_in(text: str) -> tuple[TestedRecipe | None, list[str]]:
    """The one recipe of a text in the library's format; else None, and what is wrong with it, by entry and field."""
    try:
        recipes, tables = entries_from_library(_parse(text))
    except _Unreadable as error:
        return None, [str(error)]
    except DocumentError as error:
        return None, [str(LibraryProblem("", one.entry, one.field, one.message)) for one in error.problems]
    if len(recipes) != 1 or tables:
        return None, [gettext("Give one recipe at a time, and no process table.")]
    return recipes[0], []


def recipe_as_text(content: Mapping[str, Any]) -> str:
    """A recipe's document as a file of the newest edition: what `recipe_in` reads back."""
    lines = [f"{name} = {_toml(value)}" for name, value in content.items()]
    return "\n".join([f'format = "{FORMATS[max(FORMATS)]}"', "", "[[recipe]]", *lines, ""])


def _toml(value: Any, *, deep: bool = False) -> str:
    """One value; the outermost list has a line for each of its parts."""
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{name} = {_toml(each, deep=True)}" for name, each in value.items()) + " }"
    if isinstance(value, list) and (deep or not any(isinstance(each, (Mapping, str)) for each in value)):
        return "[" + ", ".join(_toml(each, deep=True) for each in value) + "]"
    if isinstance(value, list):
        return "[\n" + "".join(f"  {_toml(each, deep=True)},\n" for each in value) + "]"
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _parse(text: str) -> dict[str, Any]:
    if any(line.count(".") > MOST_DOTS_A_LINE for line in text.splitlines()):
        raise _Unreadable(f"A line in it has more than {MOST_DOTS_A_LINE} dots; in a library no line does.")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _Unreadable(f"This is not well-formed TOML: {_row_and_column(error)}.") from error
    except RecursionError as error:
        raise _Unreadable("This is nested far too deep to be a library.") from error
    except ValueError as error:  # a number of more digits than Python reads, or a date that does not exist
        raise _Unreadable(f"A value in it cannot be read: {error}.") from error


def _text_of(file: Path) -> str:
    if file.exists() and not (file.is_file() or file.is_dir()):  # a pipe in a folder would be waited for
        raise _Unreadable("This is neither a file nor a folder.")
    try:
        with file.open("rb") as opened:
            raw = opened.read(LARGEST_FILE_BYTES + 1)
    except OSError as error:
        raise _Unreadable(f"It cannot be opened: {error.strerror or error}.") from error
    if len(raw) > LARGEST_FILE_BYTES:
        raise _Unreadable(f"It is larger than {LARGEST_FILE_BYTES // 1024 // 1024} MB; a library is not. Split it.")
    try:
        # A byte order mark at the start is what some editors write before UTF-8; it is harmless.
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        row = raw.count(b"\n", 0, error.start) + 1
        column = error.start - raw.rfind(b"\n", 0, error.start)
        raise _Unreadable(f"This is not UTF-8 text: row {row}, byte {column} of the row. Save it as UTF-8.") from error


def _row_and_column(error: tomllib.TOMLDecodeError) -> str:
    return str(error).replace("(at line ", "(row ").replace("at end of document", "at the end of the file")


def _refuse_twice(library: Library) -> None:
    """One slug, or one table, in two files: nobody could say which of them is meant. Also names kept for pages."""
    homes: dict[str, str] = {}
    for entry in library.recipes:
        if entry.recipe.slug in RESERVED_SLUGS:
            message = "This short name is kept for a page of the site; choose another."
            library.problems.append(LibraryProblem(entry.file, entry.name, "slug", message))
        if entry.recipe.slug in homes:
            message = f"This slug is also in {homes[entry.recipe.slug]}."
            library.problems.append(LibraryProblem(entry.file, entry.name, "slug", message))
        homes.setdefault(entry.recipe.slug, entry.file)
    tables: dict[str, str] = {}
    for table in library.tables:
        if table.key in tables:
            message = f"The same food, variant and method are also in {tables[table.key]}."
            library.problems.append(LibraryProblem(table.file, f'process_table "{table.table.food}"', "food", message))
        tables.setdefault(table.key, table.file)


# What the acid ledger is judged by: the list of foods and the tested library, both read from our own files.

FOODS_FILE = SHIPPED / "acidity.csv"

Names = tuple[tuple[str, KnownFood], ...]


@lru_cache(maxsize=1)
def known_foods() -> KnownFoods:
    with FOODS_FILE.open(encoding="utf-8", newline="") as file:
        return KnownFoods(
            tuple(
                (name, KnownFood(row["food"], FoodClass(row["class"]), _ph(row["ph_low"]), _ph(row["ph_high"])))
                for row in csv.DictReader(file)
                for name in (row["food"], *row["names"].split("; "))
                if name
            )
        )


def _ph(printed: str) -> Fraction | None:
    return Fraction(printed) if printed else None


@lru_cache(maxsize=1)
def shipped_library() -> Library:
    return read_library([SHIPPED])


@lru_cache(maxsize=8)
def ledger_with(classed: Names, withdrawn: frozenset[str]) -> Ledger:
    """The ledger with the foods that reviewers classed, and without the recipes that were withdrawn."""
    tested = (entry.recipe for entry in shipped_library().recipes if entry.recipe.slug not in withdrawn)
    return ledger_of(known_foods().and_also(classed), tested)


@lru_cache(maxsize=1)
def keeping_tables() -> Tables:
    """The shipped tables of ferments, dried and frozen food. KeyError or ValueError for a damaged one."""

    def of(name: str) -> list[dict[str, str]]:
        with (SHIPPED / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            return list(csv.DictReader(file))

    return read_tables(
        ferments=of("ferments"),
        brines=of("brines"),
        drying=of("drying"),
        freezing=of("freezing"),
        rules=[*of("drying-rules"), *of("freezing-rules")],
    )
