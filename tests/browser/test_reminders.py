"""The inbox, how a person is reached, and a mail's own link, on a phone and on a desktop; each page scanned."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from club.members.choices import Role
from club.members.models import User
from club.reminders.models import NotificationSettings, Reminder, ReminderState
from club.reminders.rules import stop_token
from club.reminders.services import mailbox_note_bounce
from tests.factories.members import PASSWORD, make_organiser, make_person
from tests.factories.reminders import make_notification_settings, make_received

LONG = "Due back Thursday 17 September: Dial-gauge canner, sixteen quarts, with its rack and both weights"


@pytest.fixture
def mina() -> User:
    return make_person(Role.KEEPER, email="mina@example.test", name="Mina Quince")


def test_what_waits_is_seen_in_the_head_and_opened_in_two_taps(visitor, mina):
    now = timezone.now()
    make_received(mina, "Look at the seals: Plum jam, 26329-KXT", path="/batches/", sent_at=now)
    make_received(mina, LONG, path="/equipment/mine/", sent_at=now - timedelta(days=1), state=ReminderState.SHOWN)
    make_received(mina, "Running low: Pectin", sent_at=now - timedelta(days=9), read_at=now)
    visitor.sign_in(mina.email, PASSWORD)
    page = visitor.page
    visitor.look("reminders-desk")
    assert page.locator(".unread").inner_text().startswith("2")
    page.locator(".inbox-link").click()
    page.wait_for_url("**/reminders/inbox/")
    visitor.look("reminders-inbox")
    page.get_by_role("button", name="Due back Thursday").click()
    page.wait_for_url("**/equipment/mine/")
    assert page.locator(".unread").inner_text().startswith("1")
    visitor.go("/reminders/inbox/")
    page.get_by_role("button", name="Mark all as read").click()
    page.locator(".unread").wait_for(state="detached")
    assert not Reminder.objects.filter(read_at=None).exists()


def test_an_empty_inbox_passes_the_scan(visitor, mina):
    visitor.sign_in(mina.email, PASSWORD)
    visitor.go("/reminders/inbox/")
    visitor.look("reminders-inbox-empty")


def test_how_she_is_reached_is_said_in_one_form(visitor, mina):
    visitor.sign_in(mina.email, PASSWORD)
    page = visitor.page
    visitor.go("/people/me/")
    page.get_by_role("link", name="How we reach you").click()
    page.wait_for_url("**/reminders/wishes/")
    visitor.look("reminders-wishes")
    page.get_by_label("Time zone").select_option("America/St_Johns")
    page.get_by_label("No mail from").fill("20:15")
    page.get_by_label("Bring a thing back", exact=True).uncheck()
    page.get_by_label("What can wait").select_option("0")
    page.get_by_role("button", name="Save").click()
    page.get_by_text("Saved.").wait_for()
    assert page.get_by_label("No mail from").input_value() == "20:15"
    wishes = NotificationSettings.objects.get(person=mina)
    assert (wishes.zone_name, wishes.muted_kinds, wishes.digest_weekday) == ("America/St_Johns", {"loan-due"}, 0)


def test_an_address_that_bounced_is_told_to_her_and_to_the_organiser(visitor, mina):
    mailbox_note_bounce(person=mina, reason="5.1.1: 550 5.1.1 <mina@example.test>: no such box here")
    visitor.sign_in(mina.email, PASSWORD)
    page = visitor.page
    visitor.go("/people/me/")
    visitor.look("reminders-me-bounced")
    page.get_by_role("button", name="It works again").click()
    page.get_by_text("Mails go to you again.").wait_for()
    mailbox_note_bounce(person=mina, reason="5.1.1: 550 5.1.1 <mina@example.test>: no such box here")
    page.context.clear_cookies()
    visitor.sign_in(make_organiser(email="olga@example.test").email, PASSWORD)
    visitor.go("/reminders/")
    visitor.look("reminders-organiser")
    assert "mina@example.test" in page.locator("main").inner_text()


def test_a_mails_own_link_asks_then_stops_and_signs_nobody_in(visitor, mina):
    make_notification_settings(mina)
    page = visitor.page
    visitor.go(f"/reminders/stop/{stop_token(mina.pk, 'loan-due')}/")
    visitor.look("reminders-stop")
    page.get_by_role("button", name="Stop these mails").click()
    page.get_by_role("heading", name="No more mails of this kind").wait_for()
    visitor.look("reminders-stopped")
    assert NotificationSettings.objects.get(person=mina).muted_kinds == {"loan-due"}
    assert not page.locator("nav.rooms").count()


def test_a_link_that_is_not_ours_says_so(visitor):
    assert visitor.go("/reminders/stop/anything/").status == 404
    visitor.refused.clear()  # the browser complains of the 404 itself
    visitor.look("reminders-stop-unknown")
