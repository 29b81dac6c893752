from __future__ import annotations

import re
from datetime import timedelta

import pytest
from allauth.account.models import EmailAddress
from django.core import mail
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from club.members import services
from club.members.choices import Role
from club.members.models import AddressConsent, User
from club.reminders import outbox
from tests.factories.members import PASSWORD, make_person
from tests.helpers import signed_in

pytestmark = pytest.mark.django_db

FRAME = 'class="house-name"'


def sign_in(client, email, password=PASSWORD, **extra):
    return client.post(reverse("account_login"), {"login": email, "password": password}, **extra)


def changes_told(later=timedelta()):
    """Of each mail about a change, now that the outbox has had its round: to whom, and what was changed."""
    outbox.gather(timezone.now() + later)
    outbox.send_due(timezone.now() + later)
    begin = "Of your account: "
    return [(one.to, one.subject.partition(begin)[2]) for one in mail.outbox if begin in one.subject]


def is_signed_in(client):
    return client.get(reverse("members:me")).status_code == 200


def test_one_signs_in_with_email_and_password_however_the_email_is_written(client):
    member = make_person(email="ada@example.test")
    answer = sign_in(client, "ADA@example.test")
    assert (answer.status_code, answer.url) == (302, reverse("desk:home"))
    assert is_signed_in(client)
    assert str(member.pk) == client.session["_auth_user_id"]


@pytest.mark.parametrize("email", ["ada@example.test", "nobody@example.test"])
def test_a_wrong_password_and_an_unknown_email_are_answered_alike(client, email):
    make_person(email="ada@example.test")
    page = sign_in(client, email, "wrong password here")
    assert "The email address and/or password you specified are not correct." in page.text
    assert f'value="{email}"' in page.text
    assert not is_signed_in(client)


def test_after_five_wrong_passwords_even_the_right_one_waits(client, member):
    for _try in range(5):
        assert "Too many" not in sign_in(client, member.email, "wrong password here").text
    page = sign_in(client, member.email)
    assert "Too many failed login attempts" in page.text
    assert not is_signed_in(client)


def guess(client, email, times=5, **extra):
    for _try in range(times):
        sign_in(client, email, "wrong password here", **extra)


def test_another_port_or_another_device_of_a_network_gives_an_email_no_further_tries(client, member):
    for number in range(5):
        guess(client, member.email, 1, REMOTE_ADDR=f"10.0.0.{number}")
    page = sign_in(client, member.email, headers={"host": "testserver:4444"}, REMOTE_ADDR="10.0.0.9")
    assert "Too many failed login attempts" in page.text
    assert not is_signed_in(client)


def test_who_guesses_from_one_network_slows_nobody_elsewhere(member):
    guess(Client(), member.email, REMOTE_ADDR="10.0.0.1")
    assert sign_in(Client(), member.email, REMOTE_ADDR="10.0.9.1").status_code == 302
    guess(Client(), member.email, REMOTE_ADDR="2001:db8:1:2::3")
    assert "Too many" in sign_in(Client(), member.email, REMOTE_ADDR="2001:db8:1:3::3").text
    assert sign_in(Client(), member.email, REMOTE_ADDR="2001:db8:2::3").status_code == 302


def test_guesses_from_everywhere_lock_strangers_out_and_not_the_device_one_knows(member):
    known = Client()
    assert sign_in(known, member.email, REMOTE_ADDR="10.1.0.1").status_code == 302
    known.post(reverse("account_logout"))
    for number in range(6):
        guess(Client(), member.email, REMOTE_ADDR=f"10.2.{number}.1")
    new = Client()
    assert "Too many" in sign_in(new, member.email, REMOTE_ADDR="10.3.0.1").text
    # The club's own cookie for that device, and no other's.
    new.cookies["known"] = "forged"
    assert "Too many" in sign_in(new, member.email, REMOTE_ADDR="10.3.0.1").text
    other = make_person()
    sign_in(new, other.email, REMOTE_ADDR="10.3.0.1")
    new.post(reverse("account_logout"))
    assert "Too many" in sign_in(new, member.email, REMOTE_ADDR="10.3.0.1").text
    assert sign_in(known, member.email, REMOTE_ADDR="10.3.0.1").status_code == 302
    # And a known device has five tries, no more.
    known.post(reverse("account_logout"))
    guess(known, member.email, 4, REMOTE_ADDR="10.1.0.1")
    guess(known, member.email, 1, REMOTE_ADDR="10.7.0.1")
    assert "Too many" in sign_in(known, member.email, REMOTE_ADDR="10.8.0.1").text


