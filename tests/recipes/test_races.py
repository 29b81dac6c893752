"""Two people at the same moment, each on a connection of her own, on a database in a file."""

from __future__ import annotations

from functools import partial
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError

from recipes.models import Recipe, Revision, RevisionState
from recipes.services import revision_draft, revision_publish, revision_submit, revision_withdraw
from tests.factories.recipes import make_revision, recipe_document
from tests.helpers import at_once

pytestmark = pytest.mark.django_db(transaction=True)

ROUNDS = 5


def handed_in(author, recipe_of=None, **changes):
    draft = revision_draft(by=author, content=recipe_document(**changes), from_revision=recipe_of)
    return revision_submit(by=author, revision=draft)


@pytest.mark.parametrize("_round", range(ROUNDS))
def test_two_drafts_of_one_recipe_published_at_once_get_two_numbers(_round, instructor, reviewer, make_person):
    first = make_revision()
    drafts = [handed_in(instructor, recipe_of=first, title=title) for title in ("One", "Two")]
    other = make_person("instructor")
    results = at_once(
        lambda: revision_publish(by=reviewer, revision=drafts[0]),
        lambda: revision_publish(by=other, revision=drafts[1]),
    )
    assert sorted(r.number for r in results) == [2, 3]
    current = Recipe.objects.select_related("current").get().current
    assert current.number == 3
    assert Recipe.objects.get().title == current.content["title"]


@pytest.mark.parametrize("_round", range(ROUNDS))
def test_two_reviewers_of_one_draft_publish_it_once(_round, instructor, reviewer, make_person):
    draft, other = handed_in(instructor), make_person("instructor")
    results = at_once(
        lambda: revision_publish(by=reviewer, revision=draft),
        lambda: revision_publish(by=other, revision=draft),
    )
    assert sorted(type(result) for result in results if isinstance(result, Exception)) == [ValidationError]
    winner = next(result for result in results if isinstance(result, Revision))
    kept = Revision.objects.get()
    assert (kept.number, kept.state, kept.reviewer_id) == (1, RevisionState.PUBLISHED, winner.reviewer_id)


@pytest.mark.parametrize("_round", range(ROUNDS))
def test_withdrawal_beside_publication_leaves_the_right_one_current(_round, instructor, reviewer, make_person):
    first = make_revision()
    draft, other = handed_in(instructor, recipe_of=first), make_person("organiser")
    results = at_once(
        lambda: revision_publish(by=reviewer, revision=draft),
        lambda: revision_withdraw(by=other, revision=first, reason="Wrong."),
    )
    assert not [result for result in results if isinstance(result, Exception)]
    assert Recipe.objects.get().current_id == draft.pk


@pytest.mark.parametrize("_round", range(ROUNDS))
def test_of_two_who_withdraw_at_once_the_one_for_safety_holds(_round, reviewer, make_person):
    revision, other = make_revision(), make_person("organiser")
    results = at_once(
        lambda: revision_withdraw(by=reviewer, revision=revision, reason="A slip.", for_editing=True),
        lambda: revision_withdraw(by=other, revision=revision, reason="Too little acid."),
    )
    assert isinstance(results[1], Revision)
    kept = Revision.objects.get()
    assert (kept.is_unsafe, kept.withdrawn_by) == (True, other)
    assert kept.withdrawn_reason.startswith("Too little acid.")
    # Either the slip was first, and is told of in the reason; or it came too late, and its writer was told.
    assert ("A slip." in kept.withdrawn_reason) is not isinstance(results[0], ValidationError)


def test_two_recipes_of_one_title_drafted_at_once_get_two_slugs(instructor, reviewer):
    results = at_once(
        lambda: revision_draft(by=instructor, content=recipe_document()),
        lambda: revision_draft(by=reviewer, content=recipe_document()),
    )
    assert sorted(result.recipe.slug for result in results) == ["test-spread", "test-spread-2"]


@pytest.mark.parametrize("_round", range(2))
def test_one_draft_form_pressed_in_many_places_makes_one_draft(_round, instructor, reviewer):
    token = uuid4()
    press = partial(revision_draft, by=instructor, content=recipe_document(), token=token)
    drafts = at_once(press, press, press, press)
    assert {draft.pk for draft in drafts} == {Revision.objects.get().pk}
    assert Recipe.objects.count() == 1
