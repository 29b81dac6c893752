from __future__ import annotations

from uuid import uuid4

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse

from club.members import services
from club.members.choices import Role
from club.members.models import Invitation, User
from club.members.services import token_for
from tests.factories.members import make_invitation, make_person

pytestmark = pytest.mark.django_db

ANSWER = {
    "name": "Gil Damson",
    "password": "three blue kettles",
    "password_again": "three blue kettles",
    "units": "us",
}


def link_of(invitation):
    return reverse("members:invitation", args=[token_for(invitation.nonce)])


def test_from_the_link_to_a_named_kitchen_in_one_go(client):
    url = link_of(make_invitation(email="gil@example.test", name="Gil"))
    page = client.get(url)
    assert page.status_code == 200
    assert 'value="Gil"' in page.text
    assert "gil@example.test" in page.text
    accepted = client.post(url, ANSWER, follow=True)
    assert accepted.redirect_chain == [(reverse("members:kitchen-add"), 302)]
    assert "Welcome to the club, Gil Damson" in accepted.text
    kitchen = {
        "token": uuid4(),
        "name": "Damson Cottage",
        "altitude": "3,400",
        "altitude_unit": "ft",
        "altitude_how": "map",
    }
    named = client.post(reverse("members:kitchen-add"), kitchen, follow=True)
    assert "Damson Cottage is saved at 3,400 ft (1,036.4 m)." in named.text
    assert User.objects.get(email="gil@example.test").kitchens.get().altitude.feet == 3400


def test_of_two_browsers_with_one_link_the_second_is_told(client):
    url = link_of(make_invitation())
    second = Client()
    assert second.get(url).status_code == 200
    client.post(url, ANSWER)
    late = second.post(url, {**ANSWER, "name": "Somebody Else"})
    assert late.status_code == 410
    assert "has been used" in late.text
    assert not User.objects.filter(name="Somebody Else").exists()
    assert second.get(reverse("members:me")).status_code == 302


def test_who_presses_twice_is_let_through(client):
    url = link_of(make_invitation())
    client.post(url, ANSWER)
    again = client.post(url, ANSWER)
    assert (again.status_code, again.url) == (302, reverse("members:kitchen-add"))


@pytest.mark.parametrize("is_signed_in", [True, False])
@pytest.mark.parametrize(
    ("state", "status", "words"),
    [
        ("used", 410, "has been used"),
        ("expired", 410, "has run out"),
        ("withdrawn", 410, "was withdrawn"),
        ("replaced", 410, "a newer link"),
        ("forged", 404, "not an invitation of ours"),
    ],
)
def test_a_closed_invitation_says_why_and_what_to_do(
    client, organiser, days_later, settings, state, status, words, is_signed_in
):
    invitation = make_invitation(by=organiser)
    url = link_of(invitation)
    if state == "used":
        Client().post(url, ANSWER)
    elif state == "withdrawn":
        services.invitation_withdraw(by=organiser, invitation=invitation)
    elif state == "replaced":
        services.invitation_send_again(by=organiser, invitation=invitation)
    elif state == "expired":
        days_later(settings.INVITATION_DAYS + 1)
    else:
        url = url[:-3] + "xx/"
    if is_signed_in:
        client.force_login(make_person())
    people = User.objects.count()
    for page in (client.get(url), client.post(url, ANSWER)):
        assert page.status_code == status
        assert words in page.text
        assert (reverse("desk:home") if is_signed_in else reverse("account_login")) in page.text
    assert User.objects.count() == people


def test_somebody_signed_in_is_asked_to_sign_out_first(member_client):
    invitation = make_invitation(email="gil@example.test")
    for page in (member_client.get(link_of(invitation)), member_client.post(link_of(invitation), ANSWER)):
        assert page.status_code == 409
        assert "for somebody else" in page.text
    assert not User.objects.filter(email="gil@example.test").exists()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"password_again": "three blue kettle"}, "not the same"),
        ({"password": "short", "password_again": "short"}, "too short"),
        ({"units": "imperial"}, "not one of the available choices"),
        ({"name": ""}, "required"),
    ],
)
def test_what_is_wrong_is_said_and_what_was_typed_is_kept_but_no_password(client, change, words):
    answer = {**ANSWER, "name": "Gil Damson-Kettle", **change}
    page = client.post(link_of(make_invitation()), answer)
    assert page.status_code == 200
    assert words in page.text
    assert answer["name"] in page.text
    assert "three blue kettles" not in page.text
    assert User.objects.count() == 1  # who invited


def test_a_member_who_joined_otherwise_meanwhile_is_told(client):
    invitation = make_invitation(email="gil@example.test")
    make_person(email="gil@example.test")
    page = client.post(link_of(invitation), ANSWER)
    assert "in the club already" in page.text
    assert User.objects.filter(email="gil@example.test").count() == 1


def test_an_organiser_invites_from_the_people_page(organiser_client, django_capture_on_commit_callbacks):
    told = {"email": "gil@example.test", "name": "Gil", "role": "keeper"}
    with django_capture_on_commit_callbacks(execute=True):
        page = organiser_client.post(reverse("members:invite"), told, follow=True)
    assert "on its way to gil@example.test" in page.text
    assert "mail not sent" not in organiser_client.get(reverse("members:people")).text
    assert [sent.to for sent in mail.outbox] == [["gil@example.test"]]
    assert Invitation.objects.get().role == "keeper"


def test_inviting_a_member_again_is_refused_beside_the_field_with_what_was_typed(organiser_client, member):
    page = organiser_client.post(reverse("members:invite"), {"email": member.email, "name": "Zoe", "role": "keeper"})
    assert page.context["form"].errors["email"] == ["Somebody with this email is in the club already."]
    assert 'value="Zoe"' in page.text
    assert "in the club already" in page.text


def test_an_invitation_pressed_twice_goes_once(organiser_client):
    told = {"email": "gil@example.test", "name": "", "role": "member"}
    organiser_client.post(reverse("members:invite"), told)
    again = organiser_client.post(reverse("members:invite"), told)
    assert "open invitation" in again.text
    assert Invitation.objects.count() == 1


def test_send_again_and_withdraw_have_their_buttons(organiser_client):
    invitation = make_invitation(email="gil@example.test")
    old = invitation.nonce
    people = reverse("members:people")
    assert "mail not sent" in organiser_client.get(people).text
    organiser_client.post(reverse("members:invitation-send-again", args=[invitation.pk]))
    invitation.refresh_from_db()
    assert invitation.nonce != old
    page = organiser_client.post(reverse("members:invitation-withdraw", args=[invitation.pk]), follow=True)
    assert "is withdrawn" in page.text
    assert "Nobody is waiting to join" in page.text
    late = organiser_client.post(reverse("members:invitation-send-again", args=[invitation.pk]), follow=True)
    assert "withdrawn already" in late.text


@pytest.mark.parametrize("name", ["invitation-send-again", "invitation-withdraw"])
def test_the_buttons_are_the_organiser_s_alone(client, name):
    url = reverse(f"members:{name}", args=[make_invitation().pk])
    assert client.post(url).status_code == 302
    client.force_login(make_person(Role.KEEPER, Role.INSTRUCTOR))
    assert client.post(url).status_code == 403
    client.force_login(make_person(Role.ORGANISER))
    assert client.get(url).status_code == 405
    assert client.post(reverse(f"members:{name}", args=[999_999])).status_code == 404
    assert client.post(url).status_code == 302


def test_the_link_page_takes_nothing_but_get_and_post(client):
    assert client.put(link_of(make_invitation())).status_code == 405
