"""Gathering: each rule is asked what is due, and what nobody wrote down yet becomes a row of the outbox."""

from __future__ import annotations

import logging
from collections.abc import Iterable, Iterator
from datetime import datetime
from itertools import islice

from django.db.models import QuerySet

from club.reminders.models import Reminder
from club.reminders.rules import RULES
from club.reminders.terms import Rule
from club.reminders.wording import Due

log = logging.getLogger(__name__)

# So many are looked up and written in one statement: a query has a limit to its parameters.
AT_ONCE = 500
Key = tuple[str, str, int]


def gather(now: datetime) -> int:
    """Write an outbox row for all that is due at `now`; returns how many were new. Gathering twice writes once.

    A rule that breaks does not keep the others from being asked; its error is raised when all were.
    """
    written, errors = 0, []
    for rule in RULES.values():
        try:
            written += sum(_write_new(rule, some, now) for some in _in_parts(rule.due(now)))
        except Exception as error:
            log.exception("Rule %s could not be asked", rule.name)
            errors.append(error)
    if errors:
        raise errors[0]
    return written


def _in_parts(due: Iterable[Due]) -> Iterator[list[Due]]:
    rest = iter(due)
    while some := list(islice(rest, AT_ONCE)):
        yield some


def known(rule: str, due: list[Due]) -> QuerySet[Reminder, Key]:
    """Which of these the outbox has: (subject, occurrence, person).

    The unique key answers this alone, whatever lies in the table: nothing else may be selected here, nor sorted by.
    """
    same = Reminder.objects.filter(
        rule=rule, subject__in={one.subject for one in due}, occurrence__in={one.occurrence for one in due}
    )
    return same.order_by().values_list("subject", "occurrence", "person_id")


def _write_new(rule: Rule, due: list[Due], now: datetime) -> int:
    there = set(known(rule.name, due))
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
        if (one.subject, one.occurrence, one.person_id) not in there
    ]
    # Another process may have gathered between the two lines: the unique key then keeps the first.
    Reminder.objects.bulk_create(new, ignore_conflicts=True)
    return len(new)
