"""What a person says of how she is reached: the page, the services, and the link in a mail."""

from __future__ import annotations

from datetime import time

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from club.core.clock import zone_names
from club.members.choices import Role
from club.members.models import User
from club.reminders import services
from club.reminders.models import NotificationSettings, notification_settings_of
from club.reminders.rules import read_stop_token, stop_token
from club.reminders.services import RULES
from tests.factories.members import make_organiser, make_person
from tests.factories.reminders import make_notification_settings

pytestmark = pytest.mark.django_db

PAGE = "/reminders/wishes/"


@pytest.fixture
def person(client) -> User:
    person = make_person()
    client.force_login(person)
    return person


def fresh(person: User) -> NotificationSettings:
    return notification_settings_of(User.objects.get(pk=person.pk))


def said(**changes) -> dict:
    """The form as a person sends it who ticks all kinds that she may."""
    mailed = [rule.name for rule in RULES.values() if rule.may_mute and not rule.only_to]
    told = {"zone_name": "", "quiet_from": "21:30", "quiet_until": "07:30", "digest_weekday": "", "digest_hour": "8"}
    return {**told, "mailed": mailed, **changes}


def test_what_she_says_is_kept_and_shown_again(client, person):
    without = [kind for kind in said()["mailed"] if kind != "loan-due"]
    told = said(zone_name="Asia/Kathmandu", quiet_from="22:00", digest_weekday="0", digest_hour="17", mailed=without)
    answer = client.post(PAGE, told, follow=True)
    assert "Saved." in answer.content.decode()
    kept = fresh(person)
    assert (kept.zone_name, kept.quiet_from, kept.quiet_until) == ("Asia/Kathmandu", time(22), time(7, 30))
    assert (kept.digest_weekday, kept.digest_hour, kept.muted_kinds) == (0, 17, {"loan-due"})
    form = client.get(PAGE).context["form"]
    assert (form["zone_name"].value(), form["digest_weekday"].value()) == ("Asia/Kathmandu", 0)
    assert form["mailed"].value() == without


def test_no_box_ticked_means_everything_on_the_site_alone(client, person):
    client.post(PAGE, said(mailed=[]))
    assert fresh(person).muted_kinds == set(said()["mailed"])


def test_the_page_shows_the_defaults_to_somebody_who_said_nothing(client, person):
    page = client.get(PAGE).content.decode()
    assert 'value="21:30"' in page
    assert "the club&#x27;s (America/Denver)" in page
    assert not NotificationSettings.objects.exists()


@pytest.mark.parametrize(
    ("field", "wrong", "sentence"),
    [
        ("zone_name", "Atlantis/Harbour", "Atlantis/Harbour"),
        ("quiet_from", "25:00", "valid time"),
        ("digest_weekday", "7", "7"),
        ("digest_hour", "24", "24"),
        ("mailed", ["no-such-kind"], "no-such-kind"),
    ],
)
def test_nonsense_is_refused_beside_its_field_and_what_was_typed_stays(client, person, field, wrong, sentence):
    answer = client.post(PAGE, said(quiet_until="06:15") | {field: wrong})
    assert sentence in str(answer.context["form"].errors[field])
    assert 'value="06:15"' in answer.content.decode()
    assert not NotificationSettings.objects.exists()


@pytest.mark.parametrize(
    ("field", "wrong"),
    [("zone_name", "Atlantis/Harbour"), ("digest_weekday", 7), ("digest_hour", 24), ("mailed", ["gauge-due"])],
)
def test_the_service_refuses_by_field_whatever_the_form_let_through(person, field, wrong):
    told = {
        "zone_name": "",
        "quiet_from": time(22),
        "quiet_until": time(7),
        "digest_weekday": None,
        "digest_hour": 8,
        "mailed": [],
    }
    services.notification_settings_change(by=person, **told)
    with pytest.raises(ValidationError) as refused:
        services.notification_settings_change(by=person, **told | {field: wrong})
    assert list(refused.value.message_dict) == [field]


def test_a_keeper_chooses_kinds_that_a_member_is_not_offered(client, person):
    assert "Test a gauge" not in client.get(PAGE).content.decode()
    client.force_login(make_person(Role.KEEPER))
    assert "Test a gauge" in client.get(PAGE).content.decode()


def test_what_a_keeper_said_is_kept_while_she_is_none(person):
    make_notification_settings(person, muted="|gauge-due|")
    told = {"zone_name": "", "quiet_from": time(22), "quiet_until": time(7), "digest_weekday": None, "digest_hour": 8}
    services.notification_settings_change(by=person, mailed=["loan-due"], **told)
    assert "gauge-due" in fresh(person).muted_kinds
    assert "loan-due" not in fresh(person).muted_kinds


def test_a_kind_that_nobody_may_mute_is_told_and_not_offered(client, person, monkeypatch):
    rule = RULES["loan-due"]
    assert 'value="loan-due"' in client.get(PAGE).content.decode()
    monkeypatch.setattr(rule, "may_mute", False)
    page = client.get(PAGE).content.decode()
    assert 'value="loan-due"' not in page
    always = page.partition("These always come by mail too:")[2].partition("</p>")[0]
    assert "bring a thing back;" in always


def test_the_page_is_linked_from_me(client, person):
    assert f'href="{PAGE}"' in client.get(reverse("members:me")).content.decode()


def test_the_page_wants_a_person_and_a_get_or_a_post(client):
    assert client.get(PAGE).status_code == 302
    client.force_login(make_person())
    assert client.put(PAGE).status_code == 405


def test_every_time_zone_offered_is_one_that_this_machine_knows(person):
    names = zone_names()
    assert {"America/Denver", "Asia/Kathmandu", "Pacific/Apia"} <= set(names)
    assert all(str(NotificationSettings(person=person, zone_name=name).zone) == name for name in names)


