"""The columns a list filters by, worked out of a recipe's content; and the text a search looks through."""

from __future__ import annotations

import unicodedata
from typing import TypedDict

from recipes.engine.terms import ProcessTable, TestedRecipe
from recipes.engine.units import JAR_SIZES


class RecipeIndex(TypedDict):
    """The columns of `Recipe` that repeat its current revision's content."""

    title: str
    kind: str
    method: str
    produce: str
    jars: str
    search_text: str


def search_key(text: str) -> str:
    """`text` in lower case and without accents, so that "Jalapeño" is found by "jalapeno"."""
    apart = unicodedata.normalize("NFKD", text.replace("\x00", " "))
    return "".join(char for char in apart if not unicodedata.combining(char)).casefold()


def price_key(item: str) -> str:
    """The one spelling under which a price of a thing is kept and found."""
    return " ".join(search_key(item).split())


def barred(words: list[str]) -> str:
    """|strawberries|rhubarb|: one word of it is found by "|rhubarb|", on either database."""
    return f"|{'|'.join(word.replace('|', '/') for word in words)}|" if words else ""


def unbarred(text: str) -> tuple[str, ...]:
    return tuple(word for word in text.split("|") if word)


def jars_of(recipe: TestedRecipe) -> list[str]:
    """Jar sizes with a process that was seen in print, small to large; a freezer recipe has that of its yield."""
    sizes = {row.jar for row in recipe.process if row.seen.is_seen} or {recipe.stated_yield.jar}
    return [size for size in JAR_SIZES if size in sizes]


def index_of(recipe: TestedRecipe) -> RecipeIndex:
    ingredients = " ".join(line.item for line in recipe.ingredients)
    return RecipeIndex(
        title=recipe.title,
        kind=recipe.kind,
        method=recipe.method.value,
        produce=barred(list(recipe.produce)),
        jars=barred(jars_of(recipe)),
        search_text=search_key(f"{recipe.title} {' '.join(recipe.produce)} {ingredients}"),
    )


def table_search_text(table: ProcessTable) -> str:
    return search_key(f"{table.food} {table.variant}")
