"""The weekly digest: what could wait, in one mail, on her day and at her hour."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest

from club.members.choices import Role
from club.members.models import User
from club.reminders import outbox
from club.reminders.models import Reminder, ReminderState
from club.reminders.services import RULES, inbox_read_all, kind_mute, mailbox_note_bounce
from inventory.jars.services import supply_use
from tests.factories.jars import make_stock, make_supply
from tests.factories.members import make_person
from tests.factories.reminders import make_notification_settings, make_received

pytestmark = pytest.mark.django_db

DENVER = ZoneInfo("America/Denver")
MONDAY = datetime(2026, 9, 14, 8, 0, tzinfo=DENVER)
FRIDAY = datetime(2026, 9, 11, 12, 0, tzinfo=DENVER)


@pytest.fixture
def keeper() -> User:
    """On Mondays at eight."""
    return make_notification_settings(make_person(Role.KEEPER), digest_weekday=0).person


@pytest.fixture
def low(keeper):
    """A supply that has run low; nothing else is due."""
    supply = make_supply("Pectin", by=keeper, low_level=2)
    make_stock(supply, 3, by=keeper)
    supply_use(by=keeper, supply=supply, count=2, token=uuid4())
    type(supply).objects.update(low_since=FRIDAY)
    return supply


def tick(now: datetime) -> None:
    outbox.gather(now)
    outbox.send_due(now)


def digests(mailoutbox) -> list[str]:
    return [mail.subject for mail in mailoutbox]


def test_what_can_wait_is_shown_on_friday_and_mailed_together_on_monday_once(low, keeper, mailoutbox):
    tick(FRIDAY)
    assert Reminder.objects.get().state == ReminderState.SHOWN
    tick(MONDAY - timedelta(minutes=1))
    assert mailoutbox == []
    for minutes in (0, 1, 60, 24 * 60):
        tick(MONDAY + timedelta(minutes=minutes))
    assert digests(mailoutbox) == ["This week: 1 thing"]
    [mail] = mailoutbox
    assert "- Running low: Pectin" in mail.body
    assert "https://club.example.test/reminders/inbox/" in mail.body
    assert "List-Unsubscribe" in mail.extra_headers


def test_a_week_without_anything_brings_no_mail(keeper, mailoutbox):
    tick(MONDAY)
    assert mailoutbox == []
    assert not Reminder.objects.exists()


def test_what_was_settled_or_read_meanwhile_is_left_out_and_an_empty_digest_is_not_sent(low, keeper, mailoutbox):
    tick(FRIDAY)
    outbox.gather(MONDAY)
    digest = Reminder.objects.get(rule="weekly-digest")
    assert RULES["weekly-digest"].still_due(digest, MONDAY)
    make_stock(low, 9, by=keeper)
    outbox.send_due(MONDAY)
    digest.refresh_from_db()
    assert (digest.state, mailoutbox) == (ReminderState.SETTLED, [])


def test_what_she_has_read_on_the_site_is_not_told_again(low, keeper, mailoutbox):
    tick(FRIDAY)
    inbox_read_all(by=keeper)
    tick(MONDAY)
    assert mailoutbox == []


def test_next_week_tells_only_what_is_new(low, keeper, mailoutbox):
    tick(FRIDAY)
    tick(MONDAY)
    tick(MONDAY + timedelta(days=7))
    assert digests(mailoutbox) == ["This week: 1 thing"]


def test_a_site_that_slept_over_the_hour_sends_it_within_two_days_and_not_after(low, keeper):
    tick(FRIDAY)
    due = RULES["weekly-digest"].due
    assert len(list(due(MONDAY + timedelta(days=1, hours=23)))) == 1
    assert list(due(MONDAY + timedelta(days=2))) == []


def test_what_does_not_keep_a_week_is_never_in_it(keeper):
    make_received(keeper, rule="seal-check", state=ReminderState.SHOWN, sent_at=FRIDAY)
    assert list(RULES["weekly-digest"].due(MONDAY)) == []
    make_received(keeper, rule="supply-low", state=ReminderState.SHOWN, sent_at=FRIDAY)
    assert len(list(RULES["weekly-digest"].due(MONDAY))) == 1


@pytest.mark.parametrize("how", ["muted digest", "muted kind", "bounced", "left", "no digest", "another day"])
def test_who_wants_none_or_cannot_be_reached_gets_none(low, keeper, how):
    tick(FRIDAY)
    assert len(list(RULES["weekly-digest"].due(MONDAY))) == 1
    if how.startswith("muted"):
        kind_mute(person=keeper, kind="weekly-digest" if how == "muted digest" else "supply-low")
    elif how == "bounced":
        mailbox_note_bounce(person=keeper, reason="550 5.1.1")
    elif how == "left":
        User.objects.filter(pk=keeper.pk).update(is_active=False)
    else:
        make_notification_settings(keeper, digest_weekday=None if how == "no digest" else 2)
    assert list(RULES["weekly-digest"].due(MONDAY)) == []


def test_its_hour_is_by_her_own_clock(low, keeper):
    tick(FRIDAY)
    make_notification_settings(keeper, digest_weekday=0, digest_hour=8, zone_name="Asia/Kathmandu")
    there = datetime(2026, 9, 14, 2, 15, tzinfo=UTC)
    assert list(RULES["weekly-digest"].due(there - timedelta(minutes=1))) == []
    [due] = RULES["weekly-digest"].due(there)
    assert due.due_at == there


def test_a_digest_at_night_is_what_she_asked_for(low, keeper, mailoutbox):
    make_notification_settings(keeper, digest_weekday=0, digest_hour=23)
    tick(FRIDAY)
    tick(MONDAY.replace(hour=23))
    assert digests(mailoutbox) == ["This week: 1 thing"]


@pytest.mark.parametrize("rows", [1, 30])
def test_it_costs_two_queries_for_one_person_and_for_thirty(rows, django_assert_max_num_queries):
    for _ in range(rows):
        person = make_notification_settings(make_person(), digest_weekday=0).person
        make_received(person, rule="supply-low", state=ReminderState.SHOWN, sent_at=FRIDAY)
    with django_assert_max_num_queries(2):
        assert len(list(RULES["weekly-digest"].due(MONDAY))) == rows
