"""Withdrawing, calling back, answering and publishing: what each page says before a press that cannot be taken back."""

from __future__ import annotations

import pytest

from club.members.choices import Role
from recipes.services import revision_draft, revision_submit
from tests.factories.batches import make_batch_checked, make_recall
from tests.factories.members import make_person
from tests.factories.recipes import make_revision, recipe_document

pytestmark = pytest.mark.browser


def test_a_revision_is_withdrawn_once_the_matter_is_chosen_and_its_jars_are_read(visitor):
    revision = make_revision(slug="test-spread")
    make_batch_checked(revision=revision)
    keeper = make_person(Role.INSTRUCTOR)
    visitor.sign_in(keeper.email)
    visitor.go("/recipes/test-spread/revisions/1/withdraw/")
    visitor.look("withdraw")
    visitor.page.get_by_label("Safety").check()
    visitor.page.get_by_label("Why it is withdrawn").fill("Too little acid.")
    visitor.page.get_by_label("I have read what my choice does").check()
    visitor.page.get_by_role("button", name="Withdraw it").click()
    visitor.page.get_by_text("Called back: 4 jars in 1 household.").wait_for()
    visitor.look("withdrawn")


def test_a_recall_is_shown_before_it_opens_and_answered(visitor):
    cook = make_person(name="Mona Maker")
    batch = make_batch_checked(by=cook)
    visitor.sign_in(cook.email)
    visitor.go(f"/batches/recalls/new/?kind=batch&code={batch.lot_code}")
    visitor.page.get_by_label("Why?").fill("I forgot the lemon juice.")
    visitor.page.get_by_role("button", name="See what this calls back").click()
    visitor.page.get_by_text("Nothing is called back yet.").wait_for()
    visitor.look("recall-preview")
    visitor.page.get_by_label("I have read what this calls back").check()
    visitor.page.get_by_role("button", name="Call these jars back").click()
    visitor.page.get_by_role("link", name="To your answer").click()
    visitor.page.get_by_label("thrown away").check()
    visitor.page.get_by_label("How many jars?").fill("4")
    visitor.look("recall")
    visitor.page.get_by_label("How many jars?").press("Enter")
    visitor.page.get_by_text("Written down.").wait_for()
    visitor.go(batch.get_absolute_url())
    visitor.look("recalled-batch")


def test_those_who_run_a_recall_see_who_holds_what(visitor):
    recall = make_recall(batch=make_batch_checked(by=make_person(name="Mona Maker")))
    visitor.sign_in(make_person(Role.KEEPER).email)
    visitor.go(recall.get_absolute_url())
    visitor.look("recall-run")


def test_a_draft_is_published_at_the_second_look(visitor):
    author, reviewer = make_person(Role.INSTRUCTOR), make_person(Role.INSTRUCTOR)
    draft = revision_submit(by=author, revision=revision_draft(by=author, content=recipe_document()))
    visitor.sign_in(reviewer.email)
    visitor.go(f"/recipes/drafts/{draft.pk}/")
    visitor.look("draft-acid")
    visitor.page.get_by_role("button", name="Publish it …").click()
    visitor.page.get_by_text("Nothing is published yet.").wait_for()
    visitor.look("publish")
    visitor.page.get_by_label("I compared every figure").check()
    visitor.page.get_by_role("button", name="Publish it for good").click()
    visitor.page.get_by_text("Published.").wait_for()
