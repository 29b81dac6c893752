"""Jars called back: everyone who holds some is told at once, and again every third day until her household answers.

It cannot be muted and waits for nobody's quiet hours. After the last call (see recall_rules) it stays at that: whoever
comes to hold a jar later still hears of it once, and the others are telephoned.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from club.reminders.letters import letter
from club.reminders.models import Reminder
from club.reminders.terms import Rule
from club.reminders.wording import Due, Message
from inventory.batches.models import Batch, Recall
from inventory.batches.rules import ASK_AGAIN_AFTER, AUTHORITY, HELD_APART, MOST_CALLS, NOT_EATEN
from inventory.batches.tracing import waiting

SUBJECT = "recall:"


def _due(now: datetime) -> Iterator[Due]:
    """To each person whose hands hold jars of an open recall and have not answered; one for each recall."""
    recalls = {one.pk: one for one in Recall.objects.open()}
    asked = {(one.recall_id, person) for one in waiting(recalls.values()) for person in one.people}
    for pk, person in sorted(asked):
        call = _call(recalls[pk], now)
        yield Due(f"{SUBJECT}{pk}", str(call), person, due_at=_began(recalls[pk]) + call * ASK_AGAIN_AFTER)


def _still_due(reminder: Reminder, now: datetime) -> bool:
    """Still open, not answered, and not overtaken by the next call."""
    recall = Recall.objects.open().filter(pk=_key(reminder.subject)).first()
    if recall is None or str(_call(recall, now)) != reminder.occurrence:
        return False
    return any(reminder.person_id in one.people for one in waiting([recall]))


def _began(recall: Recall) -> datetime:
    return recall.opened_at.astimezone(UTC)


def _call(recall: Recall, now: datetime) -> int:
    """Which call is due, from 0; elapsed time, whatever the clocks on the wall do."""
    return max(0, min((now.astimezone(UTC) - _began(recall)) // ASK_AGAIN_AFTER, MOST_CALLS - 1))


def _key(subject: str) -> int:
    return int(subject.removeprefix(SUBJECT))


def _message(reminder: Reminder, now: datetime) -> Message:
    recall = Recall.objects.for_list().get(pk=_key(reminder.subject))
    batches = {one.batch_id for one in waiting([recall]) if reminder.person_id in one.people}
    lots = ", ".join(Batch.objects.filter(pk__in=batches).order_by("lot_code").values_list("lot_code", flat=True))

    def told() -> tuple[str, list[str], str]:
        names = {"what": recall.subject_words, "lots": lots, "why": recall.reason}
        return (
            _("Do not eat: jars called back, %(what)s") % names,
            [
                _("Jars that you have, made or gave away are called back: lot %(lots)s.") % names,
                _("Why: %(why)s") % names,
                _(NOT_EATEN.statement),
                _(HELD_APART.statement),
                _(AUTHORITY.statement),
                _("Then say on the site what you did, also if no jar is left: until then you are asked again."),
            ],
            _("What to do, and your answer"),
        )

    return letter(reminder, reverse("batches:recall", args=[recall.pk]), told)


def words(subjects: Iterable[str]) -> dict[str, str]:
    """What each recall calls back, in one query."""
    keys = [_key(one) for one in subjects if one.startswith(SUBJECT)]
    if not keys:
        return {}
    return {f"{SUBJECT}{one.pk}": one.subject_words for one in Recall.objects.for_list().filter(pk__in=keys)}


RULES = (
    Rule(
        "recall",
        gettext_lazy("jars called back"),
        _due,
        _still_due,
        _message,
        may_mute=False,
        may_wait=False,
        after_lost_lease="again",
    ),
)
