"""The reviewer's pages: each button by each role, and what a second press or a stale page does."""

from __future__ import annotations

import pytest

from recipes.models import Recipe, Revision, RevisionState
from recipes.services import revision_change, revision_draft, revision_submit
from tests.factories.recipes import make_revision, recipe_document

pytestmark = pytest.mark.django_db


@pytest.fixture
def draft(instructor):
    return revision_draft(by=instructor, content=recipe_document())


@pytest.fixture
def waiting(instructor, draft):
    return revision_submit(by=instructor, revision=draft)


def state_of(revision):
    return Revision.objects.get(pk=revision.pk).state


def test_the_author_hands_in_and_then_waits(client, instructor, draft):
    client.force_login(instructor)
    page = client.post(f"/recipes/drafts/{draft.pk}/submit/", follow=True).content.decode()
    assert state_of(draft) == RevisionState.IN_REVIEW
    assert "Another instructor has to look at it now" in page
    assert "Publish it" not in page
    assert "Change it" not in page


def test_a_reviewer_publishes_what_she_saw(client, reviewer, waiting):
    client.force_login(reviewer)
    page = client.get(f"/recipes/drafts/{waiting.pk}/")
    assert "Publish it" in page.content.decode()
    digest = page.context["revision"].digest
    url = f"/recipes/drafts/{waiting.pk}/publish/"
    second = client.post(url, {"seen_digest": digest})
    assert state_of(waiting) == RevisionState.IN_REVIEW
    assert second.context["form"]["seen_digest"].value() == digest
    assert "It never changes again" in second.content.decode()
    unsaid = client.post(url, {"seen_digest": digest, "second_look": "1"})
    assert set(unsaid.context["form"].errors) == {"confirmed"}
    assert state_of(waiting) == RevisionState.IN_REVIEW
    response = client.post(url, {"seen_digest": digest, "second_look": "1", "confirmed": "on"}, follow=True)
    assert response.redirect_chain[-1][0] == "/recipes/test-spread/revisions/1/"
    assert Recipe.objects.get().current_id == waiting.pk


def test_the_second_look_shows_the_claims_the_acid_and_what_it_takes_the_place_of(client, instructor, reviewer, draft):
    first = make_revision()
    again = revision_draft(by=instructor, from_revision=first, seen_statement="The leaflet, page 7.")
    waiting = revision_submit(by=instructor, revision=again)
    client.force_login(reviewer)
    page = client.post(f"/recipes/drafts/{waiting.pk}/publish/", {"seen_digest": waiting.digest})
    assert (page.context["number"], page.context["current"]) == (2, first)
    said = page.content.decode()
    for words in ("takes the place of revision 1", "The leaflet, page 7.", "seen in print", "lemon juice"):
        assert words in said


def test_what_would_be_refused_is_refused_before_the_second_look(client, reviewer, waiting):
    client.force_login(reviewer)
    content = recipe_document(steps=["Changed meanwhile."])
    Revision.objects.filter(pk=waiting.pk).update(content=content, digest="0" * 64)
    page = client.post(f"/recipes/drafts/{waiting.pk}/publish/", {"seen_digest": waiting.digest}, follow=True)
    assert "no longer waits for review as you saw it" in page.content.decode()
    assert page.redirect_chain[-1][0] == f"/recipes/drafts/{waiting.pk}/"


@pytest.mark.parametrize("lines", [1, 25])
def test_the_second_look_asks_as_often_for_one_line_as_for_25(
    client, instructor, reviewer, lines, django_assert_max_num_queries
):
    plums = [{"item": "plums", "role": "fruit", "amount": "1", "unit": "cup"}] * lines
    content = recipe_document(ingredients=plums, endpoint_f_above_boiling=None)
    waiting = revision_submit(by=instructor, revision=revision_draft(by=instructor, content=content))
    client.force_login(reviewer)
    with django_assert_max_num_queries(14):
        page = client.post(f"/recipes/drafts/{waiting.pk}/publish/", {"seen_digest": waiting.digest})
    assert len(page.context["acid"].lines) == lines


def test_a_second_press_publishes_nothing_more(client, reviewer, waiting):
    client.force_login(reviewer)
    for _ in range(2):
        sent = {"seen_digest": waiting.digest, "confirmed": "on"}
        client.post(f"/recipes/drafts/{waiting.pk}/publish/", sent)
    assert list(Revision.objects.values_list("number", flat=True)) == [1]


@pytest.mark.parametrize("digest", ["", "0" * 64, "\0", "0" * 63 + "\0"])
def test_a_page_that_does_not_say_what_was_seen_publishes_nothing(client, reviewer, waiting, digest):
    client.force_login(reviewer)
    page = client.post(f"/recipes/drafts/{waiting.pk}/publish/", {"seen_digest": digest}, follow=True)
    assert "no longer waits for review as you saw it" in page.content.decode()
    assert state_of(waiting) == RevisionState.IN_REVIEW


def test_a_draft_from_memory_is_refused_with_a_message(client, instructor, reviewer, draft):
    revision_change(by=instructor, revision=draft, content=recipe_document(amounts_seen="memory"))
    waiting = revision_submit(by=instructor, revision=draft)
    client.force_login(reviewer)
    page = client.post(f"/recipes/drafts/{draft.pk}/publish/", {"seen_digest": waiting.digest}, follow=True)
    assert "Not every figure was seen in print" in page.content.decode()
    assert state_of(draft) == RevisionState.IN_REVIEW


