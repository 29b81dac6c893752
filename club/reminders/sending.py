"""Sending: what waits goes out once, whatever falls over.

Any number of processes may run this at once, on PostgreSQL and on SQLite. No lock is held and no transaction is open
while a mail server is talked to.
"""

from __future__ import annotations

import logging
import random
import time
from collections import Counter
from datetime import datetime, timedelta

from django.conf import settings

from club.reminders.baskets import (
    BASKET,
    DATABASE_AWAY,
    basket_give_back,
    basket_take,
    reminder_note,
    reminder_take_in_hand,
)
from club.reminders.models import Reminder, ReminderState
from club.reminders.outcomes import is_given_up, is_no_mailbox, is_server_away, wait_after
from club.reminders.posting import MailLine, mail_of
from club.reminders.routing import route_for
from club.reminders.rules import RULES
from club.reminders.wishes import mailbox_note_bounce

log = logging.getLogger(__name__)

# One run takes no new row after this long: with the slowest mail on top it ends before Celery's time limit.
RUN_FOR = timedelta(seconds=45)
# With the run that gathered.
MOST_SENDERS = 4


class Watch:
    """The hour of the caller, moved on by the seconds that passed since."""

    def __init__(self, now: datetime) -> None:
        self._start, self._began = now, time.monotonic()

    def now(self) -> datetime:
        return self._start + self.ran()

    def ran(self) -> timedelta:
        return timedelta(seconds=time.monotonic() - self._began)


def send_due(now: datetime, run_for: timedelta = RUN_FOR) -> Counter[str]:
    """Send what waits, the longest wait first; returns how many ended in each state.

    1. Take a basketful of rows.
    2. Take a row in hand. Somebody else has it meanwhile: leave it.
    3. Ask its rule again. Settled meanwhile: say so and send nothing.
    4. Send, in no transaction: a failure later must not un-mark what has left the house.
    5. Note the outcome before the next row is taken in hand: a sender that dies leaves one mail unknown, never two.
    A row that breaks is put off, so that the run is never caught on it. When the mail server or the database is away
    the run ends: the others are given back and keep their tries.
    """
    watch, outcomes = Watch(now), Counter[str]()
    with MailLine() as line:
        while watch.ran() < run_for and (rows := basket_take(now=watch.now())):
            try:
                for row in rows:
                    if watch.ran() >= run_for:
                        break
                    if not reminder_take_in_hand(reminder=row, now=watch.now()):
                        continue
                    error = _send_one(row, watch.now(), line)
                    outcomes[row.state] += 1
                    if error is not None and (is_server_away(error) or isinstance(error, DATABASE_AWAY)):
                        return outcomes
            finally:
                basket_give_back(rows)
    return outcomes


def senders_wanted(now: datetime) -> int:
    """How many senders are worth their while beside the one who asks: one for each further basketful that waits."""
    waiting = Reminder.objects.waiting(now).order_by()[: BASKET * MOST_SENDERS].count()
    return max(0, -(-waiting // BASKET) - 1)


def _send_one(reminder: Reminder, now: datetime, line: MailLine) -> Exception | None:
    """Steps 3 to 5 of `send_due`; the error when it failed."""
    try:
        rule = RULES[reminder.rule]
        if not rule.still_due(reminder, now):
            reminder_note(reminder=reminder, state=ReminderState.SETTLED)
            return None
        route = route_for(reminder, rule, now)
        if route.not_before is not None and route.not_before > now:
            _put_off(reminder, route.not_before)
            return None
        message = rule.message(reminder, now)
        said = {"headline": message.subject[:200], "path": message.link.removeprefix(settings.SITE_URL)[:200]}
        if not route.by_mail:
            reminder_note(reminder=reminder, state=ReminderState.SHOWN, sent_at=now, last_error="", **said)
            return None
        line.send(mail_of(reminder, rule, message))
    except Exception as error:
        _note_failure(reminder, error, now)
        return error
    reminder_note(reminder=reminder, state=ReminderState.SENT, sent_at=now, last_error="", **said)
    log.info("Reminder %s sent, %d s after it was due", reminder.pk, (now - reminder.due_at).total_seconds())
    return None


def _put_off(reminder: Reminder, later: datetime) -> None:
    """Nothing was tried, so the try is given back. That it is ours hangs on the basket, not on the number of tries."""
    tries = {"attempts": reminder.attempts - 1, "next_try_at": later, "not_before": later}
    reminder_note(reminder=reminder, state=ReminderState.DUE, **tries)


def _note_failure(reminder: Reminder, error: Exception, now: datetime) -> None:
    told = f"{type(error).__name__}: {error}"[:300]
    if is_given_up(error, reminder.attempts):
        log.error("Reminder %s is given up: %s", reminder.pk, told)
        reminder_note(reminder=reminder, state=ReminderState.DEAD, last_error=told)
        if is_no_mailbox(error):
            mailbox_note_bounce(person=reminder.person, reason=told, now=now)
        return
    # A rule that could not be asked for want of a database is asked as soon as there is one.
    is_ours = isinstance(error, DATABASE_AWAY)
    wait = timedelta(0) if is_ours else wait_after(reminder.attempts, jitter=random.random())
    log.warning("Reminder %s failed, again in %d s: %s", reminder.pk, wait.total_seconds(), told)
    reminder_note(reminder=reminder, state=ReminderState.DUE, next_try_at=now + wait, last_error=told)
