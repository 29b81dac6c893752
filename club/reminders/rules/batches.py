"""What is due about batches: jars called back, seals to look at, jars to process again, jars that are a year old; looks
at a ferment, shakes of a jar that conditions, stages that may be over; who is asked to the stove.

Hours and years are those of inventory.batches.rules.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any, ClassVar

from django.db.models import Exists, OuterRef, QuerySet
from django.db.models.functions import Coalesce
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext_lazy as _

from club.core.clock import at_hour, club_day, in_utc
from club.members.choices import Role
from club.members.models import Kitchen
from club.reminders.models import Reminder
from club.reminders.rules import AnyRule, Rule, format_moment, holders_of, stamp
from inventory.batches.choices import BY_THE_CLOCK, BatchState, Disposal, StageKind
from inventory.batches.models import (
    HANDED_IN,
    Batch,
    BatchHand,
    BatchQuerySet,
    Jar,
    Recall,
    Stage,
    has_jars_called_back,
)
from inventory.batches.rules import (
    ASK_AGAIN_AFTER,
    AUTHORITY,
    BEST_WITHIN,
    BEST_WITHIN_YEARS,
    COOL_MIN,
    DROPS,
    HELD_APART,
    MOST_CALLS,
    NOT_EATEN,
    PH_AT_THE_END,
    REPROCESS,
    REPROCESS_WINDOW,
    SECOND_CALL,
    SPOILT,
    STOOD_TOO_LONG,
    best_before,
)
from inventory.batches.services import waiting
from inventory.jars.choices import JarState
from inventory.jars.models import Balance, BalanceQuerySet
from recipes.presentation import in_words

A_DAY = timedelta(days=1)
# Our own choices, no source: after a week the desk still shows the batch, but a mail no longer helps anybody; time to
# heat a canner and run most processes; a morning hour; and how long a call that nobody sent, as the site was away, is
# still worth sending.
TOO_LATE_TO_MAIL = timedelta(days=7)
CLOSING_BEFORE = timedelta(hours=2)
YEAR_CALL_AT = time(9)
YEAR_CALL_WITHIN = timedelta(days=30)
USE_BY_CALL = timedelta(days=2)  # our own choice, no source: time to eat a jar or give it away
MOST_LOOK_CALLS = 3


@dataclass(frozen=True)
class RecallHolder:
    """An open recall, and somebody who holds its jars and has not answered."""

    recall: Recall
    person_id: int


class JarsCalledBack(Rule[RecallHolder]):
    """Everyone who holds jars of an open recall is told at once, and again every third day until somebody of the
    household answers.

    It cannot be muted and waits for nobody's quiet hours. After the last call (MOST_CALLS) it stays at that: whoever
    comes to hold a jar later still hears of it once, and the others are telephoned.
    """

    name = "recall"
    title = _("jars called back")
    prefix = "recall:"
    model = Recall
    person_field = "person"
    may_mute = False
    may_wait = False
    at_once = True

    def due_rows(self, now: datetime) -> Iterator[RecallHolder]:
        recalls = {one.pk: one for one in Recall.objects.open()}
        asked = {(one.recall_id, person) for one in waiting(recalls.values()) for person in one.people}
        return (RecallHolder(recalls[pk], person) for pk, person in sorted(asked))

    def open_row(self, reminder: Reminder, now: datetime) -> RecallHolder | None:
        recall = Recall.objects.open().filter(pk=reminder.subject_id).first()
        if recall is None or not any(reminder.person_id in one.people for one in waiting([recall])):
            return None
        return RecallHolder(recall, reminder.person_id)

    def occurrence(self, holder: RecallHolder, now: datetime) -> str:
        return str(_call(holder.recall, now))

    def due_at(self, holder: RecallHolder, now: datetime) -> datetime:
        return in_utc(holder.recall.opened_at) + _call(holder.recall, now) * ASK_AGAIN_AFTER

    def key(self, holder: RecallHolder) -> int:
        return holder.recall.pk

    def names(self, keys: Collection[int]) -> dict[int, str]:
        return {one.pk: one.subject_words for one in Recall.objects.for_list().filter(pk__in=keys)}

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        recall = Recall.objects.for_list().get(pk=reminder.subject_id)
        batches = {one.batch_id for one in waiting([recall]) if reminder.person_id in one.people}
        lots = Batch.objects.filter(pk__in=batches).order_by("lot_code").values_list("lot_code", flat=True)
        context = {
            "recall": recall,
            "lots": ", ".join(lots),
            "not_eaten": NOT_EATEN,
            "held_apart": HELD_APART,
            "authority": AUTHORITY,
        }
        return reverse("batches:recall", args=[recall.pk]), context


def _call(recall: Recall, now: datetime) -> int:
    """Which call is due, from 0; elapsed time, whatever the clocks on the wall do."""
    return max(0, min((in_utc(now) - in_utc(recall.opened_at)) // ASK_AGAIN_AFTER, MOST_CALLS - 1))


class BatchRule(Rule[Batch]):
    """To whoever made the batch, who has the jars at home."""

    prefix = "batch:"
    model = Batch
    subject_field = "lot_code"
    person_field = "made_by"


class SealRule(BatchRule):
    """A look at the seals: `after` so many hours, and no longer once `before` has passed."""

    after: ClassVar[timedelta]
    before: ClassVar[timedelta]

    def due_rows(self, now: datetime) -> QuerySet[Batch]:
        """Batches out for `after` or longer, but less than `before`, with no settling look at the seals yet."""
        now = in_utc(now)  # taken off a local time, the hours would be those on the wall
        rows = Batch.objects.seals_due(now).annotate(out=Coalesce("reprocessed_out_at", "jars_out_at"))
        rows = rows.filter(out__lte=now - self.after, out__gt=now - self.before, made_by__is_active=True)
        return rows.only("made_by", "jars_out_at", "reprocessed_out_at")

    def open_rows(self, now: datetime) -> QuerySet[Batch]:
        """Not looked at and not too late; a corrected hour or a second processing is another occurrence."""
        rows = Batch.objects.filter(state=BatchState.OUT).alias(out=Coalesce("reprocessed_out_at", "jars_out_at"))
        return rows.filter(out__gt=in_utc(now) - self.before)

    def occurrence(self, batch: Batch, now: datetime) -> str:
        return stamp(batch.last_out_at)

    def due_at(self, batch: Batch, now: datetime) -> datetime:
        assert batch.last_out_at is not None  # what is not, is not later than anything
        return in_utc(batch.last_out_at) + self.after

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        batch = Batch.objects.select_related("revision__recipe").get(pk=reminder.subject_id)
        refusal = batch.reprocess_refusal(now)
        is_in_time = batch.window is not None and now < batch.window.reprocess_until
        context = {
            "batch": batch,
            "out": format_moment(batch.last_out_at),
            "until": format_moment(batch.reprocess_until),
            "can_reprocess": refusal is None,
            "refusal": in_words(refusal) if refusal is not None and is_in_time else "",
            "stood_too_long": STOOD_TOO_LONG,
        }
        return reverse("batches:seals", args=[batch.lot_code]), context


class FirstLook(SealRule):
    """At 12 hours. From 20 hours on the second call speaks alone: a laptop that slept for a day sends one mail."""

    name = "seal-check"
    title = _("look at the seals")
    after, before = COOL_MIN, SECOND_CALL


class SecondCall(SealRule):
    """At 20 hours, if nothing was recorded."""

    name = "seal-second-call"
    title = _("look at the seals, second call")
    after, before = SECOND_CALL, TOO_LATE_TO_MAIL
    may_wait = False  # four hours before reprocessing lapses: a night would be too long


class ReprocessClosing(BatchRule):
    """Two hours before reprocessing lapses, for batches of which jars still wait for it."""

    name = "reprocess-closing"
    title = _("process jars again, the last two hours")
    may_wait = False

    def due_rows(self, now: datetime) -> BatchQuerySet:
        lapsing_from = in_utc(now) - REPROCESS_WINDOW
        waits = Batch.objects.to_reprocess().filter(is_reprocessable=True, reprocessed_out_at=None)
        waits = waits.exclude(has_jars_called_back("pk"))
        closing = waits.filter(jars_out_at__gt=lapsing_from, jars_out_at__lte=lapsing_from + CLOSING_BEFORE)
        return closing.filter(made_by__is_active=True).only("jars_out_at", "made_by")

    def occurrence(self, batch: Batch, now: datetime) -> str:
        return stamp(batch.jars_out_at)

    def due_at(self, batch: Batch, now: datetime) -> datetime:
        assert batch.jars_out_at is not None  # what is not, is not later than anything
        return in_utc(batch.jars_out_at) + REPROCESS_WINDOW - CLOSING_BEFORE

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        batch = Batch.objects.select_related("revision__recipe").get(pk=reminder.subject_id)
        context = {
            "batch": batch,
            "hour": format_moment(batch.reprocess_until),
            "count": batch.jars.filter(disposal=Disposal.REPROCESS).count(),
            "reprocess": REPROCESS,
            "stood_too_long": STOOD_TOO_LONG,
        }
        return reverse("batches:reprocess", args=[batch.lot_code]), context


@dataclass(frozen=True)
class HeldJars:
    """Full jars of a batch, and somebody who has them."""

    batch_id: int
    best_until: date
    holder_id: int


class JarsPastAYear(Rule[HeldJars]):
    """The morning after a batch's year is over, once a batch, to whoever has full jars of it by the ledger."""

    name = "jars-past-a-year"
    gathers = True
    title = _("jars that are a year old")
    prefix = "batch:"
    model = Batch
    subject_field = "lot_code"
    person_field = "holder"
    keeps_a_week = True
    settles_with_occurrence = False

    def due_rows(self, now: datetime) -> Iterator[HeldJars]:
        last = club_day(now) - A_DAY
        first = last - YEAR_CALL_WITHIN
        # A day more on either side than the year asks for: a 29 February has its year's end on a 28th.
        came_out = (at_hour(_year_before(first) - A_DAY, time(0)), at_hour(_year_before(last) + 2 * A_DAY, time(0)))
        held = _held(_full_jars().filter(batch__jars_out_at__range=came_out))
        return (one for one in held if first <= one.best_until <= last)

    def occurrence(self, held: HeldJars, now: datetime) -> str:
        return held.best_until.isoformat()

    def due_at(self, held: HeldJars, now: datetime) -> datetime:
        return at_hour(held.best_until + A_DAY, YEAR_CALL_AT)

    def key(self, held: HeldJars) -> int:
        return held.batch_id

    def open_row(self, reminder: Reminder, now: datetime) -> HeldJars | None:
        """The person still has full jars of it, or keeps those that are nobody's."""
        held = _held(_full_jars().filter(batch=reminder.subject_id))
        return next((one for one in held if one.holder_id == reminder.person_id), None)

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        batch = Batch.objects.select_related("revision__recipe").get(pk=reminder.subject_id)
        until = date_format(date.fromisoformat(reminder.occurrence), "j F Y")
        context = {"batch": batch, "until": until, "best_within": BEST_WITHIN}
        return reverse("batches:detail", args=[batch.lot_code]), context