def test_sending_back_needs_words_and_keeps_them(client, reviewer, waiting):
    client.force_login(reviewer)
    url = f"/recipes/drafts/{waiting.pk}/send-back/"
    assert "reason" in client.post(url, {"reason": " "}).context["note_form"].errors
    assert state_of(waiting) == RevisionState.IN_REVIEW
    page = client.post(url, {"reason": "Which page?"}, follow=True).content.decode()
    assert f"{reviewer}: Which page?" in page
    assert state_of(waiting) == RevisionState.DRAFT
    assert "reason" in client.post(url, {"reason": "Again"}).context["note_form"].errors


@pytest.mark.parametrize("action", ["publish", "send-back"])
def test_the_author_reviews_nothing_of_her_own(client, instructor, waiting, action):
    client.force_login(instructor)
    data = {"seen_digest": waiting.digest, "reason": "Fine"}
    assert client.post(f"/recipes/drafts/{waiting.pk}/{action}/", data).status_code == 403
    assert state_of(waiting) == RevisionState.IN_REVIEW


@pytest.mark.parametrize("action", ["submit", "publish", "send-back"])
@pytest.mark.parametrize("role", ["member", "keeper", "organiser"])
def test_other_roles_move_no_draft(client, make_person, waiting, action, role):
    url = f"/recipes/drafts/{waiting.pk}/{action}/"
    data = {"seen_digest": waiting.digest, "reason": "Fine"}
    assert client.post(url, data).status_code == 302  # nobody: to the sign-in page
    client.force_login(make_person(role))
    assert client.post(url, data).status_code == 403
    assert state_of(waiting) == RevisionState.IN_REVIEW


@pytest.mark.parametrize("action", ["submit", "publish", "send-back"])
def test_drafts_are_moved_by_post_only_and_only_where_there_is_one(client, reviewer, waiting, action):
    client.force_login(reviewer)
    assert client.get(f"/recipes/drafts/{waiting.pk}/{action}/").status_code == 405
    assert client.post(f"/recipes/drafts/999/{action}/", {"reason": "x"}).status_code == 404


def test_a_draft_page_shows_what_is_held_back_and_why(client, instructor):
    held = make_revision(state="draft", amounts_seen="memory")
    Revision.objects.filter(pk=held.pk).update(from_library=True, review_note="Held back: amounts from memory.")
    client.force_login(instructor)
    page = client.get(f"/recipes/drafts/{held.pk}/").content.decode()
    for words in ("held back", "Held back: amounts from memory.", "from memory"):
        assert words in page
    assert "Hand in for review" not in page
    assert "Held back from the published library" in client.get("/recipes/drafts/").content.decode()


@pytest.mark.parametrize("role", ["instructor", "organiser"])
def test_withdrawal_asks_for_a_reason_and_shows_it(client, make_person, role):
    revision = make_revision(slug="test-spread")
    client.force_login(make_person(role))
    url = "/recipes/test-spread/revisions/1/withdraw/"
    assert client.get(url).status_code == 200
    assert "reason" in client.post(url, {"reason": ""}).context["form"].errors
    assert state_of(revision) == RevisionState.PUBLISHED
    yes = {"matter": "safety", "confirmed": "on", "calls_back": ""}
    page = client.post(url, {"reason": "The lids failed.", **yes}, follow=True).content.decode()
    assert "Withdrawn, do not use: The lids failed." in page
    again = client.post(url, {"reason": "Again", **yes}, follow=True)
    assert again.redirect_chain == [("/recipes/test-spread/revisions/1/", 302)]
    assert "This revision was withdrawn before." in again.content.decode()
    assert Revision.objects.get().withdrawn_reason == "The lids failed."


def test_withdrawal_is_not_for_members_and_not_for_what_is_not_there(client, member, instructor):
    make_revision(slug="test-spread")
    url = "/recipes/test-spread/revisions/1/withdraw/"
    assert client.post(url, {"reason": "x"}).status_code == 302
    client.force_login(member)
    assert client.post(url, {"reason": "x"}).status_code == 403
    client.force_login(instructor)
    assert client.get("/recipes/test-spread/revisions/2/withdraw/").status_code == 404
    assert Revision.objects.get().state == RevisionState.PUBLISHED


@pytest.mark.parametrize("model", ["recipe", "revision", "processtable"])
def test_the_admin_only_looks(client, admin_user, model):
    revision = make_revision()
    client.force_login(admin_user)
    assert client.get(f"/admin/recipes/{model}/").status_code == 200
    assert client.get(f"/admin/recipes/{model}/add/").status_code == 403
    if model == "revision":
        assert client.get(f"/admin/recipes/revision/{revision.pk}/change/").status_code == 200
        assert client.post(f"/admin/recipes/revision/{revision.pk}/change/", {"state": "draft"}).status_code == 403
        assert client.post(f"/admin/recipes/revision/{revision.pk}/delete/", {"post": "yes"}).status_code == 403
