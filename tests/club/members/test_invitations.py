from __future__ import annotations

import re

import pytest
from allauth.account.models import EmailAddress
from django.core import mail
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.signing import TimestampSigner
from django.db import IntegrityError, transaction
from django.utils import timezone

from club.members import services
from club.members.choices import Role
from club.members.models import Invitation, User
from club.members.services import Closed, InvitationClosed, invitation_for_token, token_for
from tests.factories.members import make_invitation, make_person

pytestmark = pytest.mark.django_db

GOOD = {"name": "Gil Damson", "password": "three blue kettles", "units": "us"}


def closed_because(token):
    with pytest.raises(InvitationClosed) as closed:
        services.invitation_accept(token=token, **GOOD)
    return closed.value.reason


def test_an_invitation_makes_a_member_with_its_role_and_a_confirmed_email():
    invitation = make_invitation(email="Gil@Example.test", role=Role.KEEPER)
    user = services.invitation_accept(token=token_for(invitation.nonce), **GOOD)
    assert (user.email, user.name, user.units) == ("gil@example.test", "Gil Damson", "us")
    assert user.check_password(GOOD["password"])
    assert user.role_names == {"member", "keeper"}
    assert EmailAddress.objects.filter(user=user, email=user.email, verified=True, primary=True).exists()
    invitation.refresh_from_db()
    assert invitation.accepted_by == user


def test_an_invitation_is_good_once():
    token = token_for(make_invitation().nonce)
    services.invitation_accept(token=token, **GOOD)
    members = User.objects.count()
    assert closed_because(token) is Closed.USED
    assert User.objects.count() == members


def test_an_invitation_runs_out(days_later, settings):
    token = token_for(make_invitation().nonce)
    days_later(settings.INVITATION_DAYS + 0.001)
    assert closed_because(token) is Closed.EXPIRED


def test_an_invitation_is_good_until_its_last_day(days_later, settings):
    token = token_for(make_invitation().nonce)
    days_later(settings.INVITATION_DAYS - 0.01)
    assert services.invitation_accept(token=token, **GOOD).pk


def test_the_row_s_own_end_holds_even_under_a_fresh_signature():
    invitation = make_invitation()
    Invitation.objects.filter(pk=invitation.pk).update(expires_at=timezone.now())
    assert closed_because(token_for(invitation.nonce)) is Closed.EXPIRED


def test_a_changed_link_is_no_invitation():
    token = token_for(make_invitation().nonce)
    nonce, rest = token.split(":", 1)
    other = token_for(make_invitation().nonce)
    forged = [
        nonce,
        token[:-1] + ("A" if token[-1] != "A" else "B"),
        f"{other.split(':')[0]}:{rest}",
        TimestampSigner(salt="another purpose").sign(nonce),
        TimestampSigner(key="another key", salt="kettlehall.invitation").sign(nonce),
        "",
        "::",
    ]
    assert {closed_because(text) for text in forged} == {Closed.FORGED}


def test_a_withdrawn_invitation_is_dead(organiser):
    invitation = make_invitation()
    services.invitation_withdraw(by=organiser, invitation=invitation)
    services.invitation_withdraw(by=organiser, invitation=invitation)
    assert closed_because(token_for(invitation.nonce)) is Closed.WITHDRAWN


def test_sending_again_kills_the_older_link_and_starts_the_term_anew(organiser, days_later, settings):
    invitation = make_invitation()
    old = token_for(invitation.nonce)
    days_later(settings.INVITATION_DAYS + 1)
    services.invitation_send_again(by=organiser, invitation=invitation)
    new = token_for(invitation.nonce)
    assert new != old
    with pytest.raises(InvitationClosed):
        invitation_for_token(old, now=timezone.now())
    assert services.invitation_accept(token=new, **GOOD).pk


def test_the_older_link_says_that_there_is_a_newer_one(organiser):
    invitation = make_invitation()
    old = token_for(invitation.nonce)
    services.invitation_send_again(by=organiser, invitation=invitation)
    assert closed_because(old) is Closed.REPLACED


def test_what_is_settled_is_neither_sent_again_nor_withdrawn(organiser):
    accepted = make_invitation()
    services.invitation_accept(token=token_for(accepted.nonce), **GOOD)
    withdrawn = make_invitation()
    services.invitation_withdraw(by=organiser, invitation=withdrawn)
    with pytest.raises(ValidationError):
        services.invitation_withdraw(by=organiser, invitation=accepted)
    for invitation in (accepted, withdrawn):
        with pytest.raises(ValidationError):
            services.invitation_send_again(by=organiser, invitation=invitation)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"password": "short"}, "password"),
        ({"password": "1234567890123"}, "password"),
        ({"password": "gildamson99"}, "password"),
        ({"name": " "}, "name"),
        ({"units": "imperial"}, "units"),
    ],
)
def test_a_refused_answer_leaves_the_invitation_open(change, field):
    invitation = make_invitation(email="gildamson@example.test")
    with pytest.raises(ValidationError) as refused:
        services.invitation_accept(token=token_for(invitation.nonce), **{**GOOD, **change})
    assert list(refused.value.message_dict) == [field]
    assert not User.objects.filter(email=invitation.email).exists()
    assert services.invitation_accept(token=token_for(invitation.nonce), **GOOD).pk


def test_who_is_in_the_club_already_is_not_invited(organiser, member):
    EmailAddress.objects.create(user=member, email="second@example.test", verified=True)
    for email in (member.email.upper(), "second@example.test"):
        with pytest.raises(ValidationError) as refused:
            make_invitation(by=organiser, email=email)
        assert "in the club already" in refused.value.message_dict["email"][0]


