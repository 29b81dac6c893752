"""What is due about things lent: tests of gauges and meters to keepers, a month and a week before the last one lapses
at 9:00 on the wall of the club, and offers to whoever is next in a line. Loans and holds have a module of their own.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, time

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from club.core.clock import club_day
from club.members.choices import Role
from club.reminders import thing_mails
from club.reminders.models import Reminder
from club.reminders.subjects import at_hour, holders_of, ids_of, subject_id
from club.reminders.terms import Rule
from club.reminders.wording import Due
from inventory.equipment.choices import WaitState
from inventory.equipment.models import InstrumentTest, Thing, WaitingEntry
from inventory.equipment.rules import MONTH_BEFORE, WEEK_BEFORE

THING, OFFER = "thing:", "wait:"
CALLS = {"month": MONTH_BEFORE, "week": WEEK_BEFORE}
CALL_AT = time(9, 0)  # our own choice, no source


def gauge_due(now: datetime) -> Iterator[Due]:
    """To every keeper, for every instrument whose test is good still but lapses within the month or the week."""
    today = club_day(now)
    lapsing = Thing.objects.all().tests_lapsing(today, today + MONTH_BEFORE)
    keepers = holders_of(Role.KEEPER) if lapsing else []
    for thing_id, lapses in lapsing:
        call = "week" if lapses - today <= WEEK_BEFORE else "month"
        due_at = at_hour(lapses - CALLS[call], CALL_AT)
        if due_at <= now:
            for keeper in keepers:
                yield Due(f"{THING}{thing_id}", f"{lapses}:{call}", keeper, due_at)


def gauge_still_due(reminder: Reminder, now: datetime) -> bool:
    """No newer test, the thing not retired, the person a keeper still."""
    lapses = reminder.occurrence.partition(":")[0]
    today = club_day(now)
    last = InstrumentTest.objects.filter(thing=subject_id(reminder)).order_by("-tested_on", "-pk").first()
    is_lent = Thing.objects.filter(pk=subject_id(reminder)).exclude(state="retired").exists()
    is_same = last is not None and str(last.lapses_on) == lapses and last.lapses_on > today
    keeps = reminder.person.is_active and reminder.person.has_role(Role.KEEPER)
    return is_lent and is_same and keeps


def offer_due(now: datetime) -> Iterator[Due]:
    """At once, to whoever is offered a thing."""
    offered = WaitingEntry.objects.filter(state=WaitState.OFFERED, offer_until__gt=now, person__is_active=True)
    for entry_id, person_id, at in offered.values_list("pk", "person_id", "offered_at"):
        if at is not None:
            yield Due(f"{OFFER}{entry_id}", at.astimezone(UTC).isoformat(), person_id, at)


def offer_still_due(reminder: Reminder, now: datetime) -> bool:
    return WaitingEntry.objects.filter(pk=subject_id(reminder), state=WaitState.OFFERED, offer_until__gt=now).exists()


def words(subjects: Iterable[str]) -> dict[str, str | Promise]:
    """What each subject of this room is about, in words; two queries, however many."""
    wanted = list(subjects)
    things = Thing.objects.filter(pk__in=ids_of(wanted, THING)).values_list("pk", "code")
    found: dict[str, str | Promise] = {f"{THING}{pk}": code for pk, code in things}
    for entry in WaitingEntry.objects.filter(pk__in=ids_of(wanted, OFFER)):
        found[f"{OFFER}{entry.pk}"] = entry.get_kind_display()
    return found


RULES = (
    Rule(
        "gauge-due",
        _("test a gauge or a meter"),
        gauge_due,
        gauge_still_due,
        thing_mails.gauge_message,
        keeps_a_week=True,
        only_to=frozenset({Role.KEEPER}),
    ),
    Rule("thing-offer", _("a thing is free for you"), offer_due, offer_still_due, thing_mails.offer_message),
)
