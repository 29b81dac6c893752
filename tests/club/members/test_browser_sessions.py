"""Where a person is signed in, how long that lasts, and a code by mail in place of the password."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
import time_machine
from django.contrib.sessions.models import Session
from django.core import mail
from django.db import OperationalError
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from club.members.models import BrowserSession, BrowserSessionQuerySet, User
from club.members.tasks import sweep_sessions
from tests.club.members.test_sign_in import guess, is_signed_in, sign_in
from tests.factories.members import PASSWORD, make_codes, make_person
from tests.helpers import just_asked, signed_in

pytestmark = pytest.mark.django_db

FIREFOX = {"HTTP_USER_AGENT": "Mozilla/5.0 (Android 15; Mobile; rv:140.0) Gecko/140.0 Firefox/140.0"}


def in_(**gone):
    return time_machine.travel(timezone.now() + timedelta(**gone))


def test_one_s_sign_ins_are_listed_and_one_is_ended(member, django_assert_max_num_queries):
    phone, here = Client(), Client()
    sign_in(phone, member.email, **FIREFOX, REMOTE_ADDR="10.0.0.7")
    sign_in(here, member.email)
    signed_in(make_person())
    with django_assert_max_num_queries(9):
        page = here.get(reverse("members:browser-sessions"))
    assert [one.device for one in page.context["found"]] == ["An unknown browser", "Firefox, Android"]
    assert "10.0.0.7" in page.text
    lost = page.context["found"][1]
    here.post(reverse("members:browser-session-end", args=[lost.pk]))
    assert not is_signed_in(phone)
    assert is_signed_in(here)
    assert [one.pk for one in here.get(reverse("members:browser-sessions")).context["found"]] != [lost.pk]
    own = BrowserSession.objects.get(person=member)
    assert here.post(reverse("members:browser-session-end", args=[own.pk])).url == reverse("account_login")
    assert not is_signed_in(here)


def test_who_is_asked_again_goes_on_under_a_new_key(member):
    client = signed_in(member)
    before = client.cookies["sessionid"].value
    client.post(reverse("account_reauthenticate"), {"password": PASSWORD})
    assert client.cookies["sessionid"].value != before
    assert is_signed_in(client)
    assert not Session.objects.filter(session_key=before).exists()
    page = client.get(reverse("members:browser-sessions"))
    assert [one.session_key for one in page.context["found"]] == [client.cookies["sessionid"].value]


def test_nobody_ends_another_s_sign_in(member):
    phone = signed_in(member)
    theirs = BrowserSession.objects.get(person=member)
    other = signed_in(make_person())
    assert other.post(reverse("members:browser-session-end", args=[theirs.pk])).status_code == 404
    assert is_signed_in(phone)


def test_all_others_end_and_this_one_stays(member):
    phone, tablet, here = signed_in(member), signed_in(member), signed_in(member)
    BrowserSession.objects.filter(person=member).first().delete()  # one that no list shows ends too
    here.post(reverse("members:browser-sessions-end-others"))
    assert [is_signed_in(client) for client in (phone, tablet, here)] == [False, False, True]
    assert len(here.get(reverse("members:browser-sessions")).context["found"]) == 1


def test_a_sign_in_lasts_while_it_is_used_and_not_for_ever(member, settings):
    client = signed_in(member)
    for day in (13, 26, 39):
        with in_(days=day):
            assert is_signed_in(client)
    with in_(days=39 + 15):
        assert not is_signed_in(client)
    client, settings.SESSION_LONGEST_DAYS = signed_in(member), 20
    with in_(days=13):
        assert is_signed_in(client)
    with in_(days=21):
        assert not is_signed_in(client)


def test_a_database_that_takes_nothing_more_still_shows_its_pages(member, monkeypatch):
    client = signed_in(member)

    def full(self, **_values):
        raise OperationalError("database or disk is full")

    monkeypatch.setattr(BrowserSessionQuerySet, "update", full)
    with in_(minutes=5):
        assert is_signed_in(client)


def test_on_a_shared_device_a_sign_in_ends_soon_and_with_the_browser(client, member):
    client.post(reverse("account_login"), {"login": member.email, "password": PASSWORD, "shared_device": "on"})
    assert client.cookies["sessionid"]["max-age"] == ""
    assert "known" not in client.cookies
    assert "shared device" in client.get(reverse("members:browser-sessions")).text
    with in_(minutes=20):
        assert is_signed_in(client)
    with in_(minutes=45):
        assert is_signed_in(client)
    with in_(minutes=76):
        assert not is_signed_in(client)
    other = Client()
    sign_in(other, member.email)
    assert other.cookies["sessionid"]["max-age"] > 86_400
    with in_(minutes=76):
        assert is_signed_in(other)


def test_sessions_that_ran_out_are_forgotten(member):
    client = signed_in(member)
    with in_(days=10):
        signed_in(member)
    with in_(days=20):
        sweep_sessions()
    assert (Session.objects.count(), BrowserSession.objects.count()) == (1, 1)
    assert not is_signed_in(client)


# A code by mail.


def ask_code(client, email, **extra):
    return client.post(reverse("account_request_login_code"), {"email": email}, **extra)


def mailed_code():
    (sent,) = [one for one in mail.outbox if "code to sign in" in one.subject]
    return sent, re.search(r"^[A-Z]{4}-[A-Z]{4}$", sent.body, re.MULTILINE)[0]


def test_a_code_from_the_mail_signs_in_once_and_here_alone(client, member):
    asked = ask_code(client, member.email.upper(), follow=True)
    assert "The code from the mail" in asked.text
    sent, code = mailed_code()
    assert sent.to == [member.email]
    url = reverse("account_confirm_login_code")
    assert Client().post(url, {"code": code}).url == reverse("account_request_login_code")
    client.post(url, {"code": "AAAA-AAAA"})
    assert client.post(url, {"code": code, "shared_device": "on"}).url == reverse("desk:home")
    assert is_signed_in(client)
    assert client.cookies["sessionid"]["max-age"] == ""


def test_three_wrong_codes_end_it_and_so_do_ten_minutes(client, member):
    url = reverse("account_confirm_login_code")
    ask_code(client, member.email)
    _sent, code = mailed_code()
    for _try in range(3):
        client.post(url, {"code": "AAAA-AAAA"})
    client.post(url, {"code": code})
    assert not is_signed_in(client)
    mail.outbox.clear()
    ask_code(client, member.email)
    with in_(minutes=11):
        client.post(url, {"code": mailed_code()[1]})
    assert not is_signed_in(client)


def test_a_code_is_no_way_round_the_second_factor(client, member):
    make_codes(member)
    ask_code(client, member.email)
    asked = client.post(reverse("account_confirm_login_code"), {"code": mailed_code()[1]})
    assert asked.url == reverse("mfa_authenticate")
    assert not is_signed_in(client)


def test_a_code_goes_to_nobody_but_a_member_at_a_confirmed_address(client, member):
    known = ask_code(Client(), member.email, follow=True)
    mail.outbox.clear()
    member.emailaddress_set.create(email="later@example.test", verified=False)
    for email in ("nobody@example.test", "later@example.test", "ada@\u212ailn.test"):
        answer = ask_code(Client(), email, follow=True)
        assert answer.redirect_chain == known.redirect_chain
    User.objects.filter(pk=member.pk).update(is_active=False)
    ask_code(client, member.email)
    assert mail.outbox == []


def test_a_stranger_who_asks_for_codes_uses_up_their_own(member):
    for _try in range(4):
        ask_code(Client(), member.email, REMOTE_ADDR="10.0.0.1")
    assert len(mail.outbox) == 3
    ask_code(Client(), member.email, REMOTE_ADDR="10.9.0.1")
    assert len(mail.outbox) == 4
    for number in range(4):
        for _try in range(3):
            ask_code(Client(), member.email, REMOTE_ADDR=f"10.8.{number}.1")
    assert len(mail.outbox) == 10  # in an hour, from wherever they are asked for


def test_a_code_lets_in_whom_strangers_guesses_locked_out(client, member):
    for number in range(6):
        guess(Client(), member.email, REMOTE_ADDR=f"10.2.{number}.1")
    assert "Too many" in sign_in(client, member.email).text
    ask_code(client, member.email)
    client.post(reverse("account_confirm_login_code"), {"code": mailed_code()[1]})
    assert is_signed_in(client)


# Mail to addresses that nobody has confirmed.


def test_five_links_a_day_go_to_addresses_that_are_not_confirmed_and_none_carries_a_member_s_words(member):
    User.objects.filter(pk=member.pk).update(name="Buy cheap lids at lids.example")
    member.refresh_from_db()
    client, url = signed_in(member), reverse("account_email")
    just_asked(client)
    asked = [client.post(url, {"action_add": "", "email": f"stranger-{number}@example.test"}) for number in range(6)]
    assert [answer.status_code for answer in asked] == [302] * 5 + [429]
    assert [one.to for one in mail.outbox] == [[f"stranger-{number}@example.test"] for number in range(5)]
    assert not any("lids" in one.body or "lids" in one.subject for one in mail.outbox)
