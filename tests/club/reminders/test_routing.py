"""Which way a reminder goes: by mail now, by mail when she is up, or on the site alone."""

from __future__ import annotations

from copy import copy
from datetime import UTC, datetime, time, timedelta

import pytest

from club.members.choices import Role
from club.members.models import User
from club.reminders import outbox
from club.reminders.models import NotificationSettings, Reminder, ReminderState
from club.reminders.outbox import Route, mail_headers, route_for
from club.reminders.rules import Rule, stop_link
from club.reminders.services import RULES
from tests.factories.members import make_person
from tests.factories.reminders import make_many_due, make_notification_settings, make_reminder, make_waiting_batch

pytestmark = pytest.mark.django_db

# In the club's zone, America/Denver, the first is ten past six in the evening and the second past midnight.
OUT = datetime(2026, 8, 15, 0, 10, tzinfo=UTC)
NIGHT = datetime(2026, 8, 15, 6, 11, tzinfo=UTC)
MORNING = datetime(2026, 8, 15, 13, 30, tzinfo=UTC)
NOON = datetime(2026, 8, 15, 18, 0, tzinfo=UTC)


@pytest.fixture
def person() -> User:
    return make_person()


def reminder_to(person: User, rule: str = "seal-check") -> Reminder:
    return Reminder(rule=rule, subject="batch:1", occurrence="x", person=User.objects.get(pk=person.pk))


def route(person: User, now: datetime, rule: str = "seal-check", **changes) -> Route:
    return route_for(reminder_to(person, rule), changed(rule, **changes), now)


def changed(name: str, **changes) -> Rule:
    rule = copy(RULES[name])
    vars(rule).update(changes)
    return rule


def test_without_wishes_the_night_of_the_club_is_quiet(person):
    assert not NotificationSettings.objects.exists()
    assert route(person, NOON) == Route()
    assert route(person, NIGHT) == Route(not_before=MORNING)
    assert route(person, MORNING) == Route()


def test_those_whom_the_drills_write_to_are_reached_by_night_as_well():
    make_many_due(2, now=NIGHT)
    outbox.gather(NIGHT)
    assert outbox.send_due(NIGHT) == {"sent": 2}


def test_what_cannot_wait_goes_out_at_night(person):
    assert route(person, NIGHT, may_wait=False) == Route()


def test_the_second_call_for_the_seals_cannot_wait_for_the_morning(person):
    # Four hours before reprocessing lapses: a night would be too long.
    assert route(person, NIGHT, "seal-second-call") == Route()


def test_quiet_hours_are_those_of_her_own_zone(person):
    make_notification_settings(person, zone_name="Asia/Kathmandu")
    assert route(person, NIGHT) == Route()  # 11:56 there
    assert route(person, NOON) == Route(not_before=datetime(2026, 8, 16, 1, 45, tzinfo=UTC))  # 07:30 there


def test_a_zone_that_this_machine_does_not_know_is_the_clubs(person):
    make_notification_settings(person, zone_name="Atlantis/Harbour")
    assert route(person, NIGHT) == Route(not_before=MORNING)


def test_the_same_hour_twice_is_no_quiet_hours(person):
    make_notification_settings(person, quiet_from=time(22), quiet_until=time(22))
    assert route(person, NIGHT) == Route()


def test_a_muted_kind_is_shown_on_the_site_alone_and_at_once(person):
    make_notification_settings(person, muted="|seal-check|")
    assert route(person, NIGHT) == Route(by_mail=False)
    assert route(person, NOON, "seal-second-call") == Route()


def test_a_kind_whose_name_is_part_of_a_muted_one_is_not_muted(person):
    make_notification_settings(person, muted="|loan-due-today|")
    assert route(person, NOON, "loan-due") == Route()


def test_a_kind_that_nobody_may_mute_comes_by_mail_even_if_it_was_muted_once(person):
    make_notification_settings(person, muted="|seal-check|")
    assert route(person, NOON, may_mute=False) == Route()


def test_with_a_digest_what_keeps_a_week_waits_for_it_and_the_rest_is_mailed(person):
    make_notification_settings(person, digest_weekday=0)
    assert route(person, NOON, keeps_a_week=True) == Route(by_mail=False)
    assert route(person, NOON, keeps_a_week=False) == Route()
    assert route(person, NOON, keeps_a_week=True, may_wait=False) == Route()


