from __future__ import annotations

import smtplib
from datetime import UTC, datetime, timedelta

import pytest
from django.core import mail
from django.core.exceptions import PermissionDenied
from django.core.mail import EmailMessage

from club.reminders import outbox as reminders_outbox
from club.reminders.models import NotificationSettings, Reminder, ReminderState, notification_settings_of
from club.reminders.outbox import MOST_ATTEMPTS, lease_begin, lease_time, reminder_begin_sending
from inventory.batches.choices import BatchState
from inventory.batches.models import Batch
from tests.club.reminders.helpers import only
from tests.factories.members import make_organiser, make_person
from tests.factories.reminders import make_reminder, make_waiting_batch

pytestmark = pytest.mark.django_db

OUT = datetime(2026, 8, 14, 18, 10, tzinfo=UTC)
NOW = OUT + timedelta(hours=12, minutes=1)


@pytest.fixture
def due() -> Reminder:
    return make_reminder(make_waiting_batch(OUT), now=NOW)


def fresh(reminder: Reminder) -> Reminder:
    reminder.refresh_from_db()
    return reminder


def break_mail(monkeypatch, error: Exception, only_to: str | None = None) -> list[str]:
    """Make sending fail, for all or for one address; returns the addresses that were tried."""
    tried: list[str] = []
    send = EmailMessage.send

    def fail(self, fail_silently=False):
        tried.append(self.to[0])
        if only_to in (None, self.to[0]):
            raise error
        return send(self, fail_silently)

    monkeypatch.setattr(EmailMessage, "send", fail)
    return tried


def test_what_is_due_goes_out_once_to_the_person_it_is_for(due):
    assert reminders_outbox.send_due(NOW) == {ReminderState.SENT: 1}
    assert reminders_outbox.send_due(NOW + timedelta(minutes=1)) == {}
    [sent] = mail.outbox
    assert sent.to == [due.person.email]
    assert fresh(due).state == ReminderState.SENT
    assert NOW <= due.sent_at < NOW + timedelta(seconds=30)


def test_what_is_not_due_yet_waits(due):
    Reminder.objects.update(next_try_at=NOW + timedelta(seconds=1))
    assert reminders_outbox.send_due(NOW) == {}
    assert mail.outbox == []


def test_what_was_settled_meanwhile_is_not_sent(due):
    Batch.objects.update(state=BatchState.CHECKED, checked_at=NOW)
    assert reminders_outbox.send_due(NOW) == {ReminderState.SETTLED: 1}
    assert mail.outbox == []
    assert fresh(due).state == ReminderState.SETTLED


def test_an_early_look_settles_nothing(due):
    # The batch stays out: seals may still have been drawing down.
    batch = Batch.objects.get()
    batch.seal_checks.create(
        token=batch.token, checked_by=due.person, checked_at=OUT, was_early=True, sealed=5, unsealed=0, broken=0
    )
    assert reminders_outbox.send_due(NOW) == {ReminderState.SENT: 1}


def test_the_first_call_yields_to_the_second(due):
    late = OUT + timedelta(hours=20)
    reminders_outbox.gather(late)
    assert reminders_outbox.send_due(late) == {ReminderState.SETTLED: 1, ReminderState.SENT: 1}
    assert [m.subject for m in mail.outbox] == [
        f"Still to do: the seals of Plum & rose jam, {Batch.objects.get().lot_code}"
    ]


def test_an_hour_that_was_corrected_makes_the_old_reminder_moot(due):
    corrected = OUT + timedelta(hours=3)
    Batch.objects.update(jars_out_at=corrected)
    assert reminders_outbox.send_due(NOW) == {ReminderState.SETTLED: 1}
    reminders_outbox.gather(corrected + timedelta(hours=12))
    assert reminders_outbox.send_due(corrected + timedelta(hours=12)) == {ReminderState.SENT: 1}


def test_a_person_who_left_meanwhile_gets_no_mail(due):
    type(due.person).objects.update(is_active=False)
    assert reminders_outbox.send_due(NOW) == {ReminderState.SETTLED: 1}