def test_a_device_is_known_until_the_password_is_another_or_all_were_signed_out(member):
    device = Client()
    sign_in(device, member.email)
    services.sessions_end_everywhere(user=member)
    for number in range(6):
        guess(Client(), member.email, REMOTE_ADDR=f"10.2.{number}.1")
    assert "Too many" in sign_in(device, member.email, REMOTE_ADDR="10.3.0.1").text


def test_a_new_password_through_the_mail_lets_in_whom_strangers_locked_out(client, member):
    for number in range(6):
        guess(Client(), member.email, REMOTE_ADDR=f"10.2.{number}.1")
    client.post(reverse("account_reset_password"), {"email": member.email})
    link = re.search(r"http://127.0.0.1:8000(\S+)", mail.outbox[0].body)[1]
    form = client.get(link, follow=True)
    new = {"password1": "nine silver spoons", "password2": "nine silver spoons"}
    client.post(form.request["PATH_INFO"], new)
    assert sign_in(client, member.email, "nine silver spoons").status_code == 302


@pytest.mark.parametrize("lookalike", ["ada@k\u0131ln.test", "ada@\u212ailn.test"])
def test_an_email_that_only_a_database_takes_for_another_is_nobody_s(client, lookalike):
    """PostgreSQL finds a dotless i where it looks for an i in any case; a mail to it goes to somebody else."""
    person = make_person(email="ada@kiln.test")
    with pytest.raises(User.DoesNotExist):
        User.objects.get_by_natural_key("ada@k\u0131ln.test")
    sign_in(client, lookalike)
    assert set(EmailAddress.objects.filter(user=person).values_list("email", flat=True)) == {"ada@kiln.test"}
    mail.outbox.clear()
    client.post(reverse("account_reset_password"), {"email": lookalike})
    assert all(sent.to == ["ada@kiln.test"] for sent in mail.outbox)


def test_a_wrong_password_is_hashed_once(client, member, monkeypatch):
    asked = []
    monkeypatch.setattr(User, "check_password", lambda self, raw: asked.append(raw))
    sign_in(client, member.email, "wrong password here")
    assert asked == ["wrong password here"]


def test_a_mail_leads_to_the_club_s_address_whatever_host_and_port_the_request_named(client, member, settings):
    settings.SITE_URL = "https://club.example.test"
    client.post(reverse("account_reset_password"), {"email": member.email}, headers={"host": "testserver:4444"})
    User.objects.create_user("gil@example.test", PASSWORD, name="Gil Damson")
    sign_in(client, "gil@example.test", headers={"host": "testserver:4444"})
    assert [re.findall(r"https?://[^/\s]+", sent.body) for sent in mail.outbox] == [["https://club.example.test"]] * 2


def test_thirty_tries_in_a_minute_from_one_place_are_too_many(client):
    answers = [sign_in(client, f"nobody-{number}@example.test", "wrong password here") for number in range(31)]
    assert {answer.status_code for answer in answers[:30]} == {200}
    assert answers[30].status_code == 429
    assert "Too many tries" in answers[30].text
    assert FRAME in answers[30].text


def test_sign_up_is_shut(client):
    url = reverse("account_signup")
    told = {"email": "gil@example.test", "password1": PASSWORD}
    for page in (client.get(url), client.post(url, told)):
        assert "by invitation" in page.text
    assert not User.objects.exists()