def test_nobody_is_invited_twice_at_once(organiser):
    make_invitation(by=organiser, email="gil@example.test")
    with pytest.raises(ValidationError) as refused:
        make_invitation(by=organiser, email="GIL@example.test")
    assert "open invitation" in refused.value.message_dict["email"][0]


def test_the_database_itself_holds_one_unsettled_invitation_per_email(organiser):
    first = make_invitation(by=organiser, email="gil@example.test")
    with pytest.raises(IntegrityError), transaction.atomic():
        Invitation.objects.create(
            email="GIL@example.test", nonce="another", invited_by=organiser, expires_at=first.expires_at
        )


def test_after_one_ran_out_or_was_withdrawn_a_new_one_may_go(organiser, days_later, settings):
    first = make_invitation(by=organiser, email="gil@example.test")
    services.invitation_withdraw(by=organiser, invitation=first)
    make_invitation(by=organiser, email="gil@example.test")
    days_later(settings.INVITATION_DAYS + 1)
    third = make_invitation(by=organiser, email="gil@example.test")
    assert list(Invitation.objects.open(timezone.now())) == [third]


@pytest.mark.parametrize("email", ["", "gil", "gil@", "gil@example.test\nBcc: all@example.test"])
def test_what_is_no_email_is_not_mailed(organiser, email, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True), pytest.raises(ValidationError) as refused:
        services.invitation_send(by=organiser, email=email, name="", role="member")
    assert list(refused.value.message_dict) == ["email"]
    assert mail.outbox == []


def test_an_unknown_role_is_refused(organiser):
    with pytest.raises(ValidationError) as refused:
        services.invitation_send(by=organiser, email="gil@example.test", name="", role="queen")
    assert list(refused.value.message_dict) == ["role"]


@pytest.mark.parametrize("role", [Role.MEMBER, Role.INSTRUCTOR, Role.KEEPER])
def test_only_an_organiser_invites_and_withdraws(role):
    person, invitation = make_person(role), make_invitation()
    with pytest.raises(PermissionDenied):
        services.invitation_send(by=person, email="gil@example.test", name="", role="member")
    for change in (services.invitation_send_again, services.invitation_withdraw):
        with pytest.raises(PermissionDenied):
            change(by=person, invitation=invitation)
    assert Invitation.objects.open(timezone.now()).count() == 1


def test_the_mail_leaves_after_the_commit_and_its_link_works(organiser, settings, django_capture_on_commit_callbacks):
    settings.SITE_URL = "https://club.example.test"
    with django_capture_on_commit_callbacks(execute=True):
        invitation = make_invitation(by=organiser, email="gil@example.test", name="Gil <b>Damson")
        assert mail.outbox == []
    (sent,) = mail.outbox
    assert sent.to == ["gil@example.test"]
    html = sent.alternatives[0][0]
    for text in (sent.body, html):  # the address may be anybody's: not a word that somebody of the club wrote
        assert "Quince" not in text
        assert "Damson" not in text
    link = re.search(r"https://club\.example\.test/people/invitation/(\S+)/\n", sent.body)
    assert invitation_for_token(link[1], now=timezone.now()) == invitation
    assert f'href="{link[0].strip()}"' in html
    invitation.refresh_from_db()
    assert invitation.mailed_at is not None


def test_a_mail_server_that_is_down_leaves_the_invitation_and_says_so(
    organiser, settings, django_capture_on_commit_callbacks, caplog
):
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 9  # nobody listens there
    with django_capture_on_commit_callbacks(execute=True):
        invitation = make_invitation(by=organiser)
    invitation.refresh_from_db()
    assert invitation.mailed_at is None
    assert "could not be mailed" in caplog.text


def test_an_invitation_of_somebody_who_joined_meanwhile_is_not_sent_again(organiser):
    invitation = make_invitation(email="gil@example.test")
    make_person(email="gil@example.test")
    with pytest.raises(ValidationError, match="in the club already"):
        services.invitation_send_again(by=organiser, invitation=invitation)
    assert Invitation.objects.get().nonce == invitation.nonce


def test_a_name_too_long_to_keep_is_refused_at_its_field(organiser):
    with pytest.raises(ValidationError) as refused:
        services.invitation_send(by=organiser, email="gil@example.test", name="x" * 121, role="member")
    assert list(refused.value.message_dict) == ["name"]
    assert not Invitation.objects.exists()


def test_who_may_invite_no_more_lets_nobody_in(organiser):
    former, demoted = make_person(Role.ORGANISER), make_person(Role.ORGANISER)
    invitations = [make_invitation(by=by, role=Role.ORGANISER) for by in (former, demoted)]
    services.member_deactivate(by=organiser, person=former)
    services.role_take(by=organiser, person=demoted, role=Role.ORGANISER)
    assert [closed_because(token_for(one.nonce)) for one in invitations] == [Closed.WITHDRAWN] * 2


def test_another_organiser_sends_such_an_invitation_again_in_her_own_name(organiser):
    former = make_person(Role.ORGANISER)
    invitation = make_invitation(by=former)
    services.member_deactivate(by=organiser, person=former)
    again = services.invitation_send_again(by=organiser, invitation=invitation)
    assert again.invited_by == organiser
    assert services.invitation_accept(token=token_for(again.nonce), **GOOD).is_active
