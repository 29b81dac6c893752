"""The published library itself: it loads, it loads once, and every seen figure in it can be planned from."""

from __future__ import annotations

import tomllib

import pytest
from django.conf import settings
from django.core.management import call_command

from recipes.models import ProcessTable, Recipe, Revision
from tests import helpers

LIBRARY = settings.BASE_DIR / "fixtures" / "library"

pytestmark = [pytest.mark.long, pytest.mark.django_db]


@pytest.fixture(scope="module")
def loaded(django_db_setup, django_db_blocker):
    """The library once for all tests of this module."""
    with helpers.filled_once(django_db_blocker):
        call_command("load_library", verbosity=0)
        yield


@pytest.fixture
def library(loaded, db):
    """What a test writes is taken back after it."""


def entries(kind):
    """What the files say, read without our reader."""
    return [e for file in sorted(LIBRARY.glob("*.toml")) for e in tomllib.loads(file.read_text()).get(kind, [])]


def is_tested(entry):
    marks = [entry["amounts_seen"], *([entry["process_seen"]] if "process" in entry else [])]
    marks += [entry["kept_cold"]["seen"]] if "kept_cold" in entry else []
    return all(mark in ("seen-once", "seen-twice") for mark in marks)


def test_every_tested_recipe_is_published_and_every_other_held_back(library):
    tested = {entry["slug"] for entry in entries("recipe") if is_tested(entry)}
    untested = {entry["slug"] for entry in entries("recipe")} - tested
    assert len(tested) >= 60
    assert set(Recipe.objects.published().values_list("slug", flat=True)) == tested
    assert set(Revision.objects.drafts().values_list("recipe__slug", flat=True)) == untested
    assert all(revision.tested.is_tested for revision in Revision.objects.published().select_related("recipe"))


def test_every_figure_is_stored_as_the_file_has_it(library):
    stored = {revision.recipe.slug: revision.content for revision in Revision.objects.select_related("recipe")}
    for entry in entries("recipe"):
        content = stored[entry["slug"]]
        assert [line["amount"] for line in content["ingredients"]] == [
            str(line["amount"]) for line in entry["ingredients"]
        ]
        assert [row["minutes"] for row in content.get("process", [])] == [
            row["minutes"] for row in entry.get("process", [])
        ]
        assert content["source"] == {key: value for key, value in entry["source"].items() if value}
    assert ProcessTable.objects.count() == len(entries("process_table"))


def test_the_second_load_changes_nothing(library, capsys):
    before = list(Revision.objects.order_by("pk").values_list("pk", "number", "state", "digest"))
    call_command("load_library")
    assert "0 changed in all." in capsys.readouterr().out
    assert list(Revision.objects.order_by("pk").values_list("pk", "number", "state", "digest")) == before


def test_every_source_has_a_title_and_a_place(library):
    for revision in Revision.objects.select_related("recipe"):
        for source in (revision.tested.source, *(row.source for row in revision.tested.process)):
            assert source.title
            assert source.place
