"""Recipes for tests: an invented spread and an invented vegetable, with invented figures; nothing to cook from."""

from __future__ import annotations

from copy import deepcopy
from itertools import count
from typing import Any

from django.utils import timezone

from recipes.engine.document import (
    process_table_from_document,
    process_table_to_document,
    recipe_from_document,
    recipe_to_document,
)
from recipes.library import content_digest
from recipes.models import ProcessTable, Recipe, Revision, RevisionState, index_of, table_search_text

_numbers = count(1)

SOURCE = {"title": "Test Kitchen Leaflet", "edition": "2nd, 2015", "place": "page 7"}

SPREAD: dict[str, Any] = {
    "slug": "test-spread",
    "title": "Test spread",
    "kind": "jam",
    "method": "boiling-water",
    "produce": ["plums"],
    "pectin": "none",
    "headspace_in": "1/4",
    "amounts_seen": "seen-twice",
    "process_seen": "seen-once",
    "source": SOURCE,
    "ingredients": [
        {"item": "plums", "prep": "chopped", "role": "fruit", "amount": "4", "unit": "cup"},
        {
            "item": "sugar",
            "role": "sugar",
            "amount": "3",
            "unit": "cup",
            "grams": "600",
            "grams_source": "Test Kitchen Leaflet, table 2",
        },
        {"item": "lemon juice", "prep": "bottled", "role": "acid", "amount": "1 1/2", "unit": "tbsp"},
    ],
    "stated_yield": {"jar": "half-pint", "low": "5", "high": "6", "seen": "seen-twice"},
    "endpoint_f_above_boiling": "8",
    "pot_limits": {"smallest": "1/2", "largest": "1", "source": "Test Kitchen Leaflet"},
    "steps": ["Stir the plums and the lemon juice together.", "Add the sugar and boil to the end point."],
    "cautions": ["Keep the jars hot until they are filled."],
    "process": [
        {
            "method": "boiling-water",
            "pack": "hot",
            "jar": jar,
            "minutes": [[1000, 5], [6000, 10], ["above", 15]],
            "seen": "seen-once",
        }
        for jar in ("half-pint", "pint")
    ],
}

VEGETABLE: dict[str, Any] = {
    "slug": "test-beans",
    "title": "Test beans",
    "kind": "vegetable",
    "method": "pressure",
    "produce": ["beans"],
    "pectin": "",
    "headspace_in": "1",
    "amounts_seen": "seen-twice",
    "process_seen": "seen-twice",
    "source": SOURCE,
    "ingredients": [
        {"item": "beans", "role": "low-acid vegetable", "amount": "9", "unit": "lb"},
        {"item": "water", "role": "liquid", "amount": "2", "unit": "quart"},
    ],
    "stated_yield": {"jar": "pint", "low": "9", "high": "9", "seen": "seen-twice"},
    "steps": ["Boil the beans for 5 minutes.", "Fill the jars and cover with the water."],
    "process": [
        {
            "method": "pressure",
            "pack": pack,
            "jar": jar,
            "minutes": minutes,
            "dial_psi": [[2000, 11], [4000, 12], [6000, 13], [8000, 14]],
            "weighted_psi": [[1000, 10], ["above", 15]],
            "seen": "seen-twice",
        }
        for pack in ("hot", "raw")
        for jar, minutes in (("pint", 20), ("quart", 25))
    ],
}


def recipe_document(base: dict[str, Any] = SPREAD, /, **changes: Any) -> dict[str, Any]:
    """A document that may be changed freely; `changes` replace whole fields, None leaves a field out."""
    document = deepcopy({**base, **changes})
    return {key: value for key, value in document.items() if value is not None}


def make_recipe(*, slug: str | None = None, from_library: bool = False, **changes: Any) -> Recipe:
    """A recipe without any revision yet."""
    slug = slug or f"test-spread-{next(_numbers)}"
    tested = recipe_from_document(recipe_document(**{**changes, "slug": slug}))
    return Recipe.objects.create(slug=slug, from_library=from_library, **index_of(tested))


def make_revision(
    recipe: Recipe | None = None,
    *,
    base: dict[str, Any] = SPREAD,
    state: str = RevisionState.PUBLISHED,
    author: Any = None,
    withdrawn_for_editing: bool = False,
    **changes: Any,
) -> Revision:
    """A revision in `state`, published by default, as it would be after its whole life; it becomes current."""
    slug = recipe.slug if recipe else changes.pop("slug", None) or f"{base['slug']}-{next(_numbers)}"
    tested = recipe_from_document(recipe_document(base, **{**changes, "slug": slug}))
    recipe = recipe or Recipe.objects.create(slug=slug, **index_of(tested))
    content = recipe_to_document(tested)
    numbered = state in (RevisionState.PUBLISHED, RevisionState.WITHDRAWN)
    withdrawn = state == RevisionState.WITHDRAWN
    now = timezone.now()
    revision = Revision.objects.create(
        recipe=recipe,
        number=recipe.revisions.numbered().count() + 1 if numbered else None,
        state=state,
        content=content,
        digest=content_digest(content),
        author=author,
        published_at=now if numbered else None,
        withdrawn_at=now if withdrawn else None,
        withdrawn_reason="The test was repeated with another result." if withdrawn else "",
        withdrawn_for_editing=withdrawn_for_editing,
    )
    if state == RevisionState.PUBLISHED:
        Recipe.objects.filter(pk=recipe.pk).update(current=revision, **index_of(tested))
        recipe.refresh_from_db()
    return revision


def make_spread_with_pectin() -> Revision:
    """The invented spread with a pouch of liquid pectin; such a pot is made as printed."""
    lines = [*SPREAD["ingredients"], {"item": "pectin", "role": "pectin", "amount": "1", "unit": "pouch"}]
    return make_revision(ingredients=lines, pectin="liquid", endpoint_f_above_boiling=None, pot_limits=None)


def make_process_table(*, food: str = "plums", variant: str = "", seen: str = "seen-twice", minutes: int = 20) -> Any:
    """A published process for a food, one row of two bands."""
    row = {"pack": "hot", "jar": "pint", "minutes": [[1000, minutes], ["above", minutes + 15]], "seen": seen}
    document = {
        "food": food,
        "method": "boiling-water",
        "source": SOURCE,
        "headspace_in": "1/2",
        "rows": [row],
        **({"variant": variant} if variant else {}),
    }
    table = process_table_from_document(document)
    content = process_table_to_document(table)
    return ProcessTable.objects.create(
        key=f"{food} | {variant} | boiling-water",
        food=food,
        variant=variant,
        method="boiling-water",
        content=content,
        digest=content_digest(content),
        search_text=table_search_text(table),
        is_held_back=not table.rows[0].seen.is_seen,
    )
