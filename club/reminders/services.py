"""The outbox: gather what is due, send it once, and never lose it."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from datetime import datetime

from django.core.exceptions import PermissionDenied

from club.classes.services.seats import seats_move_on
from club.members.choices import Role
from club.members.models import User
from club.reminders.gathering import gather
from club.reminders.models import Reminder, ReminderState
from club.reminders.sending import Watch, send_due, senders_wanted
from club.reminders.ticking import tick_begin, tick_end
from inventory.batches.services import recalls_follow_withdrawals
from inventory.equipment.services import waiting_move_on
from inventory.fruit.services import offers_share_due

# What moves on by the clock alone, before what is due is gathered.
MOVES_ON: tuple[Callable[[datetime], object], ...] = (
    waiting_move_on,
    seats_move_on,
    offers_share_due,
    recalls_follow_withdrawals,
)

__all__ = ["gather", "reminder_resend", "send_due", "tick"]


def tick(now: datetime, call_senders: Callable[[int], None] = lambda number: None) -> None:
    """What the clock asks for each minute: lines move on, what is due is gathered, what waits is sent.

    Two clocks do no more than one: a round is begun once. Sending is anybody's; when much waits, `call_senders` is
    told how many more hands are worth their while.
    What cannot move on, or a rule that cannot be asked, must not hold up what comes after it.
    """
    watch = Watch(now)
    with ExitStack() as at_last:  # run from the last to the first, each whether or not the one before it broke
        at_last.callback(lambda: send_due(watch.now()))
        if tick_begin(now=now):
            at_last.callback(lambda: call_senders(senders_wanted(watch.now())))
            at_last.callback(lambda: tick_end(began=now, now=watch.now()))
            for step in reversed((*MOVES_ON, gather)):
                at_last.callback(step, now)


def reminder_resend(*, by: User, reminder: Reminder, now: datetime) -> bool:
    """Try a given-up reminder again, from the first attempt. False when it was not given up (any more)."""
    if not by.has_role(Role.ORGANISER):
        raise PermissionDenied
    dead = Reminder.objects.filter(pk=reminder.pk, state=ReminderState.DEAD)
    return dead.update(state=ReminderState.DUE, attempts=0, next_try_at=now) == 1
