"""A kitchen of more than one person: asked, and theirs with a yes."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from club.members import services
from club.members.models import (
    KITCHEN_INVITATION_KEPT,
    HouseholdMember,
    Kitchen,
    KitchenInvitation,
    default_kitchen,
)
from club.season.models import households_of
from club.season.services import households_by_person
from inventory.batches.models import Batch
from inventory.jars.models import Place
from tests.factories.batches import make_batch
from tests.factories.members import make_kitchen, make_organiser, make_person
from tests.helpers import signed_in

pytestmark = pytest.mark.django_db

BO = "bo@example.test"


@pytest.fixture
def ada():
    return make_person(name="Ada Plum")


@pytest.fixture
def bo():
    return make_person(name="Bo Plum", email=BO)


@pytest.fixture
def kitchen(ada):
    return make_kitchen(ada)


def invited(ada, kitchen, email=BO, **more) -> KitchenInvitation:
    services.kitchen_invite(by=ada, kitchen=kitchen, email=email, **more)
    return kitchen.invitations.get(email=email)


def joined(ada, bo, kitchen) -> None:
    services.kitchen_invitation_answer(by=bo, invitation=invited(ada, kitchen, bo.email), accept=True)


def page_of(client, name, *args) -> str:
    return client.get(reverse(f"members:{name}", args=args)).content.decode()


# Asked and accepted


def test_whoever_is_asked_may_preserve_there_with_their_own_yes_and_not_before(ada, bo, kitchen):
    services.kitchen_invite(by=ada, kitchen=kitchen, email=" BO@example.test ")
    assert not Kitchen.objects.usable_by(bo).exists()
    services.kitchen_invitation_answer(by=bo, invitation=KitchenInvitation.objects.get(), accept=True)
    assert list(Kitchen.objects.usable_by(bo)) == [kitchen]


def test_until_then_it_changes_nothing_of_what_anybody_sees(ada, bo, kitchen):
    make_batch(by=ada, kitchen=kitchen)
    own = make_kitchen(bo, name="Zither Row")
    invited(ada, kitchen)
    assert default_kitchen(bo, Kitchen.objects.usable_by(bo)) == own
    assert list(households_of(bo)) == [own]
    assert households_by_person([kitchen, own]) == {ada.pk: kitchen.pk, bo.pk: own.pk}
    assert not Batch.objects.visible_to(bo).exists()
    assert not Place.objects.usable_by(bo).filter(kitchen=kitchen).exists()
    client = signed_in(bo)
    for name in ("kitchen-change", "kitchen-person-add", "kitchen-choose"):
        ask = client.get if name == "kitchen-change" else client.post
        assert ask(reverse(f"members:{name}", args=[kitchen.pk]), {"email": "x@example.test"}).status_code == 404


def test_a_no_leaves_things_as_they_are_and_the_household_does_not_hear_of_it(ada, bo, kitchen):
    invitation = invited(ada, kitchen)
    services.kitchen_invitation_answer(by=bo, invitation=invitation, accept=False)
    assert list(kitchen.people.all()) == [ada]
    assert list(kitchen.invitations.shown(timezone.now())) == [invitation]
    assert not KitchenInvitation.objects.open(timezone.now()).exists()
    invited(ada, kitchen)  # asked again while it stands
    assert not KitchenInvitation.objects.open(timezone.now()).exists()
    with pytest.raises(ValidationError, match="This is over"):
        services.kitchen_invitation_answer(by=bo, invitation=invitation, accept=True)


def test_an_invitation_ends_after_its_days_and_can_be_made_again(ada, bo, kitchen):
    long_ago = timezone.now() - KITCHEN_INVITATION_KEPT - timedelta(minutes=1)
    invitation = invited(ada, kitchen, now=long_ago)
    assert KitchenInvitation.objects.open(long_ago + timedelta(minutes=1)).exists()
    with pytest.raises(ValidationError, match="This is over"):
        services.kitchen_invitation_answer(by=bo, invitation=invitation, accept=True)
    joined(ada, bo, kitchen)
    assert set(kitchen.people.all()) == {ada, bo}


def test_what_was_taken_back_lets_nobody_in_and_may_be_asked_anew(ada, bo, kitchen):
    invitation = invited(ada, kitchen)
    services.kitchen_invitation_withdraw(by=ada, invitation=invitation)
    with pytest.raises(ValidationError, match="This is over"):
        services.kitchen_invitation_answer(by=bo, invitation=invitation, accept=True)
    assert list(kitchen.people.all()) == [ada]
    joined(ada, bo, kitchen)
    assert set(kitchen.people.all()) == {ada, bo}


def test_nobody_answers_for_another(ada, bo, kitchen):
    invitation = invited(ada, kitchen)
    for by in (ada, make_person(), make_organiser()):
        with pytest.raises(PermissionDenied):
            services.kitchen_invitation_answer(by=by, invitation=invitation, accept=True)
        answer = reverse("members:kitchen-invitation-answer", args=[invitation.pk])
        assert signed_in(by).post(answer, {"answer": "accept"}).status_code == 404
    assert list(kitchen.people.all()) == [ada]


def test_a_former_member_is_not_asked(ada, bo, kitchen):
    services.member_deactivate(by=make_organiser(), person=bo)
    invitation = invited(ada, kitchen)
    assert invitation.person is None
    bo.refresh_from_db()
    with pytest.raises(PermissionDenied):
        services.kitchen_invitation_answer(by=bo, invitation=invitation, accept=True)


@pytest.mark.parametrize("email", ["", "nobody", "a b@example.test"])
def test_what_is_no_address_is_refused_by_field(ada, kitchen, email):
    with pytest.raises(ValidationError) as caught:
        services.kitchen_invite(by=ada, kitchen=kitchen, email=email)
    assert "email" in caught.value.message_dict


def test_one_asks_only_so_many_a_day_whatever_is_taken_back_meanwhile(ada, bo, kitchen):
    for number in range(10):
        services.kitchen_invitation_withdraw(by=ada, invitation=invited(ada, kitchen, f"p{number}@example.test"))
    with pytest.raises(ValidationError, match="Ask more tomorrow"):
        invited(ada, make_kitchen(ada))
    joined(bo, ada, make_kitchen(bo))  # another person asks as before


def test_others_and_organisers_have_no_say_in_a_household_and_a_hall_has_none(ada, bo, kitchen):
    hall, pending = make_kitchen(bo, is_hall=True), invited(ada, kitchen)
    for by, where in ((bo, kitchen), (make_organiser(), kitchen), (bo, hall)):
        with pytest.raises(PermissionDenied):
            services.kitchen_invite(by=by, kitchen=where, email="x@example.test")
        with pytest.raises(PermissionDenied):
            services.household_leave(by=by, kitchen=where)
        with pytest.raises(PermissionDenied):
            services.household_remove(by=by, kitchen=where, person=ada)
    for by in (bo, make_organiser()):
        with pytest.raises(PermissionDenied):
            services.kitchen_invitation_withdraw(by=by, invitation=pending)
        withdraw = reverse("members:kitchen-invitation-withdraw", args=[pending.pk])
        assert signed_in(by).post(withdraw).status_code == 404


# Keeping it


def test_who_named_the_kitchen_keeps_it_and_the_others_neither_ask_nor_remove(ada, bo, kitchen):
    named = services.kitchen_add(by=bo, name="Plum Lane")
    assert list(Kitchen.objects.kept_by(bo)) == [named]
    joined(ada, bo, kitchen)
    cy = make_person(name="Cy Plum")
    joined(ada, cy, kitchen)
    for refused in (
        lambda: services.kitchen_invite(by=bo, kitchen=kitchen, email="x@example.test"),
        lambda: services.household_remove(by=bo, kitchen=kitchen, person=cy),
        lambda: services.household_hand_on(by=bo, kitchen=kitchen, person=bo),
    ):
        with pytest.raises(PermissionDenied):
            refused()
    client = signed_in(bo)
    page = page_of(client, "kitchen-change", kitchen.pk)
    assert "Ada Plum keeps this kitchen" in page
    assert "Ask them" not in page
    for path in ("kitchen-person-remove", "kitchen-hand-on"):
        assert client.post(reverse(f"members:{path}", args=[kitchen.pk, cy.pk])).status_code == 403
    assert client.post(reverse("members:kitchen-person-add", args=[kitchen.pk]), {"email": BO}).status_code == 403
    assert set(kitchen.people.all()) == {ada, bo, cy}


def test_the_keepership_is_handed_on_and_who_founded_it_stays_all_the_same(ada, bo, kitchen):
    joined(ada, bo, kitchen)
    pending = invited(ada, kitchen, "x@example.test")
    signed_in(ada).post(reverse("members:kitchen-hand-on", args=[kitchen.pk, bo.pk]))
    assert (kitchen.household.get(is_keeper=True).user, kitchen.founded_by) == (bo, ada)
    with pytest.raises(ValidationError, match="founded this kitchen"):
        services.household_remove(by=bo, kitchen=kitchen, person=ada)
    answer = signed_in(bo).post(reverse("members:kitchen-person-remove", args=[kitchen.pk, ada.pk]), follow=True)
    assert "founded this kitchen" in answer.text
    assert set(kitchen.people.all()) == {ada, bo}
    services.kitchen_invitation_withdraw(by=ada, invitation=pending)  # they asked
    with pytest.raises(ValidationError, match="not of this kitchen"):
        services.household_hand_on(by=bo, kitchen=kitchen, person=make_person())


def test_the_database_knows_one_keeper_a_household_and_one_invitation_an_address(ada, bo, kitchen):
    with pytest.raises(IntegrityError), transaction.atomic():
        HouseholdMember.objects.create(kitchen=kitchen, user=bo, is_keeper=True)
    invited(ada, kitchen)
    with pytest.raises(IntegrityError), transaction.atomic():
        kitchen.invitations.create(email=BO.upper(), invited_by=ada, invited_at=timezone.now())


# Leaving


def test_leaving_is_one_s_own_act_and_the_next_one_keeps_the_kitchen(ada, bo, kitchen):
    joined(ada, bo, kitchen)
    with pytest.raises(ValidationError, match="press Leave"):
        services.household_remove(by=ada, kitchen=kitchen, person=ada)
    leave = reverse("members:kitchen-leave", args=[kitchen.pk])
    assert signed_in(make_organiser()).post(leave).status_code == 404
    assert "You left Plum Lane" in signed_in(ada).post(leave, follow=True).text
    kitchen.refresh_from_db()
    assert (list(kitchen.people.all()), kitchen.founded_by) == ([bo], None)
    assert list(Kitchen.objects.kept_by(bo)) == [kitchen]


def test_when_the_keeper_goes_who_founded_it_comes_before_who_was_there_longer(ada, bo, kitchen):
    cy = make_person()
    joined(ada, cy, kitchen)
    joined(ada, bo, kitchen)
    services.household_hand_on(by=ada, kitchen=kitchen, person=bo)
    services.household_leave(by=bo, kitchen=kitchen)
    assert list(Kitchen.objects.kept_by(ada)) == [kitchen]
    services.member_deactivate(by=make_organiser(), person=ada)
    assert list(Kitchen.objects.kept_by(cy)) == [kitchen]


def test_a_hall_is_nobody_s(bo):
    assert services.kitchen_add(by=bo, name="Plum Lane").founded_by == bo
    hall = services.kitchen_add(by=make_organiser(), name="Hall", is_hall=True)
    assert (hall.founded_by, hall.household.count()) == (None, 0)


def test_the_last_one_stays(ada, bo, kitchen):
    joined(ada, bo, kitchen)
    services.household_remove(by=ada, kitchen=kitchen, person=bo)
    services.household_remove(by=ada, kitchen=kitchen, person=bo)  # pressed twice
    with pytest.raises(ValidationError, match="the last one stays"):
        services.household_leave(by=ada, kitchen=kitchen)
    assert (
        "the last one stays"
        in signed_in(ada).post(reverse("members:kitchen-leave", args=[kitchen.pk]), follow=True).text
    )
    assert list(kitchen.people.all()) == [ada]


def test_who_goes_chose_it_no_more_and_what_they_asked_is_taken_back(ada, bo, kitchen):
    joined(ada, bo, kitchen)
    services.household_hand_on(by=ada, kitchen=kitchen, person=bo)
    friend = make_person(name="Friend of Bo")
    invitation = invited(bo, kitchen, friend.email)
    services.kitchen_choose(by=bo, kitchen=kitchen)
    services.household_hand_on(by=bo, kitchen=kitchen, person=ada)
    services.household_remove(by=ada, kitchen=kitchen, person=bo)
    bo.refresh_from_db()
    assert bo.kitchen_chosen is None
    with pytest.raises(ValidationError, match="This is over"):
        services.kitchen_invitation_answer(by=friend, invitation=invitation, accept=True)


# The pages


def test_the_answer_is_the_same_whether_or_not_a_member_has_the_address(ada, bo, kitchen):
    client, add = signed_in(ada), reverse("members:kitchen-person-add", args=[kitchen.pk])
    answers = []
    for email in (bo.email, "xy@example.test"):
        answer = client.post(add, {"email": email}, follow=True)
        assert answer.redirect_chain == [(reverse("members:kitchen-change", args=[kitchen.pk]), 302)]
        # But for the address itself, keys, and what is drawn anew for each page.
        answers.append(
            re.sub(
                r'(csrfmiddlewaretoken" value=|nonce=|X-CSRFToken": )"[^"]+"|/\d+/', "", answer.text.replace(email, "")
            )
        )
        services.kitchen_invitation_withdraw(by=ada, invitation=kitchen.invitations.get(email=email))
    assert answers[0] == answers[1]
    assert "Asked, no answer yet" in answers[0]
    assert "Bo Plum" not in answers[0]


def test_one_accepts_or_declines_on_one_s_own_page(ada, bo, kitchen):
    client, invitation = signed_in(bo), invited(ada, kitchen)
    page = page_of(client, "me")
    assert ada.email in page
    assert "Plum Lane" in page
    answer = reverse("members:kitchen-invitation-answer", args=[invitation.pk])
    assert client.get(answer).status_code == 405
    client.post(answer, {"answer": "perhaps"})
    assert list(kitchen.people.all()) == [ada]
    said = client.post(answer, {"answer": "accept"}, follow=True)
    assert "You preserve in Plum Lane too now." in said.text
    assert "You are asked into a kitchen" not in said.text
    assert set(kitchen.people.all()) == {ada, bo}
    assert "This is over" in client.post(answer, {"answer": "accept"}, follow=True).text  # pressed twice


def test_the_page_asks_keeps_what_was_typed_takes_back_and_removes(client, ada, bo, kitchen):
    client.force_login(ada)
    add = reverse("members:kitchen-person-add", args=[kitchen.pk])
    refused = client.post(add, {"email": "nobody@"})
    assert refused.status_code == 200
    assert "nobody@" in refused.text
    client.post(add, {"email": bo.email})
    invitation = kitchen.invitations.get()
    client.post(reverse("members:kitchen-invitation-withdraw", args=[invitation.pk]))
    assert "Asked, no answer yet" not in page_of(client, "kitchen-change", kitchen.pk)
    joined(ada, bo, kitchen)
    assert "Bo Plum" in page_of(client, "kitchen-change", kitchen.pk)
    client.post(reverse("members:kitchen-person-remove", args=[kitchen.pk, bo.pk]))
    assert list(kitchen.people.all()) == [ada]


def test_an_outsider_does_not_find_the_kitchen(client, bo, kitchen, ada):
    client.force_login(bo)
    assert client.post(reverse("members:kitchen-person-add", args=[kitchen.pk]), {"email": bo.email}).status_code == 404
    remove = reverse("members:kitchen-person-remove", args=[kitchen.pk, ada.pk])
    assert client.post(remove).status_code == 404
    assert list(kitchen.people.all()) == [ada]


@pytest.mark.parametrize("rows", [1, 30])
def test_the_pages_ask_as_much_for_thirty_invitations_as_for_one(ada, bo, kitchen, django_assert_max_num_queries, rows):
    now = timezone.now()
    for number in range(rows):
        told = {"invited_by": ada, "invited_at": now}
        KitchenInvitation.objects.create(kitchen=make_kitchen(ada), email=bo.email, person=bo, **told)
        KitchenInvitation.objects.create(kitchen=kitchen, email=f"p{number}@example.test", **told)
    theirs, hers = signed_in(bo), signed_in(ada)
    with django_assert_max_num_queries(10):
        assert page_of(theirs, "me").count("You are asked into a kitchen") == rows
    with django_assert_max_num_queries(11):
        assert page_of(hers, "kitchen-change", kitchen.pk).count("Take it back") == rows
