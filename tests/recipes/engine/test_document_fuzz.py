"""Whatever stands in a document, reading it gives a recipe or a DocumentError and nothing else."""

from __future__ import annotations

import copy

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.engine.document import (
    DocumentError,
    entries_from_library,
    process_table_from_document,
    recipe_from_document,
    recipe_to_document,
)
from tests.recipes.engine.samples import put, snap_beans, strawberry_jam

anything = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=8)
    | st.binary(max_size=3)
    | st.dates()
    | st.sampled_from(["above", "1/2", "hot", "freezer", "pressure"]),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=6), inner, max_size=4),
    max_leaves=8,
)
PATHS = [
    "slug",
    "kind",
    "method",
    "source",
    "ingredients",
    "ingredients.0",
    "ingredients.0.role",
    "ingredients.0.item",
    "ingredients.0.amount",
    "stated_yield",
    "process",
    "process.0",
    "process.0.method",
    "process.0.minutes",
    "process.0.weighted_psi",
    "pot_limits",
    "hard_boil",
]


@given(st.sampled_from(PATHS), anything, st.booleans())
def test_whatever_stands_in_a_field_reading_only_ever_raises_document_error(path, value, jam):
    document = put(copy.deepcopy(strawberry_jam() if jam else snap_beans()), path, value)
    try:
        recipe = recipe_from_document(document)
    except DocumentError as refused:
        error = refused
    else:
        assert recipe_from_document(recipe_to_document(recipe)) == recipe
        return
    assert error.problems
    assert str(error).encode()


@given(anything)
def test_whatever_a_file_holds_reading_only_ever_raises_document_error(value):
    for read in (recipe_from_document, process_table_from_document, entries_from_library):
        with pytest.raises(DocumentError):
            read(value)