class UseByInRefrigerator(JarsPastAYear):
    """Two mornings before the last day of what was made for the refrigerator, to whoever has full jars of it."""

    name = "refrigerator-use-by"
    title = _("jars to use up from the refrigerator")
    keeps_a_week = False

    def due_rows(self, now: datetime) -> Iterator[HeldJars]:
        today = club_day(now)
        return iter(_held(_chilled_jars().filter(batch__best_by__range=(today, today + USE_BY_CALL))))

    def due_at(self, held: HeldJars, now: datetime) -> datetime:
        return at_hour(held.best_until - USE_BY_CALL, YEAR_CALL_AT)

    def open_row(self, reminder: Reminder, now: datetime) -> HeldJars | None:
        held = _held(_chilled_jars().filter(batch=reminder.subject_id))
        return next((one for one in held if one.holder_id == reminder.person_id), None)


def _chilled_jars() -> BalanceQuerySet:
    """Where full jars stand of batches that went into the refrigerator; not those that were called back."""
    sound = Balance.objects.there().exclude(has_jars_called_back("batch"))
    return sound.filter(state=JarState.FULL, batch__state=BatchState.CHILLED)


def _full_jars() -> BalanceQuerySet:
    """Where full jars stand of batches that went onto the shelf; who gave theirs away has none.

    Jars that were called back are left out: nobody is told to eat those first.
    """
    shelved = Exists(Jar.objects.filter(batch=OuterRef("batch"), disposal=Disposal.SHELF))
    sound = Balance.objects.there().exclude(batch__in=Jar.objects.recalled().values("batch"))
    return sound.filter(shelved, state=JarState.FULL, batch__state=BatchState.CHECKED)


