"""A draft in the library's format: every figure of the second edition, with what is wrong by entry and field."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from recipes.library import SHIPPED, read_library, recipe_as_text, recipe_in
from recipes.models import Revision
from recipes.services import revision_submit

NEW = reverse("recipes:draft-text")
TEXT = recipe_as_text(
    next(one.content for one in read_library([SHIPPED / "vegetables.toml"]).recipes if one.recipe.loads)
)


def posted(text: str = TEXT, **fields):
    return {"token": uuid4(), "text": text, "seen_statement": "Guide 4, page 7", **fields}


def test_every_recipe_of_the_library_is_written_as_text_and_read_back():
    entries = read_library([SHIPPED]).recipes
    for entry in entries:
        recipe, problems = recipe_in(recipe_as_text(entry.content))
        assert recipe == entry.recipe, (entry.recipe.slug, problems)


def test_a_pasted_recipe_becomes_a_draft_with_its_loads_and_is_changed_as_text(client, instructor):
    client.force_login(instructor)
    client.post(NEW, posted())
    draft = Revision.objects.get()
    assert (draft.author, draft.state, draft.seen_statement) == (instructor, "draft", "Guide 4, page 7")
    assert draft.tested.loads
    change = reverse("recipes:draft-change-text", args=[draft.pk])
    shown = client.get(change).context["form"]["text"].value()
    client.post(change, posted(shown.replace(f'title = "{draft.tested.title}"', 'title = "Another title"')))
    draft.refresh_from_db()
    assert draft.content["title"] == "Another title"
    assert draft.content["loads"]


def test_a_file_does_as_well_and_the_same_form_sent_twice_is_one_draft(client, instructor):
    client.force_login(instructor)
    fields = posted("")
    for _press in range(2):
        client.post(NEW, fields | {"file": SimpleUploadedFile("mine.toml", TEXT.encode())})
    assert Revision.objects.count() == 1


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "Paste the recipe here"),
        ("format = ", "well-formed TOML"),
        (TEXT.replace('role = "low-acid vegetable"', 'role = "roots"', 1), "ingredients[0].role"),
        (TEXT.replace('method = "pressure"', 'method = "oven"', 1), "method: This must be"),
        (TEXT + TEXT.split("\n", 1)[1].replace('slug = "', 'slug = "other-'), "one recipe at a time"),
        ("x" * 100_001, "at most 100000"),
    ],
)
def test_what_is_wrong_stands_beside_the_text_which_is_kept(client, instructor, text, said):
    client.force_login(instructor)
    form = client.post(NEW, posted(text)).context["form"]
    assert said in " ".join(form.errors["text"])
    assert form["text"].value() == text
    assert not Revision.objects.exists()


def test_a_file_that_is_no_text_or_too_long_is_refused(client, instructor):
    client.force_login(instructor)
    for raw in (b"\xff\xfe\x00", b"x" * 100_001):
        form = client.post(NEW, posted("") | {"file": SimpleUploadedFile("mine.toml", raw)}).context["form"]
        assert list(form.errors) == ["file"]


def test_what_the_acid_list_refuses_is_said_by_field(client, instructor):
    client.force_login(instructor)
    wrong = TEXT.replace('method = "pressure"', 'method = "boiling-water"')
    form = client.post(NEW, posted(wrong)).context["form"]
    assert form.errors["text"]
    assert not Revision.objects.exists()


def test_only_its_author_changes_it_and_only_a_draft(client, instructor, reviewer):
    client.force_login(instructor)
    client.post(NEW, posted())
    draft = Revision.objects.get()
    change = reverse("recipes:draft-change-text", args=[draft.pk])
    revision_submit(by=instructor, revision=draft)
    form = client.post(change, posted()).context["form"]
    assert form.non_field_errors()
    client.force_login(reviewer)
    assert client.get(change).status_code == 403


def test_the_page_takes_few_queries(client, instructor, django_assert_max_num_queries):
    client.force_login(instructor)
    with django_assert_max_num_queries(12):
        client.get(NEW)
