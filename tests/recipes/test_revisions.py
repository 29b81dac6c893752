"""The life of a revision: who may move it, from which state, and what is refused."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from recipes.engine.document import DocumentError
from recipes.models import Recipe, Revision, RevisionState
from recipes.services import (
    revision_change,
    revision_draft,
    revision_publish,
    revision_send_back,
    revision_submit,
    revision_withdraw,
)
from tests.factories.recipes import make_revision, recipe_document

pytestmark = pytest.mark.django_db


@pytest.fixture
def in_review(instructor):
    draft = revision_draft(by=instructor, content=recipe_document())
    return revision_submit(by=instructor, revision=draft)


@pytest.fixture
def published(in_review, reviewer):
    return revision_publish(by=reviewer, revision=in_review)


def test_a_new_draft_has_a_recipe_that_nobody_else_sees(instructor):
    draft = revision_draft(by=instructor, content=recipe_document(title="Rowan spread"))
    assert (draft.state, draft.number, draft.author) == (RevisionState.DRAFT, None, instructor)
    assert draft.recipe.slug == draft.content["slug"] == "rowan-spread"
    assert not Recipe.objects.published().exists()
    assert not Recipe.objects.readable().exists()


def test_two_recipes_of_one_title_get_slugs_of_their_own(instructor):
    slugs = [revision_draft(by=instructor, content=recipe_document()).recipe.slug for _ in range(3)]
    assert slugs == ["test-spread", "test-spread-2", "test-spread-3"]


def test_a_title_never_takes_the_name_of_a_page(instructor):
    assert revision_draft(by=instructor, content=recipe_document(title="Drafts")).recipe.slug == "drafts-2"


def test_the_same_form_sent_twice_makes_one_draft(instructor):
    token = uuid4()
    first, second = (revision_draft(by=instructor, content=recipe_document(), token=token) for _ in range(2))
    assert first == second
    assert Recipe.objects.count() == Revision.objects.count() == 1


def test_a_form_that_somebody_else_sent_makes_no_draft(instructor, reviewer):
    token = uuid4()
    revision_draft(by=instructor, content=recipe_document(), token=token)
    with pytest.raises(ValidationError) as refused:
        revision_draft(by=reviewer, content=recipe_document(), token=token)
    assert refused.value.code == "token-used"
    assert Recipe.objects.count() == Revision.objects.count() == 1


def test_a_draft_from_a_revision_belongs_to_the_same_recipe_and_leaves_it_alone(instructor, published):
    draft = revision_draft(by=instructor, from_revision=published)
    assert draft.recipe == published.recipe
    assert draft.content == published.content
    changed = revision_change(by=instructor, revision=draft, content=recipe_document(title="Another name"))
    assert changed.content["slug"] == published.recipe.slug
    published.recipe.refresh_from_db()
    assert published.recipe.title == "Test spread"
    assert published.recipe.current == published


def test_content_that_is_no_recipe_is_refused_by_field_and_nothing_is_kept(instructor):
    with pytest.raises(DocumentError) as refused:
        revision_draft(by=instructor, content=recipe_document(ingredients=[{"item": "plums"}]))
    assert {p.field for p in refused.value.problems} >= {"ingredients[0].amount", "ingredients[0].role"}
    assert not Recipe.objects.exists()


def test_a_member_writes_no_draft(member, published):
    with pytest.raises(PermissionDenied):
        revision_draft(by=member, content=recipe_document())
    with pytest.raises(PermissionDenied):
        revision_draft(by=member, from_revision=published)


def test_only_the_author_changes_and_submits_a_draft(instructor, reviewer):
    draft = revision_draft(by=instructor, content=recipe_document())
    for refused in (
        lambda: revision_change(by=reviewer, revision=draft, content=recipe_document(title="Mine")),
        lambda: revision_submit(by=reviewer, revision=draft),
    ):
        with pytest.raises(ValidationError):
            refused()
    draft.refresh_from_db()
    assert (draft.state, draft.content["title"]) == (RevisionState.DRAFT, "Test spread")


def test_what_waits_for_review_does_not_change_under_the_reviewer(instructor, in_review):
    with pytest.raises(ValidationError):
        revision_change(by=instructor, revision=in_review, content=recipe_document(title="Other"))


def test_a_reviewer_sends_back_with_a_note_and_the_author_goes_on(instructor, reviewer, in_review):
    draft = revision_send_back(by=reviewer, revision=in_review, note="Which page?")
    assert draft.state == RevisionState.DRAFT
    assert draft.review_note == f"{reviewer}: Which page?"
    revision_change(by=instructor, revision=draft, content=recipe_document(note="page 7"))
    assert revision_submit(by=instructor, revision=draft).state == RevisionState.IN_REVIEW


@pytest.mark.parametrize("note", ["", "  \n "])
def test_sending_back_needs_a_note(reviewer, in_review, note):
    with pytest.raises(ValidationError):
        revision_send_back(by=reviewer, revision=in_review, note=note)


def test_publication_numbers_the_revision_and_makes_it_current(reviewer, published):
    assert (published.state, published.number, published.reviewer) == (RevisionState.PUBLISHED, 1, reviewer)
    assert published.published_at is not None
    assert published.recipe.current == published
    assert list(Recipe.objects.published()) == [published.recipe]


def test_the_author_neither_publishes_nor_sends_back_her_own(instructor, in_review):
    with pytest.raises(PermissionDenied):
        revision_publish(by=instructor, revision=in_review)
    with pytest.raises(PermissionDenied):
        revision_send_back(by=instructor, revision=in_review, note="Looks good to me")
    in_review.refresh_from_db()
    assert in_review.state == RevisionState.IN_REVIEW


@pytest.mark.parametrize("role", ["member", "keeper", "organiser"])
def test_nobody_but_an_instructor_publishes(make_person, in_review, role):
    with pytest.raises(PermissionDenied):
        revision_publish(by=make_person(role), revision=in_review)


def test_a_draft_that_was_not_submitted_is_not_published(instructor, reviewer):
    draft = revision_draft(by=instructor, content=recipe_document())
    with pytest.raises(ValidationError):
        revision_publish(by=reviewer, revision=draft)


@pytest.mark.parametrize(
    "unseen", [{"amounts_seen": "memory"}, {"process_seen": "partly-memory"}, {"process_seen": "disputed"}]
)
def test_figures_that_nobody_saw_in_print_are_not_published(instructor, reviewer, unseen):
    draft = revision_draft(by=instructor, content=recipe_document(**unseen))
    waiting = revision_submit(by=instructor, revision=draft)
    with pytest.raises(ValidationError, match="seen in print"):
        revision_publish(by=reviewer, revision=waiting)
    assert not Recipe.objects.published().exists()


def test_what_changed_since_the_reviewer_looked_is_not_published(instructor, reviewer, in_review):
    seen = in_review.digest
    revision_send_back(by=reviewer, revision=in_review, note="Shorter steps.")
    revision_change(by=instructor, revision=in_review, content=recipe_document(steps=["Boil."]))
    waiting = revision_submit(by=instructor, revision=in_review)
    with pytest.raises(ValidationError, match="as you saw it"):
        revision_publish(by=reviewer, revision=waiting, seen_digest=seen)
    assert revision_publish(by=reviewer, revision=waiting).number == 1


def test_pressing_publish_twice_gives_one_number(reviewer, in_review):
    revision_publish(by=reviewer, revision=in_review)
    with pytest.raises(ValidationError):
        revision_publish(by=reviewer, revision=in_review)
    assert list(Revision.objects.values_list("number", flat=True)) == [1]


def test_the_next_revision_takes_the_next_number_and_the_list_follows_it(instructor, reviewer, published):
    draft = revision_draft(
        by=instructor,
        from_revision=published,
        content=recipe_document(title="Greengage spread", kind="preserve", produce=["greengages"]),
    )
    second = revision_publish(by=reviewer, revision=revision_submit(by=instructor, revision=draft))
    assert second.number == 2
    recipe = Recipe.objects.get(pk=published.recipe_id)
    assert recipe.current == second
    assert (recipe.title, recipe.kind, recipe.produce) == ("Greengage spread", "preserve", "|greengages|")
    assert Recipe.objects.search("greengage").exists()


def test_withdrawal_falls_back_to_the_latest_still_published(instructor, reviewer, published):
    for title in ("Second", "Third"):
        draft = revision_draft(by=instructor, from_revision=published, content=recipe_document(title=title))
        revision_publish(by=reviewer, revision=revision_submit(by=instructor, revision=draft))
    by_number = {r.number: r for r in published.recipe.revisions.numbered()}
    revision_withdraw(by=reviewer, revision=by_number[2], reason="Wrong page.")
    withdrawn = revision_withdraw(by=reviewer, revision=by_number[3], reason="Wrong sugar.")
    assert (withdrawn.state, withdrawn.withdrawn_by, withdrawn.withdrawn_reason) == (
        RevisionState.WITHDRAWN,
        reviewer,
        "Wrong sugar.",
    )
    recipe = Recipe.objects.get(pk=published.recipe_id)
    assert recipe.current == published
    assert recipe.title == "Test spread"
    revision_withdraw(by=reviewer, revision=published, reason="All of it.")
    recipe.refresh_from_db()
    assert recipe.current is None
    assert not Recipe.objects.published().exists()
    assert list(Recipe.objects.readable()) == [recipe]


def test_a_number_is_never_given_twice_even_after_withdrawal(instructor, reviewer, published):
    revision_withdraw(by=reviewer, revision=published, reason="Wrong.")
    draft = revision_draft(by=instructor, from_revision=published)
    assert revision_publish(by=reviewer, revision=revision_submit(by=instructor, revision=draft)).number == 2


@pytest.mark.parametrize("state", ["draft", "in-review", "withdrawn"])
def test_only_a_published_revision_is_withdrawn(reviewer, state):
    with pytest.raises(ValidationError):
        revision_withdraw(by=reviewer, revision=make_revision(state=state), reason="No.")


def test_withdrawal_needs_a_reason_and_the_right(reviewer, member, make_person, published):
    with pytest.raises(ValidationError):
        revision_withdraw(by=reviewer, revision=published, reason="  ")
    with pytest.raises(PermissionDenied):
        revision_withdraw(by=member, revision=published, reason="I do not like it.")
    assert revision_withdraw(by=make_person("organiser"), revision=published, reason="Recalled.").state == "withdrawn"