def _held(jars: BalanceQuerySet) -> Iterator[HeldJars]:
    """Who has which: the person themselves, or the people of the kitchen; the keepers for what is left over (the
    store, a hall, somebody who left). Three queries at most.
    """
    of_batch = ("batch", "batch__jars_out_at", "batch__best_by")
    columns = (*of_batch, "place__kitchen", "place__person", "place__person__is_active")
    rows = list(jars.values_list(*columns))
    cooks, keepers = _cooks({row[3] for row in rows if row[3]}), None
    for batch_id, out, until, kitchen, person, is_active in rows:
        holders = [person] if is_active else cooks.get(kitchen, [])
        if not holders:
            keepers = holders_of(Role.KEEPER) if keepers is None else keepers
        for holder in holders or keepers or []:
            yield HeldJars(batch_id, until or best_before(club_day(out)), holder)


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


class StageRule(Rule[Stage]):
    """About the stage of a batch that is running, to whoever made the batch."""

    prefix = "stage:"
    model = Stage
    subject_field = "batch__lot_code"

    def recipients(self, stage: Stage) -> Iterator[int]:
        yield stage.batch.made_by_id

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        stage = Stage.objects.select_related("batch__revision__recipe").get(pk=reminder.subject_id)
        context = {
            "batch": stage.batch,
            "kind": stage.get_kind_display(),
            "words": stage.words,
            "from": format_moment(stage.ends_from),
            "by": format_moment(stage.ends_by),
            "look_for": stage.batch.plan.get("look_for", ""),
            "spoilt": SPOILT,
            "drops": DROPS,
            "ph": PH_AT_THE_END,
            "is_ferment": stage.kind == StageKind.FERMENT,
        }
        return reverse(self.page, args=[stage.batch.lot_code]), context

    page: ClassVar[str]


