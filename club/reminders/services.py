"""The outbox: gather what is due, send it once, and never lose it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from django.core.exceptions import PermissionDenied

from club.members.models import User
from club.members.roles import Role
from club.reminders.gathering import gather
from club.reminders.models import Reminder, ReminderState
from club.reminders.sending import Watch, send_due, senders_wanted
from club.reminders.ticking import tick_begin, tick_end
from inventory.equipment.services import waiting_move_on

__all__ = ["gather", "reminder_resend", "send_due", "tick"]


def tick(now: datetime, call_senders: Callable[[int], None] = lambda number: None) -> None:
    """What the clock asks for each minute: lines move on, what is due is gathered, what waits is sent.

    Two clocks do no more than one: a round is begun once. Sending is anybody's; when much waits, `call_senders` is
    told how many more hands are worth their while.
    A line that cannot move, or a rule that cannot be asked, must not hold up what comes after it.
    """
    watch = Watch(now)
    try:
        if tick_begin(now=now):
            try:
                waiting_move_on(now)
            finally:
                try:
                    gather(now)
                finally:
                    tick_end(began=now, now=watch.now())
                    call_senders(senders_wanted(watch.now()))
    finally:
        send_due(watch.now())


def reminder_resend(*, by: User, reminder: Reminder, now: datetime) -> bool:
    """Try a given-up reminder again, from the first attempt. False when it was not given up (any more)."""
    if not by.has_role(Role.ORGANISER):
        raise PermissionDenied
    dead = Reminder.objects.filter(pk=reminder.pk, state=ReminderState.DEAD)
    return dead.update(state=ReminderState.DUE, attempts=0, next_try_at=now) == 1