def test_a_forgotten_password_is_changed_through_the_mailed_link(client, member):
    old = Client()
    old.force_login(member)
    asked = client.post(reverse("account_reset_password"), {"email": member.email}, follow=True)
    assert "Look in your mail" in asked.text
    (sent,) = mail.outbox
    assert sent.to == [member.email]
    assert "choose a new password" in sent.subject
    assert sent.body.startswith("Hello Ada Plum,")
    link = re.search(r"http://127.0.0.1:8000(\S+)", sent.body)[1]
    form = client.get(link, follow=True)
    assert "Choose a new password" in form.text
    new = {"password1": "nine silver spoons", "password2": "nine silver spoons"}
    done = client.post(form.request["PATH_INFO"], new, follow=True)
    assert "Your password is changed" in done.text
    assert not is_signed_in(old)
    sign_in(client, member.email, "nine silver spoons")
    assert is_signed_in(client)
    assert changes_told() == [([member.email], "the password was changed through a link in a mail")]
    again = Client().get(link, follow=True)
    assert "This link does not work" in again.text


def test_a_reset_for_an_unknown_email_mails_nobody_and_looks_the_same(client, member):
    known = client.post(reverse("account_reset_password"), {"email": member.email}, follow=True)
    mail.outbox.clear()
    unknown = client.post(reverse("account_reset_password"), {"email": "nobody@example.test"}, follow=True)
    assert mail.outbox == []
    assert unknown.redirect_chain == known.redirect_chain


def test_a_stranger_s_resets_do_not_use_up_the_member_s(client, member):
    stranger = Client(REMOTE_ADDR="198.51.100.7")
    for number in range(6):
        asked = stranger.post(reverse("account_reset_password"), {"email": member.email})
        assert (asked.status_code == 302) is (number < 5)
    assert "Too many" in asked.text
    assert len(mail.outbox) == 5
    assert client.post(reverse("account_reset_password"), {"email": member.email}).status_code == 302
    assert len(mail.outbox) == 6


def test_a_reset_for_a_former_member_mails_nobody(client, organiser, member):
    services.member_deactivate(by=organiser, person=member)
    client.post(reverse("account_reset_password"), {"email": member.email})
    assert mail.outbox == []


def test_an_unconfirmed_email_signs_nobody_in_and_gets_its_link(client):
    user = User.objects.create_user("gil@example.test", PASSWORD, name="Gil Damson")
    page = sign_in(client, user.email, follow=True)
    assert "Confirm your email" in page.text
    assert not is_signed_in(client)
    link = re.search(r"http://127.0.0.1:8000(\S+)", mail.outbox[0].body)[1]
    assert "Is gil@example.test an email of Gil Damson?" in " ".join(client.get(link).text.split())
    client.post(link)
    assert EmailAddress.objects.get(user=user).verified
    sign_in(client, user.email)
    assert is_signed_in(client)


def test_signing_out_ends_this_session_only(member_client, member):
    phone = Client()
    phone.force_login(member)
    member_client.post(reverse("account_logout"))
    assert not is_signed_in(member_client)
    assert is_signed_in(phone)


def test_the_admin_site_s_sign_in_is_the_club_s_own(client):
    answer = client.get(reverse("admin:login"))
    assert answer.status_code == 302
    assert answer.url.startswith(reverse("account_login"))


def test_a_member_does_not_get_into_the_admin_site(member_client):
    assert member_client.get(reverse("admin:login")).status_code == 403


def test_a_superuser_sees_people_in_the_admin_site_but_invites_them_as_everybody(client):
    client.force_login(User.objects.create_superuser("root@example.test", PASSWORD, name="Root"))
    person = make_person()
    assert person.email in client.get(reverse("admin:members_user_changelist")).text
    assert client.get(reverse("admin:members_user_change", args=[person.pk])).status_code == 200
    assert client.get(reverse("admin:members_user_add")).status_code == 403


