"""The draft form: everything a revision holds goes through it unharmed, and every problem stands beside its field."""

from __future__ import annotations

import tomllib
from uuid import uuid4

import pytest
from django.conf import settings

from recipes.engine.document import recipe_from_document, recipe_to_document
from recipes.forms.drafts import DraftForm, can_edit
from recipes.models import Recipe, Revision, RevisionState
from recipes.services import revision_draft
from tests.factories.recipes import SPREAD, VEGETABLE, make_revision, recipe_document
from tests.recipes.engine.samples import DETAILED_BEANS

pytestmark = pytest.mark.django_db

NEW = "/recipes/drafts/new/"
CHOICES = {"head-method", "head-amounts_seen", "head-pectin", "ingredients-2-unit", "process-1-seen"}
LIBRARY = settings.BASE_DIR / "fixtures" / "library"


def posted(document=None, statement="I read page 7.", **changes):
    """What a browser sends when the form shown to a document's own author is sent as it is."""
    form = DraftForm(document=document or recipe_document(), statement=statement, is_own=True)
    data = {"token": str(uuid4())}
    for part in (form.head, *form.ingredients, *form.process):
        for field in part:
            value = field.value()
            if value is True:
                value = "on"
            if value not in (None, "", False):
                data[field.html_name] = str(value)
    for rows in (form.ingredients, form.process):
        data |= {f"{rows.prefix}-TOTAL_FORMS": str(len(rows.forms)), f"{rows.prefix}-INITIAL_FORMS": "0"}
    return {**data, **changes}


@pytest.fixture
def writer(client, instructor):
    client.force_login(instructor)
    return client


def field_errors(response, part, row=None):
    form = getattr(response.context["form"], part)
    return (form if row is None else form.forms[row]).errors


def test_a_draft_is_written_and_shown(writer, instructor):
    response = writer.post(NEW, posted())
    draft = Revision.objects.get()
    assert response.url == f"/recipes/drafts/{draft.pk}/"
    assert (draft.author, draft.state, draft.seen_statement) == (instructor, RevisionState.DRAFT, "I read page 7.")
    assert draft.content == recipe_to_document(recipe_from_document(recipe_document()))
    page = writer.get(response.url).content.decode()
    for words in ("Test spread", "I read page 7.", "Hand in for review", "lemon juice"):
        assert words in page


@pytest.mark.parametrize("base", [SPREAD, VEGETABLE, DETAILED_BEANS], ids=["spread", "vegetable", "second-edition"])
def test_a_form_started_from_a_revision_and_sent_as_it_is_says_the_same(writer, base):
    revision = make_revision(base=base)
    page = writer.get(f"/recipes/drafts/from/{revision.pk}/")
    assert page.status_code == 200
    writer.post(f"/recipes/drafts/from/{revision.pk}/", posted(revision.content))
    draft = Revision.objects.drafts().get()
    assert draft.recipe == revision.recipe
    assert draft.content == {**revision.content, "process_seen": draft.content["process_seen"]}


def test_what_somebody_else_saw_in_print_is_not_claimed_for_a_new_author(writer, instructor, reviewer):
    """The form of another's revision begins with no claim at all, and one's own draft keeps what one said."""
    revision = make_revision()
    head = writer.get(f"/recipes/drafts/from/{revision.pk}/").context["form"]
    assert [head.head[name].value() for name in ("amounts_seen", "yield_seen")] == ["", ""]
    assert not any(row["seen"].value() for row in head.process)
    refused = writer.post(
        f"/recipes/drafts/from/{revision.pk}/",
        posted(revision.content, **{"head-amounts_seen": "", "head-yield_seen": "", "process-0-seen": ""}),
    )
    assert set(field_errors(refused, "head")) == {"amounts_seen", "yield_seen"}
    assert set(field_errors(refused, "process", 0)) == {"seen"}
    own = make_revision(state="draft", author=instructor)
    assert writer.get(f"/recipes/drafts/{own.pk}/change/").context["form"].head["yield_seen"].value() == "seen-twice"


def test_an_empty_form_claims_nothing(writer):
    form = writer.get("/recipes/drafts/new/").context["form"]
    assert not form.head["yield_seen"].value()
    assert form.head.fields["yield_seen"].choices[0][0] == ""


def test_every_tested_library_recipe_goes_through_the_form_unharmed():
    """But for the row marks: a row the library did not see has to be marked anew, and is not in this comparison."""
    compared = 0
    for file in sorted(LIBRARY.glob("*.toml")):
        for entry in tomllib.loads(file.read_text()).get("recipe", []):
            document = recipe_to_document(recipe_from_document(entry))
            marks = [document["amounts_seen"], *(row["seen"] for row in document.get("process", []))]
            if not set(marks) <= {"seen-once", "seen-twice"} or not can_edit(document):
                continue
            form = DraftForm(as_query(posted(document)), document=document)
            assert form.is_valid(), (document["slug"], form.head.errors, form.process.errors)
            again = recipe_to_document(recipe_from_document({**form.content, "slug": document["slug"]}))
            loose = {"process_seen": None}
            assert {**again, **loose} == {**document, **loose}
            compared += 1
    assert compared >= 130


