"""What a mail server sends back. The reports are our own, written after RFC 3464 in the shapes that servers use."""

from __future__ import annotations

import io
import sys
from datetime import UTC, datetime, timedelta
from textwrap import dedent

import pytest
from django.core import mail
from django.core.management import CommandError, call_command
from hypothesis import given
from hypothesis import strategies as st

from club.members.models import User
from club.reminders import outbox as reminders_outbox
from club.reminders.models import Reminder, ReminderState, notification_settings_of
from club.reminders.services import SENT_WITHIN, Bounce, bounces_note, notification_read
from tests.factories.members import make_person
from tests.factories.reminders import make_reminder, make_waiting_batch

OUT = datetime(2026, 8, 14, 18, 10, tzinfo=UTC)
NOW = OUT + timedelta(hours=12, minutes=1)
ADA = "ada@quince.example"


def report(
    *,
    action: str = "failed",
    status: str = "5.1.1",
    final: str = ADA,
    original: str = "",
    message_id: str = "<one@club.example>",
    to: str = f"Ada Plum <{ADA}>",
    returned: str = "message/rfc822",
) -> bytes:
    """A report as a relay writes it: a part for people, one for programs, and the mail or its head."""
    head = "".join(f"{name}: {value}\r\n" for name, value in (("Message-ID", message_id), ("To", to)) if value)
    asked = f"Original-Recipient: rfc822;{original}\r\n" if original else ""
    text = f"""\
        Return-Path: <>
        From: Mail Delivery System <MAILER-DAEMON@relay.example>
        To: kettlehall@club.example
        Subject: Undelivered Mail Returned to Sender
        Auto-Submitted: auto-replied
        MIME-Version: 1.0
        Content-Type: multipart/report; report-type=delivery-status;
         boundary="=_part"

        This is a MIME-encapsulated message.

        --=_part
        Content-Description: Notification
        Content-Type: text/plain; charset=us-ascii

        I am sorry to say that your mail could not be delivered.

        --=_part
        Content-Description: Delivery report
        Content-Type: message/delivery-status

        Reporting-MTA: dns; relay.example
        Arrival-Date: Sat, 15 Aug 2026 06:11:00 +0000

        {{asked}}Final-Recipient: rfc822; {final}
        Action: {action}
        Status: {status}
        Remote-MTA: dns; mx.quince.example
        Diagnostic-Code: smtp; 550 {status} <{final}>: Recipient address
            rejected: no such box here

        --=_part
        Content-Description: Undelivered Message
        Content-Type: {returned}

        {{head}}Subject: Look at the seals

        Hello Ada,
        --=_part--
        """
    return dedent(text).replace("\n", "\r\n").replace("{asked}", asked).replace("{head}", head).encode()


def test_a_failure_for_good_names_the_address_the_mail_and_what_the_server_said():
    told = notification_read(report())
    assert (told.message_id, told.to) == ("<one@club.example>", ADA)
    assert told.bounces == (
        Bounce((ADA,), "5.1.1", f"550 5.1.1 <{ADA}>: Recipient address rejected: no such box here"),
    )


def test_the_address_as_we_wrote_it_comes_before_the_one_it_was_sent_on_to():
    [bounce] = notification_read(report(final="a.plum@elsewhere.example", original=ADA.upper())).bounces
    assert bounce.addresses == (ADA, "a.plum@elsewhere.example")


def test_a_report_may_return_the_head_of_the_mail_alone():
    assert notification_read(report(returned="text/rfc822-headers")).message_id == "<one@club.example>"


@pytest.mark.parametrize(
    ("action", "status"),
    [("delayed", "4.4.1"), ("failed", "4.2.2"), ("delivered", "2.0.0"), ("relayed", "2.0.0"), ("expanded", "2.0.0")],
)
def test_a_delay_or_a_delivery_or_a_trouble_that_may_pass_is_no_bounce(action, status):
    assert notification_read(report(action=action, status=status)).bounces == ()


def test_each_address_of_a_report_is_read():
    second = b"Final-Recipient: rfc822; bo@quince.example\r\nAction: failed\r\nStatus: 5.2.1\r\n\r\n--=_part"
    both = report().replace(b"\r\n--=_part\r\nContent-Description: Undelivered", b"\r\n" + second + b"\r\nX: ", 1)
    assert [bounce.addresses for bounce in notification_read(both).bounces] == [(ADA,), ("bo@quince.example",)]


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"Subject: I am away\r\nAuto-Submitted: auto-replied\r\n\r\nBack on Monday.",
        b"Content-Type: multipart/report; report-type=disposition-notification; boundary=b\r\n\r\n--b\r\n\r\nread",
        b"Content-Type: multipart/report; boundary=b\r\n\r\nnothing between",
        report().replace(b"message/delivery-status", b"message/feedback-report"),
        b"Content-Type: multipart/mixed; boundary=b\r\n\r\n--b\r\nContent-Type: message/rfc822\r\n\r\n"
        + report()
        + b"\r\n--b--",
    ],
)
def test_what_is_no_report_says_nothing(raw):
    assert notification_read(report()) is not None
    assert notification_read(raw) is None


def test_a_report_within_the_mail_that_came_back_does_not_count():
    inner = report(final="bo@quince.example").replace(b"=_part", b"=_inner")
    outer = report(action="delayed", status="4.4.1")
    nested = outer.replace(b"Message-ID: <one@club.example>\r\n", inner.partition(b"\r\n")[2], 1)
    assert notification_read(nested).bounces == ()


