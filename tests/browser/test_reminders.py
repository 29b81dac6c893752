"""The inbox, how a person is reached, a mailbox that sends mails back, and a mail's own link."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from club.members.choices import Role
from club.members.models import User
from club.reminders.models import NotificationSettings, Reminder, ReminderState
from club.reminders.rules import stop_token
from club.reminders.services import mailbox_note_bounce
from tests.factories.members import make_organiser, make_person
from tests.factories.reminders import make_received

LONG = "Due back Thursday 17 September: Dial-gauge canner, sixteen quarts, with its rack and both weights"


@pytest.fixture
def mina() -> User:
    return make_person(Role.KEEPER, email="mina@example.test", name="Mina Quince")


def test_what_waits_is_read_in_two_taps_and_how_a_person_is_reached_is_said_in_one_form(visitor, mina):
    now = timezone.now()
    make_received(mina, "Look at the seals: Plum jam, 26329-KXT", path="/batches/", sent_at=now)
    make_received(mina, LONG, path="/equipment/mine/", sent_at=now - timedelta(days=1), state=ReminderState.SHOWN)
    make_received(mina, "Running low: Pectin", sent_at=now - timedelta(days=9), read_at=now)
    visitor.sign_in(mina.email)
    page = visitor.page
    assert page.locator(".unread").inner_text().startswith("2")
    page.locator(".inbox-link").click()
    page.wait_for_url("**/reminders/inbox/")
    page.get_by_role("button", name="Due back Thursday").click()
    page.wait_for_url("**/equipment/mine/")
    assert page.locator(".unread").inner_text().startswith("1")
    visitor.go("/reminders/inbox/")
    page.get_by_role("button", name="Mark all as read").click()
    page.locator(".unread").wait_for(state="detached")
    assert not Reminder.objects.filter(read_at=None).exists()

    visitor.go("/people/me/")
    page.get_by_role("link", name="How we reach you").click()
    page.wait_for_url("**/reminders/wishes/")
    page.get_by_label("Time zone").select_option("America/St_Johns")
    page.get_by_label("No mail from").fill("20:15")
    page.get_by_label("Bring a thing back", exact=True).uncheck()
    page.get_by_label("What can wait").select_option("0")
    page.get_by_role("button", name="Save").click()
    page.get_by_text("Saved.").wait_for()
    assert page.get_by_label("No mail from").input_value() == "20:15"
    wishes = NotificationSettings.objects.get(person=mina)
    assert (wishes.zone_name, wishes.muted_kinds, wishes.digest_weekday) == ("America/St_Johns", {"loan-due"}, 0)

    mailbox_note_bounce(person=mina, reason="5.1.1: 550 5.1.1 <mina@example.test>: no such box here")
    visitor.go("/people/me/")
    page.get_by_role("button", name="It works again").click()
    page.get_by_text("Mails go to you again.").wait_for()
    mailbox_note_bounce(person=mina, reason="5.1.1: 550 5.1.1 <mina@example.test>: no such box here")
    visitor.sign_in(make_organiser(email="olga@example.test").email, "/reminders/")
    assert "mina@example.test" in visitor.text()

    page.context.clear_cookies()
    visitor.go(f"/reminders/stop/{stop_token(mina.pk, 'supply-low')}/")
    page.get_by_role("button", name="Stop these mails").click()
    page.get_by_role("heading", name="No more mails of this kind").wait_for()
    visitor.look("reminders-stopped")
    assert NotificationSettings.objects.get(person=mina).muted_kinds == {"loan-due", "supply-low"}
    assert not page.locator("nav.rooms").count()  # it signs nobody in

    assert visitor.go("/reminders/stop/anything/").status == 404
    visitor.refused.clear()  # the browser complains of the 404 itself
    visitor.look("reminders-stop-unknown")