def as_query(data):
    from django.http import QueryDict

    query = QueryDict(mutable=True)
    query.update(data)
    return query


@pytest.mark.parametrize(
    ("changes", "part", "row", "field"),
    [
        ({"head-title": ""}, "head", None, "title"),
        ({"head-kind": "Jam!"}, "head", None, "kind"),
        ({"head-method": "oven"}, "head", None, "method"),
        ({"head-headspace_in": "a bit"}, "head", None, "headspace_in"),
        ({"head-yield_low": "0"}, "head", None, "yield_low"),
        ({"head-yield_low": "9"}, "head", None, "yield_high"),
        ({"head-source_place": ""}, "head", None, "source_place"),
        ({"head-seen_statement": " "}, "head", None, "seen_statement"),
        ({"head-amounts_seen": ""}, "head", None, "amounts_seen"),
        ({"head-amounts_seen": "memory"}, "head", None, "amounts_seen"),
        ({"head-pectin": "liquid"}, "head", None, "pectin"),
        ({"head-pot_smallest": "2"}, "head", None, "pot_smallest"),
        ({"head-pot_source": ""}, "head", None, "pot_source"),
        ({"head-boil_minutes": "1"}, "head", None, "boil_last"),
        ({"head-endpoint_f": "hot"}, "head", None, "endpoint_f"),
        ({"head-title": "x" * 201}, "head", None, "title"),
        ({"head-steps": "Boil.\x00"}, "head", None, "steps"),
        ({"ingredients-1-amount": "3,5 or so"}, "ingredients", 1, "amount"),
        ({"ingredients-0-amount_high": "2"}, "ingredients", 0, "amount_high"),
        ({"ingredients-1-grams_source": ""}, "ingredients", 1, "grams_source"),
        ({"ingredients-2-role": ""}, "ingredients", 2, "role"),
        ({"ingredients-2-unit": "mug"}, "ingredients", 2, "unit"),
        ({"process-0-minutes_6000": "4"}, "process", 0, "minutes_1000"),
        ({"process-1-minutes_above": ""}, "process", 1, "minutes_1000"),
        ({"process-0-minutes_1000": "0"}, "process", 0, "minutes_1000"),
        ({"process-0-minutes_1000": "5.5"}, "process", 0, "minutes_1000"),
        ({"process-1-seen": "suspect"}, "process", 1, "seen"),
        ({"process-0-dial_2000": "11"}, "process", 0, "dial_2000"),
        ({"process-0-headspace_in": "wide"}, "process", 0, "headspace_in"),
    ],
)
def test_a_problem_stands_beside_its_field_and_what_was_typed_stays(writer, changes, part, row, field):
    response = writer.post(NEW, posted(**changes))
    assert response.status_code == 200
    assert field in field_errors(response, part, row)
    page = response.content.decode()
    assert 'value="lemon juice"' in page
    for name, typed in changes.items():
        if name not in CHOICES and typed.isprintable():
            assert typed in page
    assert not Revision.objects.exists()
    assert not Recipe.objects.exists()


def test_a_problem_after_an_empty_row_is_shown_at_the_row_that_has_it(writer):
    empty = {f"ingredients-1-{name}": "" for name in ("item", "role", "amount", "unit", "grams", "grams_source")}
    response = writer.post(NEW, posted(**empty, **{"ingredients-2-amount": "none"}))
    assert field_errors(response, "ingredients", 2).keys() == {"amount"}
    assert not field_errors(response, "ingredients", 1)


def test_a_pressure_row_without_minutes_is_told_at_the_pressure_minutes(writer):
    response = writer.post(NEW, posted(recipe_document(VEGETABLE), **{"process-0-pressure_minutes": ""}))
    assert "pressure_minutes" in field_errors(response, "process", 0)


def test_low_acid_food_in_boiling_water_is_refused_with_the_rule(writer):
    document = recipe_document(ingredients=[{**SPREAD["ingredients"][0], "role": "low-acid vegetable"}])
    response = writer.post(NEW, posted(document))
    assert "LOWACID-METHOD" in str(field_errors(response, "head")["method"])


def test_a_draft_needs_an_ingredient_and_a_process(writer):
    nothing = {key: "" for key in posted() if key.startswith(("ingredients-", "process-")) and "_FORMS" not in key}
    response = writer.post(NEW, posted(**nothing))
    assert "at least one ingredient" in str(field_errors(response, "head"))
    assert "at least one row" in str(field_errors(response, "head")["method"])