@given(st.binary(max_size=400), st.integers(0, 1500), st.integers(0, 1500))
def test_no_bytes_whatever_break_the_reader(noise, first, last):
    raw = report()
    found = notification_read(raw[:first] + noise + raw[last:])
    assert found is None or isinstance(found.bounces, tuple)


# --- whose mailbox it is


@pytest.fixture
def ada(db) -> User:
    """A reminder has been mailed to her."""
    person = make_person(email=ADA)
    make_reminder(make_waiting_batch(OUT, by=person), now=NOW)
    reminders_outbox.send_due(NOW)
    assert Reminder.objects.get().state == ReminderState.SENT
    return person


def sent_id() -> str:
    return mail.outbox[0].extra_headers["Message-ID"]


def noted(raw: bytes, now: datetime = NOW + timedelta(minutes=5)) -> list[str]:
    return [person.email for person in bounces_note(notification=notification_read(raw), now=now)]


def is_bounced(person: User) -> bool:
    return notification_settings_of(User.objects.get(pk=person.pk)).is_bounced


def test_a_reminder_that_came_back_shuts_her_mailbox_with_the_day_and_the_reason(ada):
    assert noted(report(message_id=sent_id())) == [ADA]
    wishes = notification_settings_of(User.objects.get(pk=ada.pk))
    assert wishes.is_bounced
    assert wishes.bounced_at == NOW + timedelta(minutes=5)
    assert wishes.bounce_reason.startswith("5.1.1: 550 5.1.1")
    assert noted(report(message_id=sent_id())) == []  # known


def test_the_next_reminder_is_then_shown_on_the_site_alone(ada):
    noted(report(message_id=sent_id()))
    Reminder.objects.update(state=ReminderState.DUE, next_try_at=NOW)
    reminders_outbox.send_due(NOW + timedelta(minutes=6))
    assert Reminder.objects.get().state == ReminderState.SHOWN
    assert len(mail.outbox) == 1


def test_a_box_that_her_address_sends_on_to_is_hers_by_what_stands_on_the_mail(ada):
    assert noted(report(message_id=sent_id(), final="a.plum@elsewhere.example")) == [ADA]


def test_a_report_without_the_mails_number_counts_when_she_was_mailed_lately(ada):
    assert noted(report(message_id=""), NOW + SENT_WITHIN + timedelta(days=1)) == []
    assert noted(report(message_id="")) == [ADA]


@pytest.mark.parametrize("how", ["another mail", "another address since", "never mailed", "a delay", "left"])
def test_nothing_is_noted_of(ada, how):
    raw = report(message_id=sent_id())
    if how == "another mail":
        raw = report(message_id="<forged@elsewhere.example>")
    elif how == "another address since":
        User.objects.filter(pk=ada.pk).update(email="ada@new.example")
    elif how == "never mailed":
        Reminder.objects.update(state=ReminderState.SHOWN)
    elif how == "a delay":
        raw = report(message_id=sent_id(), action="delayed", status="4.4.1")
    else:
        User.objects.filter(pk=ada.pk).update(is_active=False)
    assert noted(raw) == []
    assert not is_bounced(ada)


def test_of_two_people_only_the_one_whose_mail_came_back_is_shut(ada):
    bo = make_person(email="bo@quince.example")
    make_reminder(make_waiting_batch(OUT, by=bo), now=NOW)
    reminders_outbox.send_due(NOW)
    noted(report(message_id=sent_id(), final="bo@quince.example", to=""))
    assert (is_bounced(ada), is_bounced(bo)) == (False, False)  # the number is of a mail to another
    noted(report(message_id=sent_id()))
    assert (is_bounced(ada), is_bounced(bo)) == (True, False)


# --- the command


def test_the_command_reads_a_file_and_says_what_it_noted(ada, tmp_path, capsys):
    Reminder.objects.update(sent_at=datetime.now(UTC))
    path = tmp_path / "bounce.eml"
    path.write_bytes(report(message_id=sent_id()))
    call_command("read_bounces", str(path))
    assert capsys.readouterr().out == f"Noted: mail to {ADA} comes back.\n"
    assert is_bounced(ada)
    call_command("read_bounces", str(path))
    assert "Nothing to note" in capsys.readouterr().out


def test_the_command_reads_what_is_piped_in(ada, monkeypatch, capsys):
    Reminder.objects.update(sent_at=datetime.now(UTC))
    piped = io.TextIOWrapper(io.BytesIO(report(message_id=sent_id())))
    monkeypatch.setattr(sys, "stdin", piped)
    call_command("read_bounces", "-")
    assert "Noted" in capsys.readouterr().out


def test_another_mail_is_no_error_so_that_nothing_is_sent_back_in_turn(db, tmp_path, capsys):
    path = tmp_path / "away.eml"
    path.write_bytes(b"Subject: I am away\r\n\r\nBack on Monday.")
    call_command("read_bounces", str(path))
    assert "nothing noted" in capsys.readouterr().out


def test_a_file_that_is_not_there_is_said(tmp_path):
    with pytest.raises(CommandError, match="cannot be read"):
        call_command("read_bounces", str(tmp_path / "none.eml"))
