"""Fruit in a freezer that has passed its best months: told once, to whoever put it in. It may be muted.

Quality, not safety: nothing has to be thrown away. The morning it passes, and for a month after, so that a list that
was keyed in from an old freezer does not send a mail for every lot of years ago.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime, time, timedelta

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from club.core.clock import club_day
from club.members.models import Kitchen
from club.reminders.letters import day_words, letter
from club.reminders.models import Reminder
from club.reminders.subjects import at_hour
from club.reminders.terms import Rule
from club.reminders.wording import Due, Message
from inventory.fruit.models import FreezerItem
from inventory.fruit.produce import weight_words
from inventory.fruit.rules import CITRUS_MONTHS, PLAIN_MONTHS, Age, months_later

SUBJECT = "freezer:"
MORNING = time(9, 0)
TOLD_FOR = timedelta(days=30)  # our own choice, no source
SHORTEST = min(PLAIN_MONTHS[1], CITRUS_MONTHS[1])


def _due(now: datetime) -> Iterator[Due]:
    """One for each lot that is still there and passed its best within the last month."""
    today = club_day(now)
    oldest = months_later(today, -PLAIN_MONTHS[1]) - 2 * TOLD_FOR
    frozen = FreezerItem.objects.there().filter(
        frozen_on__gte=oldest, frozen_on__lte=months_later(today, -SHORTEST), put_in_by__is_active=True
    )
    for item in frozen:
        best_until = item.keeping.best_until
        due_at = at_hour(best_until, MORNING)
        if due_at <= now and best_until > today - TOLD_FOR:
            # A lot that was keyed in late is not late to be told.
            yield Due(f"{SUBJECT}{item.pk}", str(best_until), item.put_in_by_id, max(due_at, item.created_at))


def _still_due(reminder: Reminder, now: datetime) -> bool:
    """Still there, still past by what is written now, and her kitchen still."""
    item = _item(reminder.subject)
    if item is None or str(item.keeping.best_until) != reminder.occurrence or not reminder.person.is_active:
        return False
    is_hers = Kitchen.objects.usable_by(reminder.person).filter(pk=item.kitchen_id).exists()
    return is_hers and item.keeping.age(club_day(now)) is Age.PAST


def _item(subject: str) -> FreezerItem | None:
    return FreezerItem.objects.there().filter(pk=int(subject.removeprefix(SUBJECT))).first()


def _message(reminder: Reminder, now: datetime) -> Message:
    item = FreezerItem.objects.select_related("kitchen").get(pk=int(reminder.subject.removeprefix(SUBJECT)))

    def told() -> tuple[str, list[str], str]:
        names = {
            "what": item.what,
            "weight": weight_words(item.grams_left, reminder.person.units),
            "kitchen": item.kitchen.name,
            "frozen": date_format(item.frozen_on, "j F Y"),
            "until": day_words(item.keeping.best_until),
        }
        return (
            _("Past its best in the freezer: %(what)s") % names,
            [
                _("%(weight)s of %(what)s in %(kitchen)s, frozen on %(frozen)s, was at its best until %(until)s.")
                % names,
                _("It is not unsafe, only less good by the month. On its page you see what can be made of it."),
            ],
            _("What can be made of it"),
        )

    return letter(reminder, item.get_absolute_url(), told)


def words(subjects: Iterable[str]) -> dict[str, str]:
    """What lies there, in one query."""
    keys = [int(one.removeprefix(SUBJECT)) for one in subjects if one.startswith(SUBJECT)]
    if not keys:
        return {}
    return {f"{SUBJECT}{pk}": what for pk, what in FreezerItem.objects.filter(pk__in=keys).values_list("pk", "what")}


RULES = (
    Rule(
        "freezer-ageing",
        gettext_lazy("fruit past its best in the freezer"),
        _due,
        _still_due,
        _message,
        may_mute=True,
        may_wait=True,
        keeps_a_week=True,
        after_lost_lease="hold",
    ),
)
