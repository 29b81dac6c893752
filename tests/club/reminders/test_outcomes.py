from __future__ import annotations

import smtplib
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from club.reminders.models import Reminder
from club.reminders.outbox import (
    LONGEST_WAIT,
    MOST_ATTEMPTS,
    is_given_up,
    is_no_mailbox,
    is_server_away,
    wait_after,
)


@pytest.mark.parametrize(
    ("error", "no_mailbox"),
    [
        (smtplib.SMTPRecipientsRefused({"a@b.c": (550, b"5.1.1 unknown user")}), True),
        (smtplib.SMTPRecipientsRefused({"a@b.c": (550, b"5.7.1 relaying denied")}), False),
        (smtplib.SMTPRecipientsRefused({"a@b.c": (450, b"4.1.1 try later")}), False),
        (smtplib.SMTPRecipientsRefused({}), False),
        (smtplib.SMTPSenderRefused(550, b"5.1.8 bad sender", "x"), False),
    ],
)
def test_only_a_mailbox_that_is_not_there_is_the_addresss_own_fault(error, no_mailbox):
    assert is_no_mailbox(error) is no_mailbox


def test_waits_double_from_a_minute_up_to_an_hour():
    waits = [wait_after(n, jitter=0.5) for n in range(1, 9)]
    assert [w / timedelta(minutes=1) for w in waits] == [1, 2, 4, 8, 16, 32, 60, 60]


@given(attempt=st.integers(1, 30_000), jitter=st.floats(0, 1))
def test_a_wait_is_never_more_than_a_quarter_off_the_longest(attempt, jitter):
    assert timedelta(seconds=45) <= wait_after(attempt, jitter=jitter) <= LONGEST_WAIT * 1.25


@given(attempt=st.integers(1, 20))
def test_two_that_failed_together_do_not_come_back_together(attempt):
    assert wait_after(attempt, jitter=0.1) < wait_after(attempt, jitter=0.9)


@pytest.mark.parametrize(
    ("error", "attempts", "given_up"),
    [
        (smtplib.SMTPRecipientsRefused({"a@b.c": (550, b"no such box")}), 1, True),
        (smtplib.SMTPRecipientsRefused({"a@b.c": (450, b"box is full")}), 1, False),
        (smtplib.SMTPRecipientsRefused({"a@b.c": (450, b"box is full")}), MOST_ATTEMPTS, True),
        (smtplib.SMTPDataError(554, b"looks like spam"), MOST_ATTEMPTS - 1, False),
        (smtplib.SMTPDataError(554, b"looks like spam"), MOST_ATTEMPTS, True),
        (ValueError("a template broke"), MOST_ATTEMPTS, True),
        # The mail server's troubles are not the mail's: it waits them out.
        (ConnectionRefusedError(), MOST_ATTEMPTS + 50, False),
        (smtplib.SMTPAuthenticationError(535, b"wrong password"), MOST_ATTEMPTS + 50, False),
    ],
)
def test_a_mail_is_given_up_for_its_own_faults_only(error, attempts, given_up):
    assert is_given_up(error, attempts) is given_up


@pytest.mark.parametrize(
    ("error", "away"),
    [
        (ConnectionRefusedError(), True),
        (TimeoutError(), True),
        (smtplib.SMTPServerDisconnected(), True),
        (smtplib.SMTPAuthenticationError(535, b""), True),
        (smtplib.SMTPRecipientsRefused({}), False),
        (smtplib.SMTPDataError(554, b""), False),
        (KeyError("rule"), False),
    ],
)
def test_a_run_ends_when_no_mail_would_go_out(error, away):
    assert is_server_away(error) is away


def test_the_message_id_hangs_on_the_reason_alone(settings):
    settings.SITE_URL = "https://club.test"

    def sent(subject: str = "batch:1", occurrence: str = "noon", person_id: int = 7) -> str:
        reminder = Reminder(rule="seal-check", subject=subject, occurrence=occurrence, person_id=person_id)
        return reminder.message_id

    assert sent() == sent()
    assert sent().endswith("@club.test>")
    assert sent(person_id=8) != sent()
    # The parts are kept apart: batch 1 at "2" is not batch 12.
    assert sent("batch:1", "2") != sent("batch:12", "")