@pytest.mark.parametrize("wrong", [{"digest_weekday": 7}, {"digest_hour": 24}, {"bounced_address": "a@example.test"}])
def test_the_database_refuses_wishes_that_make_no_sense(person, wrong):
    with pytest.raises(IntegrityError), transaction.atomic():
        make_notification_settings(person, **wrong)


# --- the link in a mail


@pytest.fixture
def outside() -> Client:
    """A mail program: nobody's sign-in, no page of ours, and the site watching for forged forms."""
    return Client(enforce_csrf_checks=True)


def stop_path(person: User, kind: str = "loan-due") -> str:
    return reverse("reminders:stop", args=[stop_token(person.pk, kind)])


def test_one_click_from_a_mail_program_mutes_that_kind_for_that_person_alone(outside):
    person, other = make_person(), make_person()
    answer = outside.post(stop_path(person), {"List-Unsubscribe": "One-Click"})
    assert answer.status_code == 200  # a redirect is not allowed
    assert "No more mails of this kind" in answer.content.decode()
    assert fresh(person).muted_kinds == {"loan-due"}
    assert fresh(other).muted_kinds == set()
    assert "sessionid" not in outside.cookies


def test_a_second_click_and_a_second_kind_add_up(outside):
    person = make_person()
    for kind in ("loan-due", "loan-due", "seal-check"):
        outside.post(stop_path(person, kind))
    assert fresh(person).muted == "|loan-due|seal-check|"


@pytest.mark.parametrize("ask", ["get", "head"])
def test_a_scanner_that_opens_every_link_changes_nothing(outside, ask):
    person = make_person()
    answer = getattr(outside, ask)(stop_path(person))
    assert answer.status_code == 200
    assert not NotificationSettings.objects.exists()


def test_the_page_of_the_link_has_one_button_and_signs_nobody_in(outside):
    person = make_person()
    page = outside.get(stop_path(person)).content.decode()
    assert page.count("<button") == 1
    assert "bring a thing back" in page
    assert person.email not in page
    assert outside.get(PAGE).status_code == 302


def test_a_link_of_another_years_still_works_after_she_left(outside):
    person = make_person()
    User.objects.update(is_active=False)
    assert outside.post(stop_path(person)).status_code == 200


@pytest.mark.parametrize("ask", ["get", "post"])
@pytest.mark.parametrize("how", ["tampered", "cut", "nonsense", "unknown kind", "no such person", "not to be muted"])
def test_a_link_that_is_not_ours_is_a_clear_404_and_changes_nothing(outside, monkeypatch, how, ask):
    person = make_person()
    token = stop_token(person.pk, "loan-due")
    assert outside.get(reverse("reminders:stop", args=[token])).status_code == 200
    if how == "not to be muted":
        monkeypatch.setattr(RULES["loan-due"], "may_mute", False)
    forged = {
        "tampered": "x" + token[1:],
        "cut": token[:-3],
        "nonsense": "anything",
        "unknown kind": stop_token(person.pk, "no-such-kind"),
        "no such person": stop_token(999_999, "loan-due"),
    }.get(how, token)
    answer = getattr(outside, ask)(reverse("reminders:stop", args=[forged]))
    assert answer.status_code == 404
    assert "This link is not one of ours" in answer.content.decode()
    assert not NotificationSettings.objects.exists()


def test_a_token_signed_for_something_else_is_no_token():
    from django.core.signing import Signer

    assert read_stop_token(Signer(salt="another").sign_object([1, "loan-due"])) is None
    assert read_stop_token(Signer(salt="kettlehall.reminders.stop").sign_object("loan-due")) is None
    assert read_stop_token(stop_token(1, "loan-due")) == (1, "loan-due")


# --- a mailbox that sends mail back


def test_a_bounce_is_noted_once_with_its_first_day_and_the_person_and_the_organiser_are_told(client, person):
    first, later = timezone.now(), timezone.now()
    assert services.mailbox_note_bounce(person=person, reason="550 5.1.1 <b>no</b> such box", now=first)
    assert not services.mailbox_note_bounce(person=person, reason="550 again", now=later)
    assert (fresh(person).bounced_at, fresh(person).bounce_reason) == (first, "550 5.1.1 <b>no</b> such box")
    for page in ("/people/me/", PAGE):
        shown = client.get(page).content.decode()
        assert f"Mail to {person.email} has come back" in shown
        assert "It works again" in shown
        assert "<b>no</b>" not in shown
    client.force_login(make_organiser())
    assert person.email in client.get("/reminders/").content.decode()
    shown = client.get(reverse("members:person", args=[person.pk])).content.decode()
    assert f"Mail to {person.email} has come back" in shown
    assert "It works again" not in shown


def test_she_says_that_it_works_again(client, person):
    services.mailbox_note_bounce(person=person, reason="550 5.1.1")
    assert client.get(reverse("reminders:mailbox-works")).status_code == 405
    assert fresh(person).is_bounced
    client.post(reverse("reminders:mailbox-works"))
    assert not fresh(person).is_bounced
    assert services.mailbox_note_bounce(person=person, reason="550 5.1.1")  # and when it comes back again, it is news


def test_another_address_lifts_it_by_itself(client, person):
    services.mailbox_note_bounce(person=person, reason="550 5.1.1")
    User.objects.filter(pk=person.pk).update(email="new@example.test")
    assert not fresh(person).is_bounced
    assert "has come back" not in client.get("/people/me/").content.decode()
    client.force_login(make_organiser())
    assert "send our mail back" not in client.get("/reminders/").content.decode()