@pytest.mark.parametrize(
    "name",
    [
        "account_login",
        "account_signup",
        "account_inactive",
        "account_reset_password",
        "account_reset_password_done",
        "account_reset_password_from_key_done",
        "account_email_verification_sent",
    ],
)
def test_the_pages_before_sign_in_look_like_the_site(client, name):
    page = client.get(reverse(name))
    assert page.status_code == 200
    assert FRAME in page.text
    assert len(re.findall(r"<h1\b", page.text)) == 1


@pytest.mark.parametrize(
    "name", ["account_logout", "account_email", "account_change_password", "account_reauthenticate"]
)
def test_the_pages_about_one_s_sign_in_look_like_the_site(member_client, name):
    page = member_client.get(reverse(name))
    assert page.status_code == 200
    assert FRAME in page.text
    assert len(re.findall(r"<h1\b", page.text)) == 1


def test_a_dead_confirmation_link_says_what_to_do(client):
    page = client.get(reverse("account_confirm_email", args=["no-such-key"]))
    assert "This link does not work" in page.text
    assert FRAME in page.text


def test_an_email_is_changed_by_adding_confirming_and_choosing_it(member_client, member):
    url, old = reverse("account_email"), member.email
    asked = member_client.post(url, {"action_add": "", "email": "new@example.test"})
    assert asked.url.startswith(reverse("account_reauthenticate"))
    say_password(member_client, next=url)
    link = re.search(r"http://127.0.0.1:8000(\S+)", mail.outbox[0].body)[1]
    assert mail.outbox[0].to == ["new@example.test"]
    member_client.post(url, {"action_primary": "", "email": "new@example.test"})
    member.refresh_from_db()
    assert member.email != "new@example.test"  # not confirmed yet
    member_client.post(link)
    member_client.post(url, {"action_primary": "", "email": "new@example.test"})
    member.refresh_from_db()
    assert member.email == old  # whoever reads the old one has not agreed
    client = Client()
    agree = consent_link(old)
    assert "new@example.test" in client.get(agree).text
    client.post(agree)
    assert client.get(agree).status_code == 410
    member_client.post(url, {"action_primary": "", "email": "new@example.test"})
    member.refresh_from_db()
    assert member.email == "new@example.test"
    assert changes_told() == [([old], "the email that signs you in was changed")]
    assert "new@example.test" in mail.outbox[-1].body
    assert mail.outbox[-1].body.startswith("Hello Ada,")


def consent_link(address):
    """From the mail to somebody's present address, whether another is theirs as well."""
    changes_told()
    (asked,) = [one for one in mail.outbox if "Is another email yours" in one.subject]
    assert asked.to == [address]
    return re.search(r"http://127.0.0.1:8000(\S+)", asked.body)[1]


def test_an_organiser_agrees_for_who_has_lost_the_old_mailbox(organiser_client, member):
    new = EmailAddress.objects.create(user=member, email="new@example.test")
    assert not services.address_ask(address=new)
    consent = AddressConsent.objects.get()
    page = reverse("members:person", args=[member.pk])
    assert "new@example.test" in organiser_client.get(page).text
    address = reverse("members:address-agree-for", args=[member.pk, consent.pk])
    assert signed_in(make_person(Role.KEEPER)).post(address).status_code == 403
    organiser_client.post(address)
    new.refresh_from_db()
    assert new.verified
    assert organiser_client.post(address).status_code == 404


def test_a_link_of_an_earlier_address_or_after_two_weeks_agrees_to_nothing(client, member, days_later):
    new = EmailAddress.objects.create(user=member, email="new@example.test")
    services.address_ask(address=new)
    link = consent_link(member.email)
    old, member.email = member.email, "present@example.test"
    member.save()
    assert client.post(link).status_code == 410
    member.email = old
    member.save()
    assert client.post(link.replace("address/", "address/x")).status_code == 410
    days_later(15)
    assert client.post(link).status_code == 410
    new.refresh_from_db()
    assert not new.verified


