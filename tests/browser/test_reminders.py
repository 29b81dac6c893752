"""The inbox, how a person is reached, a mailbox that sends mails back, and a mail's own link."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from django.utils import timezone

from club.members.choices import Role
from club.members.models import User
from club.reminders import outbox, push
from club.reminders.models import NotificationSettings, Reminder, ReminderState
from club.reminders.rules import stop_token
from club.reminders.services import mailbox_note_bounce
from tests.factories.members import make_organiser, make_person
from tests.factories.reminders import make_notification_settings, make_received, make_waiting_batch

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


WORKER_IS_READY = (
    "async (address) => { await navigator.serviceWorker.register(address); await navigator.serviceWorker.ready }"
)
NOTIFICATIONS = """async () => (await (await navigator.serviceWorker.ready).getNotifications()).map(
  (one) => ({ title: one.title, body: one.body, url: one.data.url }))"""


def test_what_is_pushed_is_shown_by_the_browser_once_with_its_page(visitor, live_server, settings, monkeypatch):
    """All but the push service's own way: what would be sealed for it is handed to the service worker as it is."""
    settings.SITE_URL, settings.PUSH_HOSTS = live_server.url, ["127.0.0.1"]
    person, now, page = make_person(), timezone.now(), visitor.page
    page.context.grant_permissions(["notifications"], origin=live_server.url)
    visitor.sign_in(person.email)
    told = {"endpoint": "http://127.0.0.1/box", "auth": push.written(b"sixteen bytes...")}
    key = push.written(push.point_of(ec.generate_private_key(ec.SECP256R1())))
    session_key = person.browser_sessions.get().session_key
    push.push_device_add(by=person, session_key=session_key, p256dh=key, **told)
    batch = make_waiting_batch(now - timedelta(hours=12, minutes=1), by=person)
    make_notification_settings(person, pushed="|seal-check|", quiet_from="00:00", quiet_until="00:00")
    sent = []
    monkeypatch.setattr(push, "post", lambda _device, text, _keys, _now: sent.append(text.decode()))
    outbox.gather(now)
    push.push_gather(now)
    push.push_send(now)

    devtools, registrations = page.context.new_cdp_session(page), []
    devtools.on("ServiceWorker.workerRegistrationUpdated", lambda told: registrations.extend(told["registrations"]))
    devtools.send("ServiceWorker.enable")
    page.evaluate(WORKER_IS_READY, "/kitchen-worker.js")
    [text] = sent
    where = {"origin": live_server.url, "registrationId": registrations[-1]["registrationId"]}
    for _twice in range(2):  # a push service may deliver it again
        devtools.send("ServiceWorker.deliverPushMessage", {**where, "data": text})
    page.wait_for_function(f"({NOTIFICATIONS})().then((all) => all.length)")
    [shown] = page.evaluate(NOTIFICATIONS)
    assert shown == {key: json.loads(text)[key] for key in ("title", "body", "url")}
    assert batch.title in shown["body"]
    assert visitor.page.goto(shown["url"]).status == 200