class StageLook(StageRule):
    """A look that is due; nobody looked since: called again after as long once more, three times in all."""

    kind: ClassVar[StageKind]
    page = "batches:look"

    def due_rows(self, now: datetime) -> QuerySet[Stage]:
        rows = Stage.objects.looks_due(now).filter(kind=self.kind, batch__made_by__is_active=True)
        return rows.select_related("batch").defer("batch__plan")

    def occurrence(self, stage: Stage, now: datetime) -> str:
        call = self._call(stage, now)
        return f"{stamp(stage.look_due_at)} {call}" if call < MOST_LOOK_CALLS else ""

    def due_at(self, stage: Stage, now: datetime) -> datetime:
        assert stage.look_due_at is not None  # what is due has a time
        return in_utc(stage.look_due_at) + self._call(stage, now) * self._every(stage)

    def _call(self, stage: Stage, now: datetime) -> int:
        assert stage.look_due_at is not None  # as above
        return max(0, (in_utc(now) - in_utc(stage.look_due_at)) // self._every(stage))

    def _every(self, stage: Stage) -> timedelta:
        return timedelta(hours=stage.look_every_hours or 24)


class FermentLook(StageLook):
    name = "ferment-look"
    title = _("look at a ferment")
    kind = StageKind.FERMENT


class JarShake(StageLook):
    name = "jar-shake"
    title = _("shake dried food in its jar")
    kind = StageKind.CONDITION


class StageOver(StageRule):
    """The shortest printed time of a stage is over: told once."""

    name = "stage-over"
    title = _("a stage that may be over")
    page = "batches:stage"

    def due_rows(self, now: datetime) -> QuerySet[Stage]:
        rows = Stage.objects.ripe(now).filter(kind__in=BY_THE_CLOCK, batch__made_by__is_active=True)
        return rows.select_related("batch").defer("batch__plan")

    def occurrence(self, stage: Stage, now: datetime) -> str:
        return stamp(stage.ends_from)

    def due_at(self, stage: Stage, now: datetime) -> datetime:
        assert stage.ends_from is not None  # what is not, is not earlier than anything
        return in_utc(stage.ends_from)


class HandAsked(Rule[BatchHand]):
    """At once, to whoever is asked to cook along or to take a batch over, until they answer or it is over."""

    name = "hand-asked"
    title = _("you are asked to a stove")
    prefix = "hand:"
    model = BatchHand
    subject_field = "batch__lot_code"
    person_field = "person"
    may_wait = False  # what is on a stove is done before the quiet hours end
    at_once = True

    def due_rows(self, now: datetime) -> QuerySet[BatchHand]:
        rows = BatchHand.objects.filter(accepted_at=None, ended_at=None, batch__state__in=HANDED_IN)
        return rows.filter(person__is_active=True)

    def occurrence(self, hand: BatchHand, now: datetime) -> str:
        return stamp(hand.asked_at)

    def due_at(self, hand: BatchHand, now: datetime) -> datetime:
        return hand.asked_at

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        hand = BatchHand.objects.select_related("batch__revision__recipe", "batch__kitchen", "asked_by").get(
            pk=reminder.subject_id
        )
        context = {"hand": hand, "batch": hand.batch, "asked": format_moment(hand.asked_at)}
        return reverse("batches:stove-list"), context


RULES: tuple[AnyRule, ...] = (
    JarsCalledBack(),
    FirstLook(),
    SecondCall(),
    ReprocessClosing(),
    JarsPastAYear(),
    UseByInRefrigerator(),
    FermentLook(),
    JarShake(),
    StageOver(),
    HandAsked(),
)