def say_password(client, password=PASSWORD, **more):
    return client.post(reverse("account_reauthenticate"), {"password": password, **more})


@pytest.mark.parametrize("action", ["action_add", "action_primary", "action_remove"])
def test_a_borrowed_browser_changes_no_email_without_the_password(client, member, action):
    """Signed in with the password a moment ago, and yet asked again."""
    EmailAddress.objects.create(user=member, email="second@example.test", verified=True)
    sign_in(client, member.email)
    before, url = set(EmailAddress.objects.values_list("email", "primary")), reverse("account_email")
    email = "thief@example.test" if action == "action_add" else "second@example.test"
    asked = client.post(url, {action: "", "email": email})
    assert asked.url.startswith(reverse("account_reauthenticate"))
    assert "Is it you?" in client.get(asked.url).text
    assert "Is it you?" in say_password(client, "wrong password here", next=url).text
    client.post(url, {action: "", "email": email})
    member.refresh_from_db()
    assert set(EmailAddress.objects.values_list("email", "primary")) == before
    assert member.email != email
    assert mail.outbox == []


def test_an_email_removed_is_told_to_the_one_that_stays(member_client, member):
    EmailAddress.objects.create(user=member, email="second@example.test", verified=True)
    url = reverse("account_email")
    member_client.post(url, {"action_remove": "", "email": "second@example.test"})
    say_password(member_client, next=url)
    assert not EmailAddress.objects.filter(email="second@example.test").exists()
    assert changes_told() == [([member.email], "an email was removed")]
    assert "second@example.test" in mail.outbox[-1].body


def test_a_changed_password_is_told_by_mail(member_client, member):
    new = {"oldpassword": "wrong password here", "password1": "nine silver spoons", "password2": "nine silver spoons"}
    member_client.post(reverse("account_change_password"), new)
    assert changes_told() == []
    member_client.post(reverse("account_change_password"), {**new, "oldpassword": PASSWORD})
    assert changes_told() == [([member.email], "the password was changed")]
    assert "tell an organiser" in mail.outbox[-1].body


def test_a_mail_server_that_is_away_delays_the_news_of_a_change_and_breaks_no_page(member_client, member, monkeypatch):
    def away(self, *args, **kwargs):
        raise ConnectionRefusedError

    new = {"oldpassword": PASSWORD, "password1": "nine silver spoons", "password2": "nine silver spoons"}
    with monkeypatch.context() as no_mail:
        no_mail.setattr("django.core.mail.EmailMessage.send", away)
        assert member_client.post(reverse("account_change_password"), new).status_code == 302
        assert changes_told() == []
    assert User.objects.get(pk=member.pk).check_password("nine silver spoons")
    assert changes_told(timedelta(hours=2)) == [([member.email], "the password was changed")]


def test_an_unknown_address_is_answered_in_the_site_s_own_words(member_client):
    page = member_client.get("/people/no-such-page/")
    assert page.status_code == 404
    assert "There is nothing here" in page.text
    assert FRAME in page.text


def test_a_form_without_its_token_is_answered_in_the_site_s_own_words(member):
    browser = Client(enforce_csrf_checks=True)
    browser.force_login(member)
    page = browser.post(reverse("members:sign-out-everywhere"))
    assert page.status_code == 403
    assert "This form has grown stale" in page.text
    assert is_signed_in(browser)


@pytest.mark.parametrize("name", ["400.html", "500.html"])
def test_the_pages_for_a_broken_site_need_nothing_of_the_site(name):
    from django.template.loader import get_template

    page = get_template(name).render()
    assert "<h1>" in page
    assert "static" not in page


def test_the_groups_that_roles_are_cannot_be_changed_in_the_admin_site(client):
    client.force_login(User.objects.create_superuser("root@example.test", PASSWORD, name="Root"))
    assert client.get(reverse("admin:index")).status_code == 200
    assert client.get("/admin/auth/group/").status_code == 404
