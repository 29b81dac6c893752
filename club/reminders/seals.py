"""The two calls to look at the seals: at 12 hours, and at 20 hours if nothing was recorded.

Each goes to the person who made the batch, who has the jars at home. The hours are those of inventory.batches.rules.
From 20 hours on the second call speaks alone, so a laptop that slept through the day sends one mail and not two.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, timedelta

from django.db.models.functions import Coalesce
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from club.reminders.letters import Told, hour_words, letter
from club.reminders.models import Reminder
from club.reminders.subjects import ids_of, subject_id
from club.reminders.terms import Rule
from club.reminders.wording import Due, Message
from inventory.batches.choices import BatchState
from inventory.batches.models import Batch
from inventory.batches.rules import COOL_MIN, SECOND_CALL, STOOD_TOO_LONG

# Our own choice, no source: after a week the desk still shows the batch, but a mail no longer helps anybody.
TOO_LATE_TO_MAIL = timedelta(days=7)
SUBJECT = "batch:"


def first_look_due(now: datetime) -> Iterator[Due]:
    return _due(now, after=COOL_MIN, before=SECOND_CALL)


def second_call_due(now: datetime) -> Iterator[Due]:
    return _due(now, after=SECOND_CALL, before=TOO_LATE_TO_MAIL)


def first_look_still_due(reminder: Reminder, now: datetime) -> bool:
    return _still_due(reminder, now, before=SECOND_CALL)


def second_call_still_due(reminder: Reminder, now: datetime) -> bool:
    return _still_due(reminder, now, before=TOO_LATE_TO_MAIL)


def first_look_message(reminder: Reminder, now: datetime) -> Message:
    return _message(reminder, now, is_second_call=False)


def second_call_message(reminder: Reminder, now: datetime) -> Message:
    return _message(reminder, now, is_second_call=True)


def _due(now: datetime, *, after: timedelta, before: timedelta) -> Iterator[Due]:
    """Batches out for `after` or longer, but less than `before`, with no settling look at the seals yet."""
    now = now.astimezone(UTC)  # taken off a local time, the hours would be those on the wall
    out_at = Coalesce("reprocessed_out_at", "jars_out_at")
    waiting = (
        Batch.objects.seals_due(now)
        .annotate(out=out_at)
        .filter(out__lte=now - after, out__gt=now - before, made_by__is_active=True)
    )
    for batch_id, person_id, out in waiting.values_list("pk", "made_by_id", "out"):
        yield Due(f"{SUBJECT}{batch_id}", _occurrence(out), person_id, due_at=out.astimezone(UTC) + after)


def _still_due(reminder: Reminder, now: datetime, *, before: timedelta) -> bool:
    """Not looked at, not corrected to another hour, not reprocessed, and still the same person's."""
    batch = Batch.objects.filter(pk=subject_id(reminder), state=BatchState.OUT, made_by=reminder.person_id).first()
    if batch is None or batch.last_out_at is None or not reminder.person.is_active:
        return False
    out = batch.last_out_at.astimezone(UTC)
    return _occurrence(out) == reminder.occurrence and now.astimezone(UTC) < out + before


def _occurrence(out: datetime) -> str:
    return out.astimezone(UTC).isoformat()


def words(subjects: Iterable[str]) -> dict[str, str]:
    """Lot code by subject, for those that are batches."""
    rows = Batch.objects.filter(pk__in=ids_of(subjects, SUBJECT)).values_list("pk", "lot_code")
    return {f"{SUBJECT}{pk}": lot for pk, lot in rows}


def _message(reminder: Reminder, now: datetime, *, is_second_call: bool) -> Message:
    batch = Batch.objects.select_related("revision__recipe").get(pk=subject_id(reminder))

    def told() -> Told:
        subject = (
            _("Still to do: the seals of %(recipe)s, %(lot)s")
            if is_second_call
            else _("Look at the seals: %(recipe)s, %(lot)s")
        )
        paragraphs = [_opening(batch, is_second_call), _how_to_look(), *_what_then(batch, now)]
        return subject % _names(batch), paragraphs, _("Record what you see, jar by jar")

    return letter(reminder, reverse("batches:seals", args=[batch.lot_code]), told)


def _names(batch: Batch) -> dict[str, str]:
    return {"recipe": batch.title, "lot": batch.lot_code, "out": hour_words(batch.last_out_at)}


def _opening(batch: Batch, is_second_call: bool) -> str:
    if is_second_call:
        said = _("Nothing is recorded yet about the seals of %(recipe)s, lot %(lot)s. The jars came out on %(out)s.")
    else:
        said = _("The jars of %(recipe)s, lot %(lot)s, came out on %(out)s. It is time to look at their seals.")
    return said % _names(batch)


def _how_to_look() -> str:
    return _(
        "Take off the bands and press the middle of each lid: one that springs back has not sealed."
        " Do not tighten a band again."
    )


def _what_then(batch: Batch, now: datetime) -> Iterator[str]:
    """What can still be done at `now` with a jar that has not sealed, and until what hour."""
    refusal = batch.reprocess_refusal(now)
    hour = {"hour": hour_words(batch.reprocess_until)}
    if refusal is None:
        yield _("A jar that has not sealed can be processed again until %(hour)s. After that hour it cannot.") % hour
    elif batch.window is not None and now < batch.window.reprocess_until:
        yield refusal.message
    else:
        if batch.reprocess_until is not None:
            yield (
                _("It is too late to process an unsealed jar again: that lapsed on %(hour)s. Look all the same.") % hour
            )
        yield _(STOOD_TOO_LONG.statement)


RULES = (
    Rule("seal-check", gettext_lazy("look at the seals"), first_look_due, first_look_still_due, first_look_message),
    Rule(
        "seal-second-call",
        gettext_lazy("look at the seals, second call"),
        second_call_due,
        second_call_still_due,
        second_call_message,
        may_wait=False,  # four hours before reprocessing lapses: a night would be too long
    ),
)