def test_a_mail_that_fails_waits_longer_each_time_and_is_given_up_in_the_end(due, monkeypatch):
    break_mail(monkeypatch, smtplib.SMTPDataError(451, b"try later"))
    # The rule would let go of it at 20 hours; here we watch the tries alone.
    monkeypatch.setattr("club.reminders.rules.batches.FirstLook.before", timedelta(days=7))
    now, waits = NOW, []
    for attempt in range(1, MOST_ATTEMPTS + 1):
        assert sum(reminders_outbox.send_due(now).values()) == 1
        if attempt < MOST_ATTEMPTS:
            assert fresh(due).state == ReminderState.DUE
            waits.append((due.next_try_at - now) / timedelta(minutes=1))
            now = due.next_try_at
    assert fresh(due).state == ReminderState.DEAD
    assert "try later" in due.last_error
    assert 0.7 < waits[0] < 1.3
    assert 45 <= waits[-1] <= 75.5
    assert reminders_outbox.send_due(now + timedelta(days=1)) == {}


def test_an_address_refused_for_good_is_given_up_at_once(due, monkeypatch):
    break_mail(monkeypatch, smtplib.SMTPRecipientsRefused({due.person.email: (550, b"no such box")}))
    assert reminders_outbox.send_due(NOW) == {ReminderState.DEAD: 1}
    assert (
        notification_settings_of(due.person).bounced_at is None
    )  # a relay that knows neither her nor us says just the same


def test_a_mailbox_that_is_not_there_is_noted_and_written_to_no_more(due, monkeypatch):
    break_mail(monkeypatch, smtplib.SMTPRecipientsRefused({due.person.email: (550, b"5.1.1 unknown user")}))
    reminders_outbox.send_due(NOW)
    assert NotificationSettings.objects.get(person=due.person).bounced_address == due.person.email


def test_one_poisoned_row_does_not_stop_the_rest(due, monkeypatch):
    later = make_reminder(make_waiting_batch(OUT + timedelta(seconds=10)), now=NOW)
    tried = break_mail(monkeypatch, ValueError("bad header"), only_to=due.person.email)
    assert reminders_outbox.send_due(NOW) == {ReminderState.DUE: 1, ReminderState.SENT: 1}
    assert tried == [due.person.email, later.person.email]


def test_a_rule_nobody_knows_any_more_is_a_poisoned_row_too(due):
    Reminder.objects.update(rule="forgotten")
    assert reminders_outbox.send_due(NOW) == {ReminderState.DUE: 1}
    assert "forgotten" in fresh(due).last_error


def test_when_the_mail_server_is_away_the_others_keep_their_tries(due, monkeypatch):
    later = make_reminder(make_waiting_batch(OUT + timedelta(seconds=10)), now=NOW)
    tried = break_mail(monkeypatch, ConnectionRefusedError("nobody listens"))
    reminders_outbox.send_due(NOW)
    assert tried == [due.person.email]
    assert (fresh(due).attempts, fresh(later).attempts) == (1, 0)


@pytest.mark.long
def test_a_mail_server_away_for_a_day_loses_nothing_that_is_still_due(monkeypatch):
    make_waiting_batch(OUT)
    now = OUT + timedelta(hours=12)
    with monkeypatch.context() as broken, only("seal-check", "seal-second-call", "reprocess-closing"):
        break_mail(broken, ConnectionRefusedError("nobody listens"))
        while now < OUT + timedelta(hours=36):
            reminders_outbox.gather_and_send(now)
            now += timedelta(minutes=15)
    assert mail.outbox == []
    assert not Reminder.objects.filter(state=ReminderState.DEAD).exists()
    for _ in range(8):  # back: within the longest wait the second call goes out, alone
        reminders_outbox.gather_and_send(now)
        now += timedelta(minutes=15)
    assert len(mail.outbox) == 1
    assert "too late to process" in mail.outbox[0].body


def test_a_row_in_another_senders_hands_is_left_alone(due):
    [row] = lease_begin(now=NOW)
    reminder_begin_sending(reminder=row, now=NOW)
    assert reminders_outbox.send_due(NOW + lease_time() - timedelta(seconds=5)) == {}


