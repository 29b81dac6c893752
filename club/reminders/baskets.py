"""Who has which row in hand. Every change of state of a row on its way is here, each a conditional update.

A sender takes due rows by the basketful, under a lease, and then one after the other into its hand. A basket whose
lease ran out belonged to a sender that died: what lay in it is simply due again; of what was in hand nobody knows
whether it left the house.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Collection
from datetime import datetime, timedelta
from functools import partial
from uuid import uuid4

from django.conf import settings
from django.db import InterfaceError, OperationalError, connection, transaction
from django.db.models import F, prefetch_related_objects

from club.reminders.models import Reminder, ReminderState
from club.reminders.outcomes import MOST_ATTEMPTS
from club.reminders.rules import RULES

log = logging.getLogger(__name__)

BASKET = 50
DATABASE_AWAY = (OperationalError, InterfaceError)
# Together half a minute: a database that restarts is back by then, and the lease runs much longer.
PAUSES_S = (0.5, 1, 2, 4, 8, 16)
ALL_DIED = "Each sender died before it could say."
UNKNOWN = "The sender died with this mail in hand: it may have arrived. Ask, before you send it again."


def lease() -> timedelta:
    return timedelta(seconds=settings.REMINDER_LEASE_SECONDS)


def basket_take(*, now: datetime, most: int = BASKET) -> list[Reminder]:
    """So many of the rows that wait, the longest wait first; an empty list when none does.

    PostgreSQL passes over the rows that another is taking at this moment. SQLite knows no row locks; there the
    transaction has the whole database to itself from its first statement.
    """
    while True:
        with transaction.atomic():
            waiting = Reminder.objects.waiting(now).select_related("person__wishes")
            found = list(waiting.select_for_update(skip_locked=True, of=("self",))[:most])
            rows = _without_the_given_up(found)
            holder, until = uuid4(), now + lease()
            Reminder.objects.filter(pk__in=[row.pk for row in rows]).update(
                state=ReminderState.TAKEN, holder=holder, leased_until=until
            )
        if rows or not found:
            break
    for row in rows:
        row.state, row.holder, row.leased_until = ReminderState.TAKEN, holder, until
    # Rules ask for a person's roles; asked here they cost one query a basket.
    prefetch_related_objects(rows, "person__groups")
    return rows


def _without_the_given_up(found: list[Reminder]) -> list[Reminder]:
    """Those of which a dead sender leaves nothing to ask; the others go to the dead letters."""
    given_up = {row.pk: why for row in found if (why := _why_not_again(row))}
    for why in set(given_up.values()):
        rows = Reminder.objects.filter(pk__in=[pk for pk, its in given_up.items() if its == why])
        rows.update(state=ReminderState.DEAD, holder=None, leased_until=None, last_error=why)
        log.error("Reminders %s are given up: %s", [pk for pk, its in given_up.items() if its == why], why)
    return [row for row in found if row.pk not in given_up]


def _why_not_again(row: Reminder) -> str:
    if row.state != ReminderState.SENDING:
        return ""
    rule = RULES.get(row.rule)
    if rule is not None and rule.after_lost_lease == "hold":
        return UNKNOWN
    return ALL_DIED if row.attempts >= MOST_ATTEMPTS else ""


def reminder_take_in_hand(*, reminder: Reminder, now: datetime) -> bool:
    """From the basket into the hand, with a lease of its own; False when the basket was taken over meanwhile.

    The try is counted now: a mail that kills its senders must run out of tries as well.
    """
    ours = Reminder.objects.filter(pk=reminder.pk, state=ReminderState.TAKEN, holder=reminder.holder)
    if not ours.update(state=ReminderState.SENDING, attempts=F("attempts") + 1, leased_until=now + lease()):
        return False
    reminder.state, reminder.attempts = ReminderState.SENDING, reminder.attempts + 1
    return True


def reminder_note(*, reminder: Reminder, state: ReminderState, **changes: object) -> None:
    """What became of the row in hand. Only while it is ours: another may have taken it since."""
    ours = Reminder.objects.filter(pk=reminder.pk, state=ReminderState.SENDING, holder=reminder.holder)
    _surely(partial(ours.update, state=state, holder=None, leased_until=None, **changes))
    reminder.state = state


def basket_give_back(rows: Collection[Reminder]) -> None:
    """What of a basket was not taken in hand is due again at once, its tries as they were."""
    for holder in {row.holder for row in rows}:  # one: a basket has one holder
        ours = Reminder.objects.filter(pk__in=[row.pk for row in rows], holder=holder, state=ReminderState.TAKEN)
        _surely(partial(ours.update, state=ReminderState.DUE, holder=None, leased_until=None))


def _surely(write: Callable[[], object]) -> None:
    """A mail that left must be noted: when the database is away for a moment we wait for it, with nothing new in hand.

    Writing twice does no harm: after the first time the row is no longer ours.
    """
    for pause in PAUSES_S:
        try:
            write()
            return
        except DATABASE_AWAY as error:
            if connection.in_atomic_block:
                raise
            log.warning("The database is away, again in %s s: %s", pause, error)
            connection.close()
            time.sleep(pause)
    write()