def test_an_address_that_bounced_gets_no_mail_until_it_is_another_one(person):
    make_notification_settings(person, bounced_address=person.email, bounced_at=NOON)
    assert route(person, NOON) == Route(by_mail=False)
    assert route(person, NOON, may_mute=False, may_wait=False) == Route(by_mail=False)
    User.objects.filter(pk=person.pk).update(email="new@example.test")
    assert route(person, NOON) == Route()


def test_the_wishes_come_with_the_person_and_cost_no_query_of_their_own(person, django_assert_num_queries):
    make_reminder(make_waiting_batch(OUT, by=person), now=NOON)
    [reminder] = Reminder.objects.select_related("person__notification_settings")
    with django_assert_num_queries(0):
        route_for(reminder, RULES["seal-check"], NOON)


@pytest.mark.parametrize("has_row", [True, False])
def test_read_without_them_they_cost_one_query(person, django_assert_num_queries, has_row):
    if has_row:
        make_notification_settings(person, digest_weekday=3)
    reminder = reminder_to(person)
    with django_assert_num_queries(1):
        for rule in RULES.values():
            route_for(reminder, rule, NOON)


def test_a_reminder_put_off_goes_out_when_the_night_is_over(person, mailoutbox):
    batch = make_waiting_batch(OUT, by=make_notification_settings(person).person)
    at = OUT + timedelta(hours=12)  # ten past six in the morning
    outbox.gather(at)
    outbox.send_due(at)
    reminder = Reminder.objects.get()
    assert (reminder.state, reminder.next_try_at, mailoutbox) == (ReminderState.DUE, MORNING, [])
    outbox.send_due(MORNING)
    assert [mail.to for mail in mailoutbox] == [[batch.made_by.email]]


def test_what_is_muted_is_kept_with_its_words_for_the_inbox(person, mailoutbox):
    batch = make_waiting_batch(OUT, by=make_notification_settings(person, muted="|seal-check|").person)
    make_reminder(batch, now=NIGHT)
    outbox.send_due(NIGHT)
    reminder = Reminder.objects.get()
    assert (reminder.state, mailoutbox) == (ReminderState.SHOWN, [])
    assert batch.lot_code in reminder.headline
    assert reminder.path == f"/batches/{batch.lot_code}/seals/"


def test_a_mail_names_where_its_kind_is_stopped_with_one_click(person, settings):
    settings.IS_HTTPS = True
    headers = mail_headers(reminder_to(person), RULES["seal-check"])
    assert headers["List-Unsubscribe"] == f"<{stop_link(person.pk, 'seal-check')}>"
    assert headers["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert headers["Auto-Submitted"] == "auto-generated"


def test_one_click_is_not_promised_where_the_site_is_not_on_https(person, settings):
    settings.IS_HTTPS = False
    headers = mail_headers(reminder_to(person), RULES["seal-check"])
    assert "List-Unsubscribe" in headers
    assert "List-Unsubscribe-Post" not in headers


def test_a_kind_that_nobody_may_mute_names_no_such_place(person):
    headers = mail_headers(reminder_to(person), changed("seal-check", may_mute=False))
    assert headers == {"Auto-Submitted": "auto-generated"}


def test_a_kind_that_nobody_may_mute_says_nothing_of_stopping_in_its_mail(person):
    reminder = make_reminder(make_waiting_batch(OUT, by=person), now=NOON)
    rule = RULES["seal-check"]
    assert "/reminders/stop/" in rule.message(reminder, NOON).text
    message = changed(rule.name, may_mute=False).message(reminder, NOON)
    assert "/reminders/stop/" not in message.text + message.html


def test_no_rule_of_the_house_both_waits_for_nothing_and_keeps_a_week():
    assert [rule.name for rule in RULES.values() if rule.keeps_a_week and not rule.may_wait] == []


def test_a_role_that_a_rule_is_for_is_a_role_of_the_club():
    assert {role for rule in RULES.values() for role in rule.only_to} <= set(Role)