def test_a_sender_whose_basket_was_taken_over_takes_nothing_in_hand(due):
    [row] = lease_begin(now=NOW)
    later = NOW + lease_time() + timedelta(seconds=1)
    [same] = lease_begin(now=later)
    assert reminder_begin_sending(reminder=row, now=later) is False
    assert reminder_begin_sending(reminder=same, now=later) is True


def test_a_basket_whose_sender_died_is_due_again_and_cost_no_try(due):
    lease_begin(now=NOW)
    assert reminders_outbox.send_due(NOW + lease_time() - timedelta(seconds=5)) == {}
    assert reminders_outbox.send_due(NOW + lease_time() + timedelta(seconds=1)) == {ReminderState.SENT: 1}
    assert fresh(due).attempts == 1


def test_a_sender_that_died_leaves_its_row_to_the_next_after_the_lease(due):
    # Unknown whether the mail went out: for seals it is sent again.
    [row] = lease_begin(now=NOW)
    reminder_begin_sending(reminder=row, now=NOW)
    assert reminders_outbox.send_due(NOW + lease_time() + timedelta(seconds=1)) == {ReminderState.SENT: 1}
    assert fresh(due).attempts == 2


def test_the_same_reminder_sent_again_keeps_its_message_id(due):
    reminders_outbox.send_due(NOW)
    Reminder.objects.update(state=ReminderState.DUE)
    reminders_outbox.send_due(NOW)
    first, second = mail.outbox
    assert first.extra_headers["Message-ID"] == second.extra_headers["Message-ID"]


def test_a_row_whose_senders_all_died_is_given_up(due):
    Reminder.objects.update(state=ReminderState.SENDING, attempts=MOST_ATTEMPTS, leased_until=NOW - lease_time())
    assert reminders_outbox.send_due(NOW) == {}
    assert fresh(due).state == ReminderState.DEAD
    assert mail.outbox == []


def test_a_sender_slower_than_its_lease_does_not_overwrite_the_next_ones_word(due, monkeypatch):
    def steal_then_fail(self, fail_silently=False):
        # While we talk to the mail server our lease runs out, another takes the row and sends.
        Reminder.objects.update(attempts=2, lease=None, state=ReminderState.SENT, sent_at=NOW)
        raise smtplib.SMTPDataError(451, b"try later")

    monkeypatch.setattr(EmailMessage, "send", steal_then_fail)
    reminders_outbox.send_due(NOW)
    assert fresh(due).state == ReminderState.SENT


def test_a_tick_sends_what_waits_even_when_a_rule_cannot_be_asked(due, monkeypatch):
    def explode(now):
        raise RuntimeError("no rule today")

    monkeypatch.setattr(reminders_outbox, "gather", explode)
    with pytest.raises(RuntimeError, match="no rule today"):
        reminders_outbox.gather_and_send(NOW)
    assert len(mail.outbox) == 1


def test_lateness_is_that_of_the_oldest_still_waiting(due):
    assert Reminder.objects.lateness(NOW) == timedelta(minutes=1)
    reminders_outbox.send_due(NOW)
    assert Reminder.objects.lateness(NOW + timedelta(hours=5)) == timedelta(0)


def test_only_an_organiser_sends_a_dead_reminder_again(due):
    Reminder.objects.update(state=ReminderState.DEAD, attempts=MOST_ATTEMPTS)
    with pytest.raises(PermissionDenied):
        reminders_outbox.reminder_resend(by=make_person(), reminder=due, now=NOW)
    assert reminders_outbox.send_due(NOW) == {}
    by = make_organiser()
    pressed = [reminders_outbox.reminder_resend(by=by, reminder=due, now=NOW) for _ in range(2)]
    assert pressed == [True, False]
    assert reminders_outbox.send_due(NOW) == {ReminderState.SENT: 1}


def test_a_reminder_that_was_sent_is_not_sent_again_by_a_forged_press(due):
    reminders_outbox.send_due(NOW)
    assert reminders_outbox.reminder_resend(by=make_organiser(), reminder=due, now=NOW) is False
    assert fresh(due).state == ReminderState.SENT