@pytest.mark.parametrize(("part", "rows"), [("ingredients", 5), ("process", 4)])
def test_the_add_button_adds_a_row_keeps_what_was_typed_and_complains_of_nothing(writer, part, rows):
    response = writer.post(NEW, posted(**{f"add_{part}": "1", "head-title": "", "ingredients-0-amount": "half typed"}))
    form = response.context["form"]
    assert len(getattr(form, part).forms) == rows
    page = response.content.decode()
    assert 'value="half typed"' in page
    assert "is-invalid" not in page
    assert not Revision.objects.exists()


def test_rows_end_at_a_limit_whatever_the_browser_claims(writer):
    for total in ("100000", "x", "-1", "9" * 50):
        response = writer.post(NEW, posted(**{"ingredients-TOTAL_FORMS": total, "add_ingredients": "1"}))
        assert len(response.context["form"].ingredients.forms) <= 60
        assert writer.post(NEW, posted(**{"ingredients-TOTAL_FORMS": total})).status_code == 200


@pytest.mark.parametrize("data", [{"x": "1"}, {"token": "no-uuid"}, {"ingredients-TOTAL_FORMS": "1"}])
def test_a_form_that_is_no_form_of_ours_is_answered(writer, data):
    assert writer.post(NEW, data).status_code == 200
    assert not Revision.objects.exists()


def test_a_form_without_its_mark_is_shown_again_with_a_new_one(writer):
    response = writer.post(NEW, posted(token="no-uuid"))
    assert "lost its mark" in str(field_errors(response, "head"))
    assert not Revision.objects.exists()
    token = str(response.context["form"].token["token"].value())
    assert writer.post(NEW, posted(token=token)).status_code == 302


def test_an_empty_answer_shows_the_form_again(writer):
    assert writer.post(NEW, {}).status_code == 200
    assert not Revision.objects.exists()


def test_pressing_twice_keeps_one_draft(writer):
    data = posted()
    assert writer.post(NEW, data).url == writer.post(NEW, data).url
    assert Revision.objects.count() == 1


def test_figures_that_were_not_seen_start_unsaid(writer):
    held = make_revision(state="draft", amounts_seen="memory", process_seen="memory")
    form = writer.get(f"/recipes/drafts/from/{held.pk}/").context["form"]
    assert form.head["amounts_seen"].value() == ""
    assert form.head["seen_statement"].value() == ""


def test_the_author_changes_her_draft_and_others_do_not(writer, client, instructor, reviewer, member):
    draft = revision_draft(by=instructor, content=recipe_document())
    url = f"/recipes/drafts/{draft.pk}/change/"
    assert 'value="Test spread"' in writer.get(url).content.decode()
    assert writer.post(url, posted(**{"head-title": "Better title"})).status_code == 302
    draft.refresh_from_db()
    assert draft.content["title"] == "Better title"
    for person in (reviewer, member):
        client.force_login(person)
        assert client.get(url).status_code == 403
        assert client.post(url, posted(**{"head-title": "Mine"})).status_code == 403
    draft.refresh_from_db()
    assert draft.content["title"] == "Better title"


def test_a_published_revision_has_no_change_form(writer, instructor):
    revision = make_revision(author=instructor)
    assert writer.get(f"/recipes/drafts/{revision.pk}/change/").status_code == 404


@pytest.mark.parametrize("path", ["drafts/", "drafts/new/", "drafts/from/{pk}/", "drafts/{pk}/", "drafts/{pk}/change/"])
def test_drafts_are_for_instructors_only(client, member, make_person, path):
    draft = make_revision(state="draft")
    url = "/recipes/" + path.format(pk=draft.pk)
    assert client.get(url).status_code == 302
    for person in (member, make_person("keeper"), make_person("organiser")):
        client.force_login(person)
        assert client.get(url).status_code == 403


@pytest.mark.parametrize("path", ["from/999/", "999/", "999/change/"])
def test_a_draft_that_is_not_there_is_not_found(writer, path):
    assert writer.get(f"/recipes/drafts/{path}").status_code == 404


@pytest.mark.parametrize("count", [1, 30])
def test_the_list_of_drafts_asks_as_often_for_one_as_for_thirty(
    writer, instructor, django_assert_max_num_queries, count
):
    for _ in range(count):
        make_revision(state="draft", author=instructor)
    with django_assert_max_num_queries(7):
        assert len(writer.get("/recipes/drafts/").context["drafts"]) == count


def test_bands_that_the_form_has_no_fields_for_are_not_lost_silently(writer):
    odd = [{**SPREAD["process"][0], "minutes": [[2500, 5], ["above", 15]]}]
    revision = make_revision(process=odd)
    response = writer.get(f"/recipes/drafts/from/{revision.pk}/", follow=True)
    assert response.redirect_chain[-1][0] == "/recipes/drafts/"
    assert "no fields for its altitude bands" in response.content.decode()
    assert Revision.objects.get().content == revision.content
