"""Before a revision is withdrawn its page says what that calls back, and the press needs a yes to just that."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from club.members.choices import Role
from inventory.batches import services
from inventory.batches.models import Jar, Recall
from inventory.batches.presentation import labels_of
from inventory.batches.tracing import holdings, is_called_back, withdrawn_without_recall
from inventory.jars.models import Balance
from inventory.jars.services import jars_move, kitchen_place, store_place
from recipes.models import Revision, RevisionState
from recipes.presentation import Reach, reach_of
from recipes.services import plan_for, revision_withdraw
from tests.factories.batches import NOW, make_batch, make_batch_checked
from tests.factories.members import make_kitchen, make_organiser, make_person
from tests.factories.recipes import make_revision

pytestmark = pytest.mark.django_db

SAFETY = {"matter": "safety", "reason": "Too little acid.", "confirmed": "on"}
EDITING = {"matter": "editing", "reason": "A slip of the pen in step 2.", "confirmed": "on"}


@pytest.fixture
def revision():
    """Eleven jars in four places: two kitchens, one handed to a friend, some in the store; one was thrown away."""
    revision = make_revision(slug="test-spread")
    first = make_batch_checked(revision=revision)
    second = make_batch_checked(revision=revision)
    make_batch_checked(revision=revision, by=second.made_by, kitchen=second.kitchen, broken=(1,))
    first.jars.filter(number=1).update(held_by=make_person(name="Fay Friend"))
    jars_move(
        by=make_person(Role.KEEPER),
        reason="moved",
        size="half-pint",
        count=1,
        source=kitchen_place(second.kitchen),
        target=store_place(),
        token=first.token,
        state="full",
        batch_id=second.pk,
        at=NOW,
        now=NOW,
    )
    return revision


def url_of(revision):
    return reverse("recipes:withdraw", args=[revision.recipe.slug, revision.number])


def state_of(revision):
    return Revision.objects.get(pk=revision.pk).state


def test_the_page_says_how_many_jars_in_how_many_households_are_called_back(client, revision):
    assert reach_of(revision) == Reach(jars=11, households=4)
    client.force_login(make_organiser())
    page = client.get(url_of(revision))
    assert page.context["reach"] == Reach(11, 4)
    said = page.content.decode()
    assert "As a matter of safety this calls back 11 jars in 4 households." in said
    assert "11 jars in 4 households stay as they are" in said
    form = page.context["form"]
    assert not form["matter"].value()  # which of the two it is, nobody is led to say
    assert not form["confirmed"].value()


def test_what_is_announced_is_what_the_recall_then_reaches(revision):
    told = reach_of(revision)
    Revision.objects.filter(pk=revision.pk).update(state="withdrawn", withdrawn_at=NOW, withdrawn_reason="Acid.")
    services.recalls_follow_withdrawals(now=NOW)
    assert len({one.where for one in holdings([Recall.objects.get()])}) == told.households


@pytest.mark.parametrize(
    ("missing", "beside"), [("confirmed", "confirmed"), ("calls_back", "confirmed"), ("matter", "matter")]
)
def test_without_a_yes_to_just_that_nothing_is_withdrawn(client, revision, missing, beside):
    client.force_login(make_organiser())
    whole = SAFETY | {"calls_back": "11 jars in 4 households"}
    refused = client.post(url_of(revision), {key: told for key, told in whole.items() if key != missing})
    assert set(refused.context["form"].errors) == {beside}
    assert "Too little acid." in refused.content.decode()  # what was typed stays
    assert state_of(revision) == RevisionState.PUBLISHED
    page = client.post(url_of(revision), whole, follow=True).content.decode()
    assert state_of(revision) == RevisionState.WITHDRAWN
    assert "Called back: 11 jars in 4 households." in page


@pytest.mark.parametrize("way", ["get", "post"])
def test_a_revision_withdrawn_before_shows_no_form_but_its_page_and_says_so(client, way):
    gone = make_revision(slug="gone", state="withdrawn")
    client.force_login(make_organiser())
    page = getattr(client, way)(url_of(gone), follow=True)
    assert page.redirect_chain == [(reverse("recipes:revision", args=["gone", gone.number]), 302)]
    assert [str(message) for message in page.context["messages"]] == ["This revision was withdrawn before."]


def test_jars_that_came_since_the_page_was_opened_are_asked_about_anew(client, revision):
    client.force_login(make_organiser())
    seen = client.get(url_of(revision)).context["form"]["calls_back"].value()
    make_batch_checked(revision=revision)
    sent = SAFETY | {"calls_back": seen}
    refused = client.post(url_of(revision), sent)
    assert state_of(revision) == RevisionState.PUBLISHED
    form = refused.context["form"]
    assert (form["calls_back"].value(), form["confirmed"].value()) == ("15 jars in 5 households", False)
    assert client.post(url_of(revision), sent | {"calls_back": form["calls_back"].value()}).status_code == 302
    assert state_of(revision) == RevisionState.WITHDRAWN


def test_a_revision_that_no_jar_comes_from_says_so_before_and_after(client):
    revision = make_revision(slug="other-spread")
    make_batch_checked()  # of another recipe
    client.force_login(make_organiser())
    assert "No jar comes from this revision" in client.get(url_of(revision)).content.decode()
    assert "confirmed" in client.post(url_of(revision), {"reason": "Mistyped."}).context["form"].errors
    sent = SAFETY | {"calls_back": ""}
    page = client.post(url_of(revision), sent, follow=True).content.decode()
    assert "No jar comes from it: nothing is called back." in page
    assert state_of(revision) == RevisionState.WITHDRAWN


def test_a_member_neither_sees_nor_presses_it(client, revision):
    client.force_login(make_person())
    sent = SAFETY | {"calls_back": "11 jars in 4 households"}
    assert client.get(url_of(revision)).status_code == 403
    assert client.post(url_of(revision), sent).status_code == 403
    assert state_of(revision) == RevisionState.PUBLISHED


def test_an_editing_matter_ends_new_plans_and_leaves_every_jar_alone(client, revision):
    client.force_login(make_organiser())
    page = client.post(url_of(revision), EDITING, follow=True).content.decode()  # whatever jars came or went since
    kept = Revision.objects.get(pk=revision.pk)
    assert (kept.state, kept.withdrawn_for_editing, kept.recipe.current) == (RevisionState.WITHDRAWN, True, None)
    assert "This was an editing matter" in page
    assert "called back: 11" not in page.lower()
    assert [refusal.code for refusal in plan_for(revision=kept, altitude=None, pots=1).refusals][0] == (
        "revision-withdrawn"
    )
    with pytest.raises(ValidationError):
        make_batch(revision=kept)
    assert services.recalls_follow_withdrawals(now=NOW) == 0
    assert not list(withdrawn_without_recall())
    assert not Jar.objects.recalled().exists()
    assert not Balance.objects.called_back().exists()
    assert Jar.objects.filter(batch__revision=kept).to_give().count() == 10
    batch = kept.batches.first()
    assert not is_called_back(batch)
    assert labels_of(batch)
    client.force_login(batch.made_by)
    said = client.get(batch.get_absolute_url()).content.decode()
    assert "A slip of the pen in step 2." in said
    assert "keep them cool" in said
    assert "Do not eat" not in said


def test_an_editing_matter_may_turn_out_to_be_one_of_safety_and_never_the_other_way(client, revision):
    """The page offers only the one way, and what was said first is kept."""
    client.force_login(make_organiser())
    client.post(url_of(revision), EDITING)
    form = client.get(url_of(revision)).context["form"]
    assert [value for value, _label in form.fields["matter"].choices] == ["safety"]
    again = client.post(url_of(revision), EDITING)
    assert set(again.context["form"].errors) == {"matter"}
    asked = SAFETY | {"calls_back": form["calls_back"].value()}
    page = client.post(url_of(revision), asked, follow=True).content.decode()
    assert "Called back: 11 jars in 4 households." in page
    kept = Revision.objects.get(pk=revision.pk)
    assert kept.is_unsafe
    assert kept.withdrawn_reason.startswith("Too little acid.")
    assert "A slip of the pen in step 2." in kept.withdrawn_reason
    assert services.recalls_follow_withdrawals(now=NOW) == 1
    assert Jar.objects.recalled().kept().count() == 11
    with pytest.raises(ValidationError):
        revision_withdraw(by=make_organiser(), revision=kept, reason="It was a slip.", for_editing=True)
    assert Revision.objects.get(pk=revision.pk).is_unsafe


def test_the_page_costs_the_same_for_one_batch_and_for_30(client, django_assert_max_num_queries):
    revision, cook = make_revision(), make_person()
    client.force_login(make_organiser())
    for count in (1, 30):
        while revision.batches.count() < count:
            make_batch_checked(revision=revision, by=cook, kitchen=make_kitchen(cook))
        with django_assert_max_num_queries(8):
            assert client.get(url_of(revision)).status_code == 200


def test_the_reach_costs_two_queries_for_one_household_and_for_30(django_assert_num_queries):
    revision = make_revision()
    for count in (1, 30):
        while revision.batches.count() < count:
            cook = make_person()
            make_batch_checked(revision=revision, by=cook, kitchen=make_kitchen(cook))
        with django_assert_num_queries(2):
            assert reach_of(revision) == Reach(4 * count, count)
