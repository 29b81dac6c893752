"""The outbox: gather what is due, send it once, and never lose it.

Any number of processes may run these at once, on PostgreSQL and on SQLite: a row is taken by a conditional update,
no lock is held and no transaction is open while a mail server is talked to.
"""

from __future__ import annotations

import logging
import random
import time
from collections import Counter
from contextlib import ExitStack
from datetime import datetime, timedelta
from urllib.parse import urlsplit

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.core.mail import EmailMultiAlternatives

from club.members.models import User
from club.members.roles import Role
from club.reminders.models import Reminder, ReminderState
from club.reminders.outcomes import LEASE, MOST_ATTEMPTS, is_given_up, is_server_away, message_id, wait_after
from club.reminders.routing import mail_headers, route_for
from club.reminders.rules import RULES
from club.reminders.terms import Rule
from club.reminders.wording import Message
from inventory.equipment.services import waiting_move_on
from inventory.fruit.services import offers_share_due

log = logging.getLogger(__name__)

# One run takes no new row after this long: with the slowest mail on top it ends before Celery's time limit.
RUN_FOR = timedelta(seconds=45)


def tick(now: datetime) -> None:
    """What the clock asks for each minute: lines move on, fruit is shared, what is due is gathered, what waits is sent.

    What cannot move on, or a rule that cannot be asked, must not hold up what comes after it.
    """
    with ExitStack() as steps:  # run from the last to the first, each whether or not the one before it broke
        for step in reversed((waiting_move_on, offers_share_due, gather, send_due)):
            steps.callback(step, now)


def gather(now: datetime) -> int:
    """Write an outbox row for all that is due at `now`; returns how many were new. Gathering twice writes once.

    A rule that breaks does not keep the others from being asked; its error is raised when all were.
    """
    written, errors = 0, []
    for rule in RULES.values():
        try:
            written += _gather_rule(rule, now)
        except Exception as error:
            log.exception("Rule %s could not be asked", rule.name)
            errors.append(error)
    if errors:
        raise errors[0]
    return written


def _gather_rule(rule: Rule, now: datetime) -> int:
    due = list(rule.due(now))
    known = set(
        Reminder.objects.filter(rule=rule.name, subject__in={one.subject for one in due}).values_list(
            "subject", "occurrence", "person_id"
        )
    )
    new = [
        Reminder(
            rule=rule.name,
            subject=one.subject,
            occurrence=one.occurrence,
            person_id=one.person_id,
            due_at=one.due_at,
            next_try_at=now,
        )
        for one in due
        if (one.subject, one.occurrence, one.person_id) not in known
    ]
    # Another process may have gathered between the two lines: the unique key then keeps the first.
    Reminder.objects.bulk_create(new, ignore_conflicts=True)
    return len(new)


def send_due(now: datetime, limit: int = 200) -> Counter[str]:
    """Send what waits, the longest wait first; returns how many ended in each state.

    1. Take a row: one conditional update, with a lease. Somebody else got there first: leave it.
    2. Ask its rule again. Settled meanwhile: say so and send nothing.
    3. Send, in no transaction: a failure later must not un-mark what has left the house.
    4. Note the outcome, only if the row is still ours.
    A row that breaks is put off, so that the run is never caught on it. When the mail server is away the run ends:
    the others keep their tries.
    """
    began = time.monotonic()
    outcomes: Counter[str] = Counter()
    for reminder in list(Reminder.objects.waiting(now).select_related("person")[:limit]):
        ran = timedelta(seconds=time.monotonic() - began)
        if ran > RUN_FOR:
            break
        if reminder_claim(reminder=reminder, now=now + ran):
            error = _send_one(reminder, now + ran)
            outcomes[reminder.state] += 1
            if error is not None and is_server_away(error):
                break
    return outcomes


def reminder_claim(*, reminder: Reminder, now: datetime) -> bool:
    """Take the row for `LEASE`. The number of attempts is the token: whoever took it since has raised it.

    A row whose senders died every time is given up here; nobody else would be left to do it.
    """
    same = Reminder.objects.waiting(now).filter(pk=reminder.pk, attempts=reminder.attempts).order_by()
    if reminder.state == ReminderState.SENDING and reminder.attempts >= MOST_ATTEMPTS:
        same.update(state=ReminderState.DEAD, leased_until=None, last_error="Each sender died before it could say.")
        return False
    taken = same.update(state=ReminderState.SENDING, leased_until=now + LEASE, attempts=reminder.attempts + 1)
    if taken == 1:
        reminder.state, reminder.attempts = ReminderState.SENDING, reminder.attempts + 1
    return taken == 1


def _send_one(reminder: Reminder, now: datetime) -> Exception | None:
    """Steps 2 to 4 of `send_due`; the error when it failed."""
    try:
        rule = RULES[reminder.rule]
        if not rule.still_due(reminder, now):
            _note(reminder, ReminderState.SETTLED, now)
            return None
        route = route_for(reminder, rule, now)
        if route.not_before is not None:
            later = route.not_before
            _note(reminder, ReminderState.DUE, now, next_try_at=later, not_before=later)
            return None
        message = rule.message(reminder, now)
        said = {"headline": message.subject[:200], "path": message.link.removeprefix(settings.SITE_URL)[:200]}
        if not route.by_mail:
            _note(reminder, ReminderState.SHOWN, now, sent_at=now, last_error="", **said)
            return None
        _mail(reminder, rule, message)
    except Exception as error:
        _note_failure(reminder, error, now)
        return error
    _note(reminder, ReminderState.SENT, now, sent_at=now, last_error="", **said)
    log.info("Reminder %s sent, %d s after it was due", reminder.pk, (now - reminder.due_at).total_seconds())
    return None


def _mail(reminder: Reminder, rule: Rule, message: Message) -> None:
    host = urlsplit(settings.SITE_URL).hostname or "localhost"
    key = (reminder.rule, reminder.subject, reminder.occurrence, reminder.person_id)
    headers = {"Message-ID": message_id(*key, host=host), **mail_headers(reminder, rule)}
    mail = EmailMultiAlternatives(message.subject, message.text, to=[reminder.person.email], headers=headers)
    mail.attach_alternative(message.html, "text/html")
    mail.send()


def _note_failure(reminder: Reminder, error: Exception, now: datetime) -> None:
    told = f"{type(error).__name__}: {error}"[:300]
    if is_given_up(error, reminder.attempts):
        log.error("Reminder %s is given up: %s", reminder.pk, told)
        _note(reminder, ReminderState.DEAD, now, last_error=told)
        return
    wait = wait_after(reminder.attempts, jitter=random.random())
    log.warning("Reminder %s failed, again in %d s: %s", reminder.pk, wait.total_seconds(), told)
    _note(reminder, ReminderState.DUE, now, next_try_at=now + wait, last_error=told)


def _note(reminder: Reminder, state: ReminderState, now: datetime, **changes: object) -> None:
    """Only while the row is ours: a sender slower than its lease must not overwrite what the next one noted."""
    ours = Reminder.objects.filter(pk=reminder.pk, state=ReminderState.SENDING, attempts=reminder.attempts)
    ours.update(state=state, leased_until=None, **changes)
    reminder.state = state


def reminder_resend(*, by: User, reminder: Reminder, now: datetime) -> bool:
    """Try a given-up reminder again, from the first attempt. False when it was not given up (any more)."""
    if not by.has_role(Role.ORGANISER):
        raise PermissionDenied
    dead = Reminder.objects.filter(pk=reminder.pk, state=ReminderState.DEAD)
    return dead.update(state=ReminderState.DUE, attempts=0, next_try_at=now) == 1
