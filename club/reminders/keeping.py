"""What is due about jars that wait: to be processed again before it is too late, and to be eaten within their year.

Hours and years are those of inventory.batches.rules.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.db.models import Exists, OuterRef
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from club.core.clock import in_utc
from club.members.choices import Role
from club.members.models import Kitchen
from club.reminders.letters import Told, hour_words, letter
from club.reminders.models import Reminder
from club.reminders.subjects import at_hour, holders_of, subject_id
from club.reminders.terms import Rule
from club.reminders.wording import Due, Message
from inventory.batches.choices import BatchState, Disposal
from inventory.batches.models import Batch, BatchQuerySet, Jar
from inventory.batches.rules import (
    BEST_WITHIN,
    BEST_WITHIN_YEARS,
    REPROCESS,
    REPROCESS_WINDOW,
    STOOD_TOO_LONG,
    best_before,
)
from inventory.jars.choices import JarState
from inventory.jars.models import Balance, BalanceQuerySet

BATCH = "batch:"
A_DAY = timedelta(days=1)
# Our own choices, no source: time to heat a canner and run most processes; a morning hour; and how long a call that
# nobody sent, as the site was away, is still worth sending.
CLOSING_BEFORE = timedelta(hours=2)
YEAR_CALL_AT = time(9)
YEAR_CALL_WITHIN = timedelta(days=30)


def closing_due(now: datetime) -> Iterator[Due]:
    """Two hours before reprocessing lapses, to who made a batch of which jars still wait for it."""
    for batch in _closing(now):
        if batch.jars_out_at is not None:
            due_at = in_utc(batch.jars_out_at) + REPROCESS_WINDOW - CLOSING_BEFORE
            yield Due(f"{BATCH}{batch.pk}", in_utc(batch.jars_out_at).isoformat(), batch.made_by_id, due_at)


def closing_still_due(reminder: Reminder, now: datetime) -> bool:
    """Jars still wait, the hour is the same, it has not lapsed, and the batch is hers."""
    batch = _closing(now).filter(pk=subject_id(reminder), made_by=reminder.person_id).first()
    if batch is None or batch.jars_out_at is None:
        return False
    return in_utc(batch.jars_out_at).isoformat() == reminder.occurrence


def _closing(now: datetime) -> BatchQuerySet:
    lapsing_from = in_utc(now) - REPROCESS_WINDOW
    waiting = Batch.objects.to_reprocess().filter(is_reprocessable=True, reprocessed_out_at=None)
    waiting = waiting.exclude(pk__in=Jar.objects.recalled().values("batch"))
    closing = waiting.filter(jars_out_at__gt=lapsing_from, jars_out_at__lte=lapsing_from + CLOSING_BEFORE)
    return closing.filter(made_by__is_active=True).only("jars_out_at", "made_by")


def closing_message(reminder: Reminder, now: datetime) -> Message:
    batch = Batch.objects.select_related("revision__recipe").get(pk=subject_id(reminder))
    waiting = batch.jars.filter(disposal=Disposal.REPROCESS).count()

    def told() -> Told:
        names = {"n": waiting, "recipe": batch.title, "lot": batch.lot_code, "hour": hour_words(batch.reprocess_until)}
        said = ngettext(
            "%(n)d jar of %(recipe)s, lot %(lot)s, waits to be processed again. That lapses on %(hour)s.",
            "%(n)d jars of %(recipe)s, lot %(lot)s, wait to be processed again. That lapses on %(hour)s.",
            waiting,
        )
        else_ = _("If there is no time for that, put them into the refrigerator or the freezer now, and say so there.")
        subject = _("Until %(hour)s: process again %(recipe)s, %(lot)s") % names
        paragraphs = [said % names, _(REPROCESS.statement), else_, _(STOOD_TOO_LONG.statement)]
        return subject, paragraphs, _("Record what you do with them")

    return letter(reminder, reverse("batches:reprocess", args=[batch.lot_code]), told)


def year_due(now: datetime) -> Iterator[Due]:
    """The morning after a batch's year is over, once a batch, to whoever has full jars of it by the ledger."""
    last = timezone.localtime(now, timezone.get_default_timezone()).date() - timedelta(days=1)
    first = last - YEAR_CALL_WITHIN
    # A day more on either side than the year asks for: a 29 February has its year's end on a 28th.
    came_out = (at_hour(_year_before(first) - A_DAY, time(0)), at_hour(_year_before(last) + 2 * A_DAY, time(0)))
    for held in _held(_full_jars().filter(batch__jars_out_at__range=came_out)):
        due_at = at_hour(held.best_until + A_DAY, YEAR_CALL_AT)
        if first <= held.best_until <= last and due_at <= now:
            yield Due(f"{BATCH}{held.batch_id}", held.best_until.isoformat(), held.holder_id, due_at)


