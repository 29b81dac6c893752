"""The acid ledger at each door: the command that loads a file, a draft on the site, its change, and the review."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command

from recipes.engine.document import DocumentError, recipe_from_document, recipe_to_document
from recipes.library import content_digest
from recipes.models import ClassedFood, ProcessTable, Recipe, Revision, RevisionState
from recipes.services import revision_change, revision_draft, revision_publish, revision_submit
from tests.factories.recipes import recipe_document
from tests.recipes.test_drafts import posted
from tests.recipes.test_library import GOOD

pytestmark = pytest.mark.django_db

PLUMS = '{ item = "plums", role = "fruit", amount = "4", unit = "cup" },'
SUGAR = {"item": "sugar", "role": "sugar", "amount": "3", "unit": "cup"}


def line(item, role="fruit", amount="4", unit="cup", prep=""):
    return {"item": item, "role": role, "amount": amount, "unit": unit, **({"prep": prep} if prep else {})}


# What was taken in and published before there was a ledger, by its first words.
UNSAFE = [
    (
        "an eighth of a teaspoon for 21 lb",
        [line("tomatoes", amount="21", unit="lb"), line("lemon juice", "acid", "1/8", "tsp", "bottled")],
        "ingredients[1].amount",
        "ACID-PUBLISHED",
    ),
    ("Romas without acid", [line("Romas", amount="21", unit="lb")], "ingredients[0].item", "ACID-PUBLISHED"),
    ("tomates without acid", [line("tomates", amount="21", unit="lb")], "ingredients[0].item", "ACID-PUBLISHED"),
    (
        "fresh lemon juice",
        [line("tomatoes", amount="21", unit="lb"), line("lemon juice", "acid", "14", "tbsp", "fresh")],
        "ingredients[1].prep",
        "BOTTLED-JUICE",
    ),
    (
        "4 percent vinegar",
        [line("cucumbers", "low-acid vegetable", "6", "lb"), line("vinegar", "acid", "4", "cup", "4 percent")],
        "ingredients[1].prep",
        "VINEGAR-MIN",
    ),
    (
        "beans with a teaspoon of vinegar",
        [
            line("green beans", "low-acid vegetable", "4", "lb"),
            line("vinegar", "acid", "1", "tsp", "5 percent"),
        ],
        "ingredients[1].amount",
        "ACID-RATIO",
    ),
    ("pumpkin butter", [line("pumpkin", prep="pureed"), SUGAR], "ingredients[0].item", "NEVER-CANNED"),
    ("chicken", [line("chicken", amount="4", unit="lb")], "ingredients[0].item", "NEVER-CANNED"),
    ("bananas", [line("bananas"), SUGAR], "ingredients[0].item", "NEVER-CANNED"),
    ("watermelon", [line("watermelon"), SUGAR], "ingredients[0].item", "NEVER-CANNED"),
    ("white peaches", [line("white peaches"), SUGAR], "ingredients[0].item", "NEVER-CANNED"),
    ("garlic in oil", [line("garlic"), line("olive oil")], "ingredients[1].item", "NEVER-OIL"),
]
IDS = [case[0] for case in UNSAFE]


def as_toml(lines):
    return "".join("{ " + ", ".join(f'{key} = "{value}"' for key, value in each.items()) + " },\n" for each in lines)


@pytest.mark.parametrize(("lines", "field", "rule"), [case[1:] for case in UNSAFE], ids=IDS)
def test_the_loader_refuses_with_file_entry_and_field(tmp_path, reviewer, capsys, lines, field, rule):
    file = tmp_path / "own.toml"
    file.write_text(GOOD.replace(PLUMS, as_toml(lines)))
    for options in ({}, {"reviewed_by": reviewer.email}):
        with pytest.raises(CommandError, match="nothing was changed"):
            call_command("load_library", file, **options)
        told = capsys.readouterr().err
        assert f'{file}: recipe "test-spread": {field}: ' in told
        assert rule in told
    assert not Recipe.objects.exists()
    assert not Revision.objects.exists()
    assert not ProcessTable.objects.exists()


@pytest.mark.parametrize(("lines", "field", "rule"), [case[1:] for case in UNSAFE], ids=IDS)
def test_a_draft_is_refused_by_the_service_and_a_draft_that_becomes_so_as_well(instructor, lines, field, rule):
    unsafe = recipe_document(ingredients=lines, endpoint_f_above_boiling=None)
    with pytest.raises(DocumentError) as refused:
        revision_draft(by=instructor, content=unsafe)
    assert (field, rule) in {(p.field, rule) for p in refused.value.problems if rule in p.message}
    assert not Recipe.objects.exists()
    draft = revision_draft(by=instructor, content=recipe_document())
    with pytest.raises(DocumentError, match=rule):
        revision_change(by=instructor, revision=draft, content=unsafe)
    with pytest.raises(DocumentError, match=rule):
        revision_draft(by=instructor, content=unsafe, from_revision=draft)
    draft.refresh_from_db()
    assert draft.content == recipe_to_document(recipe_from_document(recipe_document()))


@pytest.mark.parametrize(("lines", "field", "rule"), [case[1:] for case in UNSAFE], ids=IDS)
def test_the_reviewer_cannot_publish_what_lies_there_from_before(instructor, reviewer, lines, field, rule):
    """A draft written before the ledger, put in as it would lie in an older database."""
    draft = revision_draft(by=instructor, content=recipe_document())
    old = recipe_document(ingredients=lines, endpoint_f_above_boiling=None)
    Revision.objects.filter(pk=draft.pk).update(content=old, digest=content_digest(old), state=RevisionState.IN_REVIEW)
    old_draft = Revision.objects.get(pk=draft.pk)
    if rule == "ACID-PUBLISHED" and len(lines) == 1:  # the document itself has refused these by now
        with pytest.raises((DocumentError, ValidationError)):
            revision_publish(by=reviewer, revision=old_draft, acid_seen="page 7")
    else:
        with pytest.raises(ValidationError, match=rule) as refused:
            revision_publish(by=reviewer, revision=old_draft, acid_seen="page 7")
        assert "unsafe" in {error.code for error in refused.value.error_list}
    assert Revision.objects.get(pk=draft.pk).number is None


def test_what_is_judged_is_what_is_published_not_what_the_caller_holds(instructor, reviewer):
    """The reviewer's copy is from before the author's change; nothing of the change may slip by the ledger."""
    draft = revision_draft(by=instructor, content=recipe_document())
    revision_submit(by=instructor, revision=draft)
    stale = Revision.objects.get(pk=draft.pk)
    held = recipe_document(ingredients=[line("kokum"), SUGAR], endpoint_f_above_boiling=None)
    Revision.objects.filter(pk=draft.pk).update(content=held, digest=content_digest(held))
    with pytest.raises(ValidationError):
        revision_publish(by=reviewer, revision=stale, seen_digest=content_digest(held))
    assert Revision.objects.get(pk=draft.pk).state == RevisionState.IN_REVIEW


@pytest.fixture
def waiting(instructor):
    """A draft in review that the ledger holds back twice: an unknown food, and a herb that no tested recipe has."""
    lines = [line("kokum"), SUGAR, line("mint leaves", "spice", "1", "tbsp")]
    draft = revision_draft(
        by=instructor, content=recipe_document(ingredients=lines, endpoint_f_above_boiling=None, produce=["kokum"])
    )
    return revision_submit(by=instructor, revision=draft)


def test_the_site_shows_a_refusal_beside_its_line_and_keeps_what_was_typed(client, instructor):
    client.force_login(instructor)
    response = client.post("/recipes/drafts/new/", posted(**{"ingredients-0-item": "bananas"}))
    assert response.status_code == 200
    assert "NEVER-CANNED" in str(response.context["form"].ingredients.forms[0].errors["item"])
    assert 'value="bananas"' in response.content.decode()
    assert not Recipe.objects.exists()


def test_author_and_reviewer_see_the_same_reasons(client, waiting, instructor, reviewer):
    for person in (instructor, reviewer):
        client.force_login(person)
        page = client.get(f"/recipes/drafts/{waiting.pk}/").content.decode()
        assert "This cannot be published as it stands" in page
        assert "ingredients[0].item" in page
        assert "kokum" in page
        assert "mint leaves" in page


def test_a_draft_that_nothing_speaks_against_shows_no_reasons(client, instructor, reviewer):
    draft = revision_submit(by=instructor, revision=revision_draft(by=instructor, content=recipe_document()))
    client.force_login(reviewer)
    page = client.get(f"/recipes/drafts/{draft.pk}/").content.decode()
    assert "cannot be published as it stands" not in page
    assert "acid_seen" not in page
    assert "food-words" not in page


def test_the_reviewer_classes_and_states_on_the_page_and_then_publishes(client, waiting, reviewer):
    client.force_login(reviewer)
    url = f"/recipes/drafts/{waiting.pk}/"
    publish = {"seen_digest": waiting.digest, "acid_seen": "Leaflet 3, page 2.", "confirmed": "on"}
    answer = client.post(f"{url}publish/", publish, follow=True).content.decode()
    assert "ingredients[0].item" in answer
    assert Revision.objects.get(pk=waiting.pk).number is None
    said = {"food-words": "kokum", "food-kind": "fruit", "food-ph": "4.9", "food-source": "A printed list, page 3"}
    page = client.post(f"{url}class-food/", said).content.decode()
    assert "Above 4.6 it is low-acid food." in page
    assert 'value="4.9"' in page
    assert client.post(f"{url}class-food/", {**said, "food-ph": "2.4"}).url == url
    assert ClassedFood.objects.get().by == reviewer
    client.post(f"{url}publish/", {"seen_digest": waiting.digest, "confirmed": "on"})
    assert Revision.objects.get(pk=waiting.pk).number is None
    client.post(f"{url}publish/", publish)
    published = Revision.objects.get(pk=waiting.pk)
    assert (published.number, published.reviewer) == (1, reviewer)
    assert "Leaflet 3, page 2." in published.review_note


def test_the_author_and_members_do_not_class_on_the_page(client, waiting, instructor, member):
    said = {"food-words": "kokum", "food-kind": "fruit", "food-ph": "2.4", "food-source": "A printed list"}
    for person in (instructor, member):
        client.force_login(person)
        assert client.post(f"/recipes/drafts/{waiting.pk}/class-food/", said).status_code == 403
    assert client.get(f"/recipes/drafts/{waiting.pk}/class-food/").status_code == 405
    assert not ClassedFood.objects.exists()


@pytest.mark.parametrize(
    "said",
    [{}, {"food-words": "banana", "food-kind": "fruit", "food-ph": "3", "food-source": "x"}, {"food-kind": "never"}],
)
def test_a_class_form_that_is_none_is_answered(client, waiting, reviewer, said):
    client.force_login(reviewer)
    assert client.post(f"/recipes/drafts/{waiting.pk}/class-food/", said).status_code == 200
    assert not ClassedFood.objects.exists()
