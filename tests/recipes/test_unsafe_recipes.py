"""The acid ledger at each door: the command that loads a file, a draft on the site, its change, and the review."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command

from recipes.engine.document import DocumentError, recipe_from_document, recipe_to_document
from recipes.library import content_digest
from recipes.models import ClassedFood, ProcessTable, Recipe, Revision, RevisionState
from recipes.services import library_load, revision_change, revision_draft, revision_publish, revision_submit
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
    def said(value):
        return "true" if value is True else f'"{value}"'

    return "".join(
        "{ " + ", ".join(f"{key} = {said(value)}" for key, value in each.items()) + " },\n" for each in lines
    )


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


# Files as a club might bring them, each with one thing in it that would make somebody ill, or that nobody has tested.
LOW = "low-acid vegetable"


def vinegar(amount, prep="5 percent"):
    return line("vinegar", "acid", amount, "cup", prep)


TRAPS = [
    ("elderberries", [line("elderberries", amount="3", unit="lb"), SUGAR], "near pH 4.6"),
    ("figs without acid", [line("figs", amount="16", unit="lb"), SUGAR], "near pH 4.6"),
    (
        "peppers in oil",
        [line("bell peppers", LOW, "4", "lb"), line("olive oil", "fat", "2"), vinegar("1/4")],
        "NEVER-OIL",
    ),
    (
        "corn relish with half the vinegar",
        [
            line("corn kernels", LOW, "10"),
            line("bell peppers", LOW, "5"),
            line("celery", LOW, "2 1/2"),
            line("onions", LOW, "1 1/4"),
            vinegar("2 1/2"),
            line("salt", "salt", "2 1/2", "tbsp"),
        ],
        "not that of a tested recipe",
    ),
    (
        "mushrooms as a pickle of one's own",
        [line("mushrooms", LOW, "7", "lb"), line("lemon juice", "acid", "1/4", "cup", "bottled"), vinegar("1")],
        "ACID-RATIO",
    ),
    ("eggs", [line("eggs", LOW, "12", "each"), vinegar("2")], "NEVER-CANNED"),
    ("cream", [line("strawberries"), line("cream", "liquid", "1"), SUGAR], "NEVER-CANNED"),
    ("flour", [line("apples"), line("flour", "thickener", "1/2"), SUGAR], "NEVER-CANNED"),
    (
        "chocolate under the role of a spice",
        [line("raspberries"), line("cocoa powder", "spice", "1/2"), SUGAR],
        "tested recipe",
    ),
    ("chillies as a spice", [line("apples"), line("jalapenos", "spice", "2", "lb"), SUGAR], "LOWACID-METHOD"),
    (
        "basil pesto",
        [line("basil", "spice", "4"), line("olive oil", "fat", "1"), line("garlic", "spice", "1")],
        "NEVER-OIL",
    ),
    (
        "ham and onions",
        [line("bacon", "fat", "1", "lb"), line("onions", LOW, "2"), vinegar("1/4"), SUGAR],
        "NEVER-CANNED",
    ),
    (
        "lemon juice that may be left out",
        [
            line("tomates", amount="21", unit="lb"),
            {**line("lemon juice", "acid", "14", "tbsp", "bottled"), "optional": True},
        ],
        "ACID-PUBLISHED",
    ),
    (
        "half the citric acid",
        [line("Romas", amount="21", unit="lb"), line("citric acid", "acid", "1 3/4", "tsp")],
        "ACID-PUBLISHED",
    ),
    (
        "vinegar of 4.2 percent",
        [line("carrots", LOW, "3", "lb"), line("rice vinegar", "acid", "4", "cup", "4.2 percent")],
        "VINEGAR-MIN",
    ),
    ("a food that nobody knows here", [line("aloe vera"), SUGAR], "KNOWN-FOOD"),
]


@pytest.mark.parametrize(("lines", "why"), [case[1:] for case in TRAPS], ids=[case[0] for case in TRAPS])
def test_a_hostile_file_is_refused_or_waits_with_a_true_reason(tmp_path, reviewer, lines, why):
    """Even where the command names a reviewer: nobody plans from it, and the reason names what is wrong."""
    file = tmp_path / "own.toml"
    file.write_text(GOOD.replace(PLUMS, as_toml(lines)))
    report = library_load(paths=[file], reviewer=reviewer)
    assert not Recipe.objects.published().exists()
    told = " ".join([*(str(problem) for problem in report.problems), *report.reasons.values()])
    assert why in told


SPREAD = {"endpoint_f_above_boiling": None}
JARS = {"jar": "quart", "low": "7", "high": "7", "seen": "seen-twice"}
HONEST = [
    ("plum jam", [line("plums"), SUGAR, line("lemon juice", "acid", "2", "tbsp", "bottled")], {}),
    (
        "apple butter",
        [line("apples", amount="8", unit="lb"), line("apple cider", "liquid", "2"), vinegar("2"), SUGAR],
        {"kind": "butter"},
    ),
    (
        "tomatoes",
        [line("tomatoes", amount="21", unit="lb"), line("lemon juice", "acid", "14", "tbsp", "bottled")],
        {"stated_yield": JARS},
    ),
    (
        "crushed tomatoes",
        [line("tomatoes", amount="22", unit="lb", prep="crushed"), line("citric acid", "acid", "3 1/2", "tsp")],
        {"stated_yield": JARS},
    ),
    (
        "figs",
        [line("figs", amount="16", unit="lb"), line("lemon juice", "acid", "14", "tbsp", "bottled"), SUGAR],
        {"stated_yield": JARS},
    ),
    (
        "peaches in syrup",
        [line("yellow peaches", amount="17", unit="lb"), line("sugar", "sugar", "2"), line("water", "liquid", "6")],
        {},
    ),
    ("strawberries and rhubarb", [line("strawberries"), line("rhubarb", amount="2"), SUGAR], {}),
    ("sour cherries", [line("sour cherries", amount="17", unit="lb"), line("water", "liquid", "6"), SUGAR], {}),
    (
        "orange marmalade",
        [line("oranges", amount="5"), line("lemons", amount="1"), line("water", "liquid", "6"), SUGAR],
        {"kind": "marmalade"},
    ),
]


@pytest.mark.parametrize(("lines", "changes"), [case[1:] for case in HONEST], ids=[case[0] for case in HONEST])
def test_an_honest_recipe_gets_to_its_reviewer_and_is_published(instructor, reviewer, lines, changes):
    content = recipe_document(ingredients=lines, produce=[lines[0]["item"]], **SPREAD, **changes)
    draft = revision_submit(by=instructor, revision=revision_draft(by=instructor, content=content))
    assert revision_publish(by=reviewer, revision=draft).number == 1