def year_still_due(reminder: Reminder, now: datetime) -> bool:
    """She still has full jars of it, or keeps those that are nobody's."""
    held = _held(_full_jars().filter(batch=subject_id(reminder)))
    return reminder.person.is_active and reminder.person_id in {one.holder_id for one in held}


def year_message(reminder: Reminder, now: datetime) -> Message:
    batch = Batch.objects.select_related("revision__recipe").get(pk=subject_id(reminder))

    def told() -> Told:
        until = date_format(date.fromisoformat(reminder.occurrence), "j F Y")
        names = {"recipe": batch.title, "lot": batch.lot_code, "until": until}
        said = (
            _("The jars of %(recipe)s, lot %(lot)s, were at their best until %(until)s; some are still full.") % names
        )
        rule = f"{_(BEST_WITHIN.statement)} ({BEST_WITHIN.source})"
        then = _("That is about how good they are. Eat these before younger ones, and note the jars that are empty.")
        return _("A year old: %(recipe)s, %(lot)s") % names, [said, rule, then], _("The batch and its jars")

    return letter(reminder, reverse("batches:detail", args=[batch.lot_code]), told)


@dataclass(frozen=True)
class Held:
    """Full jars of a batch, and somebody who has them."""

    batch_id: int
    best_until: date
    holder_id: int


def _full_jars() -> BalanceQuerySet:
    """Where full jars stand of batches that went onto the shelf; who gave hers away has none.

    Jars that were called back are left out: nobody is told to eat those first.
    """
    shelved = Exists(Jar.objects.filter(batch=OuterRef("batch"), disposal=Disposal.SHELF))
    sound = Balance.objects.there().exclude(batch__in=Jar.objects.recalled().values("batch"))
    return sound.filter(shelved, state=JarState.FULL, batch__state=BatchState.CHECKED)


def _held(jars: BalanceQuerySet) -> Iterator[Held]:
    """Who has which: the person herself, or the people of the kitchen; the keepers for what is left over (the store,
    a hall, somebody who left). Three queries at most.
    """
    columns = ("batch", "batch__jars_out_at", "place__kitchen", "place__person", "place__person__is_active")
    rows = list(jars.values_list(*columns))
    cooks, keepers = _cooks({row[2] for row in rows if row[2]}), None
    for batch_id, out, kitchen, person, is_active in rows:
        holders = [person] if is_active else cooks.get(kitchen, [])
        if not holders:
            keepers = holders_of(Role.KEEPER) if keepers is None else keepers
        for holder in holders or keepers or []:
            yield Held(batch_id, best_before(timezone.localtime(out, timezone.get_default_timezone()).date()), holder)


def _cooks(kitchens: Collection[int]) -> dict[int, list[int]]:
    """The active people of each of these kitchens."""
    found: defaultdict[int, list[int]] = defaultdict(list)
    rows = Kitchen.objects.filter(pk__in=kitchens, people__is_active=True).order_by("people")
    for kitchen, person in rows.values_list("pk", "people"):
        found[kitchen].append(person)
    return found


def _year_before(day: date) -> date:
    try:
        return day.replace(year=day.year - BEST_WITHIN_YEARS)
    except ValueError:  # a 29 February
        return day.replace(year=day.year - BEST_WITHIN_YEARS, day=28)


def words(subjects: Iterable[str]) -> dict[str, str]:
    """Nothing to add: the seals' own family names the batches."""
    return {}


RULES = (
    Rule(
        "reprocess-closing",
        gettext_lazy("process jars again, the last two hours"),
        closing_due,
        closing_still_due,
        closing_message,
        may_wait=False,
    ),
    Rule(
        "jars-past-a-year",
        gettext_lazy("jars that are a year old"),
        year_due,
        year_still_due,
        year_message,
        keeps_a_week=True,
    ),
)
