"""A batch from its start to its seals: started, processed, looked at, reprocessed, put away."""

from __future__ import annotations

import secrets
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from math import ceil
from typing import Any, Unpack
from uuid import UUID, uuid4, uuid5

from django.core.exceptions import NON_FIELD_ERRORS, PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Case, F, ProtectedError, When
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from club.core.clock import club_day, in_utc, now_or, zoned_text
from club.core.errors import AlreadyDone
from club.members.models import Kitchen, User
from club.members.rules import altitude_words
from club.members.services import kitchen_used
from inventory.batches.choices import FINDINGS, FOR_UNSEALED, BatchState, Disposal, Measured, PressKind, Seal
from inventory.batches.ingredients import acids_not_noted
from inventory.batches.models import (
    ABANDON_REASON_LENGTH,
    LOOK_NOTE_LENGTH,
    SCALE_LENGTH,
    Batch,
    CannerBeside,
    Jar,
    JarQuerySet,
    LotTakenQuerySet,
    Recall,
    SealCheck,
    StageCheck,
)
from inventory.batches.rules import (
    CANNER_SLACK,
    LOW_TEMPERATURE,
    MOST_MINUTES,
    MOST_PSI,
    REPROCESS,
    SALTS,
    UNDERPROCESSED,
    WATER_READ_EVERY,
    Need,
    OwnGauge,
    Phase,
    WaterReading,
    elapsed,
    filled_ml,
    lot_code,
    phase,
    seal_window,
    sizes_covered,
    water_held,
)
from inventory.batches.services.canners import CannerUsed, canner_used
from inventory.batches.services.common import (
    Problems,
    batch_lock,
    fate_of,
    ledger_fill,
    ledger_reprocess,
    ledger_settle,
    moment_check,
    stove_check,
    utc_or_none,
    writing_check,
)
from inventory.batches.services.lots import LotAnswer, lots_note
from inventory.batches.services.stages import waits_begin, waits_end
from inventory.batches.stove import Part
from inventory.batches.tracing import is_called_back
from inventory.equipment.models import Thing
from inventory.equipment.rules import year_after
from inventory.equipment.services import gauge_check
from inventory.jars.models import LidLot
from inventory.jars.services import lid_lot_get_or_add
from recipes.engine import Plan, plan_as_dict
from recipes.engine.quantities import JAR_SIZES
from recipes.engine.terms import Altitude, Refusal
from recipes.models import Revision, RevisionState
from recipes.planning import PlanInput, plan_for
from recipes.presentation import in_words

# Starting a batch from a plan, and giving one up.

LOT_CODE_TRIES = 20
HOT_REFERENCE_C = 80  # a thermometer that is believed of hot water was tested in boiling water; our own choice


@transaction.atomic
def batch_start(
    *,
    by: User,
    revision: Revision,
    kitchen: Kitchen,
    token: UUID,
    for_person: User | None = None,
    started_at: datetime | None = None,
    canner_code: str = "",
    own_gauge: OwnGauge | None = None,
    low_temperature: bool = False,
    note: str = "",
    now: datetime | None = None,
    **wanted: Unpack[PlanInput],
) -> Batch:
    """Start a batch; the plan is made anew here, whatever a form says it was. `low_temperature`: its jars are
    pasteurised in water that does not boil, where the recipe's source allows it: else ValidationError by that field.

    1. The person may put up batches, and in this kitchen: else PermissionDenied. With `for_person` the jars are
       theirs, and so is the look at the seals; that takes a right of its own, and a kitchen that both may use.
    2. A token that made a batch before gives that batch: the form was sent twice.
    3. The revision is published at this moment, the altitude known, the plan without refusals: else ValidationError.
    4. Under pressure the canner is named: by the code of its card, of several by all codes with a comma between, or as
       an `own_gauge` without one. Every dial gauge has a test that is good on the day, and its error corrects its
       setting: else ValidationError (canner_code, own_gauge fields). What stands in it at once is its card's.
    5. The row is written under a lot code of its own.
    """
    now = now_or(now)
    began = now if started_at is None else in_utc(started_at)
    # Read anew: a page may have been open since before the kitchen's altitude was mended.
    fresh = Kitchen.objects.usable_by(by).filter(pk=kitchen.pk).first()
    if fresh is None or not by.has_perm("batches.add_batch"):
        raise PermissionDenied
    kitchen, whose = fresh, _whose(by, for_person, fresh)
    made = _made_before(whose, token, revision, kitchen)
    if made is not None:
        return made
    problems = Problems()
    moment_check(problems, "started_at", began, now)
    _revision_check(problems, revision)
    if kitchen.altitude is None:
        problems.add("kitchen", _("Give this kitchen its altitude first: without it no process time is safe."))
    used = canner_used(problems, whose.made_by, canner_code, own_gauge, on=club_day(began))
    problems.raise_if_any()
    plan = plan_for(revision=revision, altitude=kitchen.altitude, **used.planned(wanted, revision))
    if not plan.ok:
        raise ValidationError({NON_FIELD_ERRORS: list(map(in_words, plan.refusals))})
    used.serves_check(problems, plan)
    problems.raise_if_any()
    if len(_scale_of(plan)) > SCALE_LENGTH:
        raise ValidationError(_("Give the fruit in a rounder figure: nobody weighs that finely."))
    fields = _columns(plan, revision, kitchen, wanted.get("jar")) | used.columns(plan)
    fields["is_reprocessable"] = isinstance(Batch(**fields).reprocess_need(), Need)
    if low_temperature:
        fields |= _low_temperature(revision, plan, fields)
    batch = _write(whose, token, used, started_at=began, note=note.strip(), created_at=now, **fields)
    if not batch.stages.exists():  # a racing twin's batch has them
        waits_begin(batch, plan.steps)
    if whose.started_by is None:
        kitchen_used(by=by, kitchen=kitchen)
    return batch


@dataclass(frozen=True)
class _Whose:
    """Whose jars they are, and who pressed Start where that is somebody else."""

    made_by: User
    started_by: User | None = None


def _whose(by: User, for_person: User | None, kitchen: Kitchen) -> _Whose:
    if for_person is None or for_person.pk == by.pk:
        return _Whose(by)
    may = by.has_perm("batches.start_for_others") and for_person.has_perm("batches.add_batch")
    if not may or not Kitchen.objects.usable_by(for_person).filter(pk=kitchen.pk).exists():
        raise PermissionDenied
    return _Whose(for_person, by)


def _made_before(whose: _Whose, token: UUID, revision: Revision, kitchen: Kitchen) -> Batch | None:
    made = Batch.objects.filter(token=token).select_related("made_by", "started_by").first()
    if made is None:
        return None
    asked_now = (whose.made_by, whose.started_by, revision.pk, kitchen.pk)
    if (made.made_by, made.started_by, made.revision_id, made.kitchen_id) != asked_now:
        raise ValidationError(
            _("This form was used for another batch already. Open the plan again and start from there.")
        )
    return made


def _revision_check(problems: Problems, revision: Revision) -> None:
    # Locked, so that nobody withdraws it between this look and our write (PostgreSQL; SQLite has one writer anyway).
    kept = Revision.objects.select_for_update().get(pk=revision.pk)
    if kept.state == RevisionState.WITHDRAWN:
        problems.add(
            "revision",
            _("This revision was withdrawn: %(reason)s Plan again from the recipe's page.")
            % {"reason": kept.withdrawn_reason},
        )
    elif kept.state != RevisionState.PUBLISHED:
        problems.add("revision", _("Only a published revision is put up; this one is not published yet."))
    elif recall := Recall.objects.not_cleared().filter(revision=kept).first():
        text = _("The jars of this revision are called back, so no more are put up from it: %(reason)s")
        problems.add("revision", text % {"reason": recall.reason})


def _columns(plan: Plan, revision: Revision, kitchen: Kitchen, jar: str | None) -> dict[str, Any]:
    """The plan as it stands now, and what of it the process must reach."""
    process = plan.process
    return {
        "revision": revision,
        "kitchen": kitchen,
        "plan": plan_as_dict(plan),
        "pots": plan.pots,
        "pot_scale": _scale_of(plan),
        "altitude_m": kitchen.altitude_m,
        "canner": process.canner.value if process else "",
        "pack": process.pack.value if process else "",
        "jar_size": process.tested_jar if process else _largest(plan, jar),
        "required_minutes": process.minutes if process else None,
        "required_psi": process.pressure_psi if process else None,
    }


def _low_temperature(revision: Revision, plan: Plan, fields: dict[str, Any]) -> dict[str, Any]:
    """The columns of it, and what the plan keeps of its source. A second process of such jars is not published."""
    low = plan.low_temperature
    if low is None:
        text = _("The source of this recipe does not allow low-temperature pasteurisation.")
        raise ValidationError({"low_temperature": text})
    if isinstance(low, Refusal):
        raise ValidationError({"low_temperature": in_words(low)})
    source = low.source or revision.tested.source
    kept = {"low_f": str(low.low_f), "high_f": str(low.high_f), "minutes": low.minutes, "source": source.title}
    return {
        "water_f": ceil(low.low_f),
        "required_minutes": low.minutes,
        "is_reprocessable": False,
        "plan": fields["plan"] | {"low_temperature": kept},
    }


def _scale_of(plan: Plan) -> str:
    """What a pot is of the printed amounts; of several canner loads their mean, for the last may be smaller."""
    return str(plan.pot_scale if plan.pots is None else plan.printed_total / plan.pots)


def _largest(plan: Plan, jar: str | None) -> str:
    """The largest jar of a plan without a process; the plan names its jars largest first."""
    return plan.jars[0].size if plan.jars else jar or plan.stated_yield.jar


def _write(whose: _Whose, token: UUID, used: CannerUsed, **fields: Any) -> Batch:
    """Two of a day's batches may draw the same letters: draw again. A racing twin with our token wins instead."""
    day = timezone.localdate(fields["started_at"], timezone.get_default_timezone())
    people = {"made_by": whose.made_by, "started_by": whose.started_by}
    for left in reversed(range(LOT_CODE_TRIES)):
        try:
            with transaction.atomic():
                code = lot_code(day, secrets.randbelow(SALTS))
                batch = Batch.objects.create(lot_code=code, token=token, **people, **fields)
                CannerBeside.objects.bulk_create(used.rows_beside(batch))
                return batch
        except IntegrityError:
            made = _made_before(whose, token, fields["revision"], fields["kitchen"])
            if made is not None:
                return made
            if not left:
                raise
    raise AssertionError("unreachable: the last try returns or raises")


@transaction.atomic
def batch_abandon(*, by: User, batch: Batch, reason: str, now: datetime | None = None) -> Batch:
    """Give up a batch that is still on the stove or in its stages, and say why. AlreadyDone when it is neither."""
    stove_check(by, batch)
    reason = " ".join(reason.split())
    if not reason:
        raise ValidationError({"reason": _("Say in a few words why it was given up.")})
    if len(reason) > ABANDON_REASON_LENGTH:
        raise ValidationError({"reason": _("At most %(n)s characters, please.") % {"n": ABANDON_REASON_LENGTH}})
    given_up = Batch.objects.filter(pk=batch.pk, state__in=[BatchState.STARTED, BatchState.UNDERWAY]).update(
        state=BatchState.ABANDONED, abandoned_at=now_or(now), abandoned_reason=reason
    )
    if given_up != 1:
        raise AlreadyDone(_("This batch is not on the stove any more, so it was left as it is."))
    return Batch.objects.get(pk=batch.pk)


@transaction.atomic
def batch_discard(*, by: User, batch: Batch) -> None:
    """Drop a batch that was started by mistake, as if it never was: its canners are free, and its lot code with it.

    Whoever may give it up may. AlreadyDone where it is not on the stove any more. ValidationError once something of it
    is in the books: jars in a canner, a stage over, looked at or measured, an ingredient out of a counted lot, a
    station of a class. That is given up, with its reason.
    """
    stove_check(by, batch)
    batch_lock(batch.pk)
    batch = Batch.objects.get(pk=batch.pk)
    if batch.state not in (BatchState.STARTED, BatchState.UNDERWAY):
        raise AlreadyDone(_("This batch is not on the stove any more, so it was left as it is."))
    if in_the_canner(batch):
        raise ValidationError(_("Jars of it were in the canner, so it is not discarded. Give it up, and say why."))
    used = batch.lots_taken.exclude(supply_lot=None, freezer_item=None, fruit_offer=None)
    seen = StageCheck.objects.filter(stage__batch=batch)
    over = batch.stages.exclude(ended_at=None)
    try:
        if used.exists() or seen.exists() or over.exists() or batch.readings.exists():
            raise ProtectedError("", set())
        batch.presses.exclude(takes_back=None).delete()
        for rows in (batch.presses, batch.lots_taken, batch.stages, batch.canners_beside, batch.hands, batch.photos):
            rows.all().delete()
        batch.delete()
    except ProtectedError:
        text = _("Something was written down for it already that stays in the books. Give it up, and say why.")
        raise ValidationError(text) from None


def in_the_canner(batch: Batch) -> bool:
    """Whether somebody pressed that the minutes of a load count, at any time."""
    counted = [PressKind.BEGAN, PressKind.FELL, PressKind.GAUGE]
    return batch.presses.filter(kind__in=counted, step__contains=Part.PROCESS.value).exists()


# Writing down what was done at the stove: the process, the jars filled, the lids, and when the jars came out.


@transaction.atomic
def batch_log_process(
    *,
    by: User,
    batch: Batch,
    jars: Mapping[str, int],
    jars_out_at: datetime,
    minutes: int | None = None,
    psi: Decimal | int | None = None,
    psi_beside: Mapping[int, Decimal | int | None] | None = None,
    lid_code: str = "",
    lid_maker: str = "",
    lots: Sequence[LotAnswer] = (),
    process_started_at: datetime | None = None,
    started_at: datetime | None = None,
    note: str = "",
    now: datetime | None = None,
) -> Batch:
    """Log the process and the jars; the batch is out of the canner after that, or in the freezer or refrigerator.

    `lots` says from which lot each acid was taken, where it was not noted before; "without a lot" is an answer, and
    nothing is none. `psi` is what the gauge of the first canner showed, `psi_beside` that of each other, by its row.

    1. Everything is checked and told at once: ValidationError by field, `jars_<size>` for a count, `psi_<row>` for a
       canner beside the first, `lot_<at>` for an acid.
    2. The batch changes from started by a conditional update: of two presses one writes, the other gets AlreadyDone.
    3. The jars get their rows, each with the lid lot that sits on it; the ledger moves as many from empty to full.
    """
    now, jars_out_at = now_or(now), in_utc(jars_out_at)
    started_at, process_started_at = utc_or_none(started_at), utc_or_none(process_started_at)
    stove_check(by, batch)
    batch_lock(batch.pk)  # of two presses the second reads what the first wrote, and is no repeat of its lots
    batch = Batch.objects.select_related("revision__recipe", "kitchen", "canner_card").get(pk=batch.pk)
    problems = Problems()
    began = started_at or batch.started_at
    if started_at is not None:
        moment_check(problems, "started_at", started_at, now)
    notes = _acids(problems, by, batch, lots, now)
    if started_at is not None:
        for past in notes.filter(use_by__lt=club_day(began)):
            text = _("%(item)s, as it is noted, was past its date on that day. If that is so, do not keep these jars.")
            problems.add("started_at", text % {"item": past.item})
    jars_check(problems, batch, jars)
    under_pressure = batch.canners_beside.filter(setting_psi__isnull=False).select_related("card")
    beside = [HeldBeside(row, (psi_beside or {}).get(row.pk)) for row in under_pressure]
    reached = process_check(problems, batch, minutes, psi, needs=batch.tested_needs(), beside=beside)
    moment_check(problems, "jars_out_at", jars_out_at, now)
    times_check(problems, minutes, began, process_started_at, jars_out_at)
    if not problems:
        _gauges_check(problems, batch, began, jars_out_at)
        for field, message in water_in_doubt(batch, minutes, process_started_at):
            problems.add(field, f"{message} {_what_now()}")
    lid_lot = lid_lot_named(problems, by, batch, lid_code, lid_maker)
    if batch.state != BatchState.STARTED:
        raise AlreadyDone(_("This batch was logged or given up before; nothing was written a second time."))
    problems.raise_if_any()
    logged: dict[str, Any] = {
        "started_at": began,
        "process_started_at": process_started_at,
        "processed_minutes": minutes,
        "processed_psi": psi,
        # The table may know several pressures for one jar; the one that was reached is the one to hold to.
        "required_minutes": reached.minutes if reached else None,
        "required_psi": reached.psi if reached else None,
        "setting_psi": reached.setting if reached and batch.setting_psi is not None else None,
        "jars_out_at": jars_out_at,
        "lid_lot": lid_lot,
        "note": "\n".join(filter(None, [batch.note, note.strip()])),
    }
    _claim(batch, logged)
    waits_end(by, batch, jars_out_at)
    notes.update(taken_on=club_day(began))
    for one in beside:
        assert reached is not None  # else a problem was raised
        one.row.table_psi, one.row.setting_psi = reached.psi, one.row.setting_for(reached.psi)
        one.row.processed_psi = None if one.psi is None else Decimal(one.psi)
        one.row.save(update_fields=["table_psi", "setting_psi", "processed_psi"])
    jars_number(batch, jars, lid_lot)
    ledger_fill(by=by, batch=batch, jars=jars, lid_lot=lid_lot, at=jars_out_at)
    return Batch.objects.get(pk=batch.pk)


def _acids(problems: Problems, by: User, batch: Batch, lots: Sequence[LotAnswer], now: datetime) -> LotTakenQuerySet:
    """Note the lots that were said; of every acid something is noted then, or it is a problem. Returns what stands."""
    if lots and batch.state == BatchState.STARTED:
        try:
            lots_note(by=by, batch=batch, answers=lots, token=uuid5(batch.token, "lots at the log"), now=now)
        except ValidationError as error:
            for field, messages in error.message_dict.items():
                for message in messages:
                    problems.add(field, message)
    answered = {one.at for one in lots}
    for line in acids_not_noted(batch):
        if line.at not in answered:
            text = _("Say which %(item)s went in. That nobody could read a lot is an answer too; nothing is none.")
            problems.add(f"lot_{line.at}", text % {"item": line.item})
    return batch.lots_taken.live()


def _claim(batch: Batch, logged: dict[str, Any]) -> None:
    state = BatchState.FROZEN if batch.is_cold_kind else BatchState.OUT
    if batch.is_chilled_kind:
        state = BatchState.CHILLED
        logged["best_by"] = batch.chilled_until(club_day(logged["jars_out_at"]))
    if Batch.objects.filter(pk=batch.pk, state=BatchState.STARTED).update(state=state, **logged) != 1:
        raise AlreadyDone(_("This batch was logged or given up before; nothing was written a second time."))


def jars_number(batch: Batch, jars: Mapping[str, int], lid_lot: LidLot | None, *, first: int = 1) -> None:
    """A row for each jar of each size, numbered on from `first`."""
    cold = batch.is_cold_kind
    where = Disposal.REFRIGERATE if batch.is_chilled_kind else Disposal.FREEZE
    sizes = [size for size in JAR_SIZES for _each in range(jars.get(size, 0))]
    Jar.objects.bulk_create(
        Jar(
            batch=batch,
            number=number,
            size=size,
            seal=Seal.NONE if cold else Seal.UNCHECKED,
            disposal=where if cold else "",
            place=batch.kitchen,
            lid_lot=lid_lot,
        )
        for number, size in enumerate(sizes, start=first)
    )


def jars_check(problems: Problems, batch: Batch, jars: Mapping[str, int]) -> None:
    """At least one jar, only sizes the process covers, and no more than the pots give. Problems go by `jars_<size>`."""
    covered = sizes_covered(batch.jar_size)
    filled = {size: count for size, count in jars.items() if count}
    if not filled:
        problems.add("jars", _("At least one jar must have been filled. If there was none, give the batch up instead."))
        return
    for size, count in filled.items():
        if size not in JAR_SIZES:
            problems.add("jars", _("%(size)s is no jar size known here.") % {"size": size})
        elif size not in covered:
            text = _("The process covers jars up to %(size)s: a larger jar needs a process tested for it.")
            problems.add(f"jars_{size}", text % {"size": batch.jar_size})
        elif count < 0:
            problems.add(f"jars_{size}", _("A number of jars cannot be below zero."))
    if all(size in covered and count > 0 for size, count in filled.items()):
        _ceiling_check(problems, batch, filled)


def _ceiling_check(problems: Problems, batch: Batch, filled: Mapping[str, int]) -> None:
    largest = max(filled, key=JAR_SIZES.index)
    if filled_ml(filled) <= batch.most_filled_ml(largest):
        return
    if batch.is_staged:
        text = _("That is more than what was weighed in can fill: at most %(most)s jars of %(size)s. Count again.")
        problems.add(f"jars_{largest}", text % {"most": batch.most_jars(largest), "size": largest})
        return
    stated = batch.cooked_from.tested.stated_yield
    text = _(
        "That is more than this batch can have given: its tested source states at most %(high)s %(jar)s jars a"
        " full pot; with %(pots)s, by that or by weight where that is more, and a jar a pot to spare, it is %(most)s"
        " jars of %(size)s. Count again; other pots are another batch."
    )
    params = {
        "high": str(stated.high),
        "jar": stated.jar,
        "pots": ngettext("%(n)s pot", "%(n)s pots", batch.pots) % {"n": batch.pots},
        "most": batch.most_jars(largest),
        "size": largest,
    }
    problems.add(f"jars_{largest}", text % params)


@dataclass(frozen=True)
class HeldBeside:
    """What the gauge of a canner beside the first one showed at the lowest; None: not said."""

    row: CannerBeside
    psi: Decimal | int | None

    def holds(self, need: Need) -> bool:
        setting = self.row.setting_for(need.psi)
        return setting is None or (self.psi is not None and self.psi >= setting)

    def figure_check(self, problems: Problems) -> None:
        if self.psi is None:
            text = _("Say what pressure was held in %(code)s: the lowest its gauge showed during the process.")
            problems.add(f"psi_{self.row.pk}", text % {"code": self.row.card.code})
        elif not 0 < self.psi <= MOST_PSI:
            text = _("No home canner is worked above %(n)s psi: check the figure.")
            problems.add(f"psi_{self.row.pk}", text % {"n": MOST_PSI})


def process_check(
    problems: Problems,
    batch: Batch,
    minutes: int | None,
    psi: Decimal | int | None,
    *,
    needs: Sequence[Need],
    beside: Sequence[HeldBeside] = (),
) -> Need | None:
    """The tested process that was reached in every canner. Less than that is never written down as done: a problem,
    and None."""
    if not needs:
        if minutes is not None or psi is not None:
            problems.add("minutes", _("A recipe that is kept cold has no process: leave minutes and pressure empty."))
        return None
    figures = Problems()
    for one in beside:
        one.figure_check(figures)
    problems.take(figures)
    if not figures_check(problems, minutes, psi, needs[0].psi is not None) or figures:
        return None
    assert minutes is not None  # the figures were just checked
    met = (need for need in needs if need.met_by(minutes, psi) and all(one.holds(need) for one in beside))
    reached = next(met, None)
    if reached is None:
        asked = tested_words(batch.altitude, needs)
        for field, short in too_little(minutes, psi, needs, beside):
            problems.add(
                field, f"{asked} {short} {_what_now()}" if field in ("minutes", "psi") else f"{short} {_what_now()}"
            )
    return reached


def figures_check(problems: Problems, minutes: int | None, psi: Decimal | int | None, pressure: bool) -> bool:
    found = Problems()
    if minutes is None:
        found.add("minutes", _("Say how many minutes the jars were processed."))
    elif not 0 < minutes <= MOST_MINUTES:
        found.add("minutes", _("A process lasts 1 to %(n)s minutes: check the figure.") % {"n": MOST_MINUTES})
    if pressure and psi is None:
        found.add("psi", _("Say what pressure was held: the lowest the gauge showed during the process."))
    elif pressure and psi is not None and not 0 < psi <= MOST_PSI:
        found.add("psi", _("No home canner is worked above %(n)s psi: check the figure.") % {"n": MOST_PSI})
    elif not pressure and psi is not None:
        found.add("psi", _("A boiling-water canner has no pressure: leave it empty."))
    problems.take(found)
    return not found


def tested_words(altitude: Altitude, needs: Sequence[Need]) -> str:
    """ "The tested process at 1,040 m (3,412.1 ft) is 10 minutes." """
    return _("The tested process at %(place)s is %(needs)s.") % {
        "place": altitude_words(altitude),
        "needs": _(", or ").join(need_text(need) for need in needs),
    }


def too_little(
    minutes: int, psi: Decimal | int | None, needs: Sequence[Need], beside: Sequence[HeldBeside]
) -> list[tuple[str, str]]:
    """What falls short of the first of the tested processes: the field, and a sentence."""
    first, found = needs[0], []
    if minutes < first.minutes:
        found.append(("minutes", _("%(done)s minutes is too short.") % {"done": minutes}))
    if first.setting is not None and psi is not None and psi < first.setting:
        found.append(("psi", _("%(done)s psi is too low.") % {"done": f"{Decimal(psi):f}"}))
    for one in beside:
        if not one.holds(first):
            text = _("The gauge of %(code)s must show %(setting)s psi. %(done)s psi is too low.")
            params = {"code": one.row.card.code, "setting": one.row.setting_for(first.psi), "done": one.psi}
            found.append((f"psi_{one.row.pk}", text % params))
    return found


def need_text(need: Need) -> str:
    if need.psi is None:
        return _("%(minutes)s minutes") % {"minutes": need.minutes}
    if need.setting == need.psi:
        return _("%(minutes)s minutes at %(psi)s psi") % {"minutes": need.minutes, "psi": need.psi}
    text = _("%(minutes)s minutes at %(setting)s psi on this gauge, which reads high (%(psi)s in the table)")
    return text % {"minutes": need.minutes, "psi": need.psi, "setting": need.setting}


def _what_now() -> str:
    return _(
        "These jars are not safe on a shelf. Within 2 hours process them again for the full time and log that, or put"
        " them in the refrigerator and give the batch up here. (Source: %(source)s.)"
    ) % {"source": UNDERPROCESSED.source}


def times_check(
    problems: Problems,
    minutes: int | None,
    began: datetime,
    process_started_at: datetime | None,
    jars_out_at: datetime,
) -> None:
    """The order must be: cooking began, process began, jars out; and the minutes claimed must fit in between."""
    if jars_out_at < began:
        text = _(
            "The jars cannot have come out before the cooking began (%(time)s). Correct this time, or the beginning."
        )
        problems.add("jars_out_at", text % {"time": zoned_text(began)})
        return
    if process_started_at is not None and not began <= process_started_at <= jars_out_at:
        text = _("The process began between the cooking (%(began)s) and the jars coming out (%(out)s).")
        problems.add("process_started_at", text % {"began": zoned_text(began), "out": zoned_text(jars_out_at)})
        return
    since = process_started_at or began
    if minutes is not None and 0 < minutes <= MOST_MINUTES and elapsed(since, jars_out_at) < timedelta(minutes=minutes):
        field = "process_started_at" if process_started_at else "started_at"
        text = _(
            "%(minutes)s minutes do not fit between %(since)s and %(out)s. If the batch was keyed in late, say here"
            " when it really began."
        )
        problems.add(field, text % {"minutes": minutes, "since": zoned_text(since), "out": zoned_text(jars_out_at)})


def water_in_doubt(batch: Batch, minutes: int | None, process_started_at: datetime | None) -> Iterator[tuple[str, str]]:
    """Of a low-temperature pasteurisation: the field, and a sentence, where nothing shows that the water was hot enough
    from the beginning to the end."""
    if batch.water_f is None or minutes is None:
        return
    if process_started_at is None:
        text = _("Say when the water first showed %(f)s °F: its readings are counted from there.")
        yield "process_started_at", text % {"f": batch.water_f}
        return
    gap = water_held(_water_readings(batch), began=process_started_at, minutes=minutes, low_f=batch.water_f)
    if gap is None:
        return
    if gap.coldest is not None:
        text = _("At %(time)s the water was at %(f)s °F, below %(low)s: that is not the tested process.")
        said = text % {"time": zoned_text(gap.since), "f": f"{float(gap.coldest):.1f}", "low": batch.water_f}
    else:
        text = _(
            "After %(time)s no reading shows for %(n)s minutes that the water was hot enough. Write down what a tested"
            " thermometer showed, at least every %(n)s minutes from the beginning to the end."
        )
        said = text % {"time": zoned_text(gap.since), "n": WATER_READ_EVERY // timedelta(minutes=1)}
    yield "minutes", f"{said} {_(LOW_TEMPERATURE.statement)}"


def _water_readings(batch: Batch) -> list[WaterReading]:
    """What the thermometers showed, less what they read high at their last test; one tested in ice alone says nothing
    of hot water."""
    found = []
    for reading in batch.readings.filter(measured=Measured.TEMPERATURE).select_related("instrument"):
        high = Decimal(0)
        if reading.instrument is not None and reading.calibrated_on is not None:
            test = reading.instrument.tests.filter(tested_on=reading.calibrated_on).order_by("-pk").first()
            hot = [one for one in test.read if one.reference >= HOT_REFERENCE_C] if test is not None else []
            if not hot:
                continue
            high = max(Decimal(0), *(one.error for one in hot))
        celsius = Fraction(reading.value) - Fraction(high)
        found.append(WaterReading(reading.at, celsius * 9 / 5 + 32))
    return found


def _gauges_check(problems: Problems, batch: Batch, began: datetime, jars_out_at: datetime) -> None:
    before = _(
        "If the cooking began then, give the batch up here and start it anew with that time: it goes by the test of"
        " that day."
    )
    after = _("Do not keep these jars: set them apart, taste nothing, and give the batch up here with the reason.")
    for field, message in gauges_in_doubt(batch, began, jars_out_at):
        problems.add(field, f"{message} {before if field == 'started_at' else after}")


def gauges_in_doubt(batch: Batch, began: datetime, jars_out_at: datetime) -> list[tuple[str, str]]:
    """Each gauge is to be as good when the jars came out as it was at the start: neither lapsed nor failed since, nor
    tested only afterwards. The field, and a sentence, for each that was not."""
    cards = [(batch.canner_card, batch.gauge_tested_on)]
    cards += [(one.card, one.gauge_tested_on) for one in batch.canners_beside.select_related("card")]
    return [
        found
        for card, tested_on in cards
        if tested_on is not None
        for found in _gauge_in_doubt(card, tested_on, began, jars_out_at)
    ]


def _gauge_in_doubt(
    card: Thing | None, tested_on: date, began: datetime, jars_out_at: datetime
) -> Iterator[tuple[str, str]]:
    out_on = club_day(jars_out_at)
    if club_day(began) < tested_on:
        text = _("That is before the test of the gauge that this batch goes by (%(day)s).")
        yield "started_at", text % {"day": date_format(tested_on, "j M Y")}
    elif card is None:
        if year_after(tested_on) <= out_on:
            yield "jars_out_at", _("The test of the gauge was more than a year old when the jars came out.")
    else:
        try:
            gauge_check(card, out_on)
        except ValidationError as error:
            yield from (("jars_out_at", message) for message in error.messages)


def lid_lot_named(problems: Problems, by: User, batch: Batch, code: str, maker: str) -> LidLot | None:
    """The lot of the lids, added when it is new; None with a problem, or for boxes and bags without one."""
    if batch.is_cold_kind and not code.strip():
        return None  # boxes and bags have no lids of a lot
    try:
        return lid_lot_get_or_add(by=by, code=code, maker=maker)
    except ValidationError as error:
        for field, messages in error.message_dict.items():
            for message in messages:
                problems.add(field, message)
        return None


# Reprocessing the jars that did not seal: once, in full, under a new lid, within 24 hours.


@transaction.atomic
def jars_reprocess(
    *,
    by: User,
    batch: Batch,
    minutes: int | None,
    lid_code: str,
    jars_out_at: datetime,
    rims_sound: bool,
    psi: Decimal | int | None = None,
    lid_maker: str = "",
    now: datetime | None = None,
) -> Batch:
    """Log the reprocess of every jar that waits for one; they cool again and want a new look.

    Jars that were called back are not processed again.

    1. The full time (and pressure) of a tested hot pack, sound rims, a new lid, out again within 24 hours of the
       first time: else ValidationError by field.
    2. At most once a batch, by a conditional update: the second press gets AlreadyDone.
    3. Each jar keeps the lot of the lid that failed beside the lot of the new one, which is taken from those on hand.
    """
    now, jars_out_at = now_or(now), in_utc(jars_out_at)
    writing_check(by, batch)
    batch = Batch.objects.select_related("revision__recipe", "kitchen", "canner_card").get(pk=batch.pk)
    waiting = Jar.objects.filter(batch=batch, disposal=Disposal.REPROCESS)
    if batch.state == BatchState.OUT and waiting.exists():
        raise ValidationError(
            _("First record the seals of the other jars. Then write the reprocess down, with the time it was.")
        )
    if batch.state != BatchState.CHECKED or batch.reprocessed_out_at is not None or not waiting.exists():
        raise AlreadyDone(_("No jar of this batch waits to be reprocessed; nothing was written."))
    need = batch.reprocess_need()
    if isinstance(need, Refusal):
        raise ValidationError(in_words(need))
    if batch.jars.recalled_here().exists():
        raise ValidationError(_("These jars are called back: they are neither processed again nor eaten."))
    problems = Problems()
    process_check(problems, batch, minutes, psi, needs=[need])
    _time_check(problems, batch, minutes, jars_out_at, now)
    if not problems:
        _gauges_check(problems, batch, batch.started_at, jars_out_at)
    if not rims_sound:
        problems.add(
            "rims_sound", _("Look at each rim: a jar with a nick is not reprocessed. Put it away otherwise first.")
        )
    problems.raise_if_any()
    lid_lot = lid_lot_get_or_add(by=by, code=lid_code, maker=lid_maker)
    logged = {"reprocessed_minutes": minutes, "reprocessed_psi": psi, "reprocessed_out_at": jars_out_at}
    open_once = Batch.objects.filter(pk=batch.pk, state=BatchState.CHECKED, reprocessed_out_at=None)
    if open_once.update(state=BatchState.OUT, **logged) != 1:
        raise AlreadyDone(_("The reprocess was logged before; nothing was written a second time."))
    # A lid that was taken off after an accident did not fail.
    failed = Case(When(seal=Seal.UNSEALED, then=F("lid_lot")), default=F("failed_lid_lot"))
    again = waiting.update(seal=Seal.UNCHECKED, disposal="", failed_lid_lot=failed, lid_lot=lid_lot)
    # None left: they were put away since we looked. The error undoes the update above, which has no jars to stand for.
    if not again:
        raise AlreadyDone(_("The jars were put away meanwhile; nothing was written."))
    ledger_reprocess(by=by, batch=batch, jars=again, lid_lot=lid_lot, at=jars_out_at)
    return Batch.objects.get(pk=batch.pk)


def _time_check(problems: Problems, batch: Batch, minutes: int | None, jars_out_at: datetime, now: datetime) -> None:
    first, until = batch.jars_out_at, batch.reprocess_until
    assert first is not None  # a checked batch has the time its jars came out,
    assert until is not None  # and one that was not reprocessed has the end of its window
    moment_check(problems, "jars_out_at", jars_out_at, now)
    if jars_out_at > until:
        text = _(
            "Reprocessing lapsed at %(time)s, 24 hours after the jars first came out. Jars that were reprocessed later"
            " are not kept on a shelf: put them away otherwise. (Source: %(source)s.)"
        )
        problems.add("jars_out_at", text % {"time": zoned_text(until), "source": REPROCESS.source})
    elif elapsed(first, jars_out_at) < timedelta(minutes=min(max(minutes or 0, 1), MOST_MINUTES)):
        text = _("That is too soon: the jars first came out at %(time)s.")
        problems.add("jars_out_at", text % {"time": zoned_text(first)})
    elif batch.reprocess_by is not None and elapsed(batch.reprocess_by, jars_out_at) > CANNER_SLACK + timedelta(
        minutes=min(minutes or 0, MOST_MINUTES)
    ):
        text = _(
            "The jars had to be in the canner again by %(time)s. What went in later is thrown away, untasted. (Source:"
            " %(source)s.)"
        )
        problems.add("jars_out_at", text % {"time": zoned_text(batch.reprocess_by), "source": UNDERPROCESSED.source})


# Looking at the seals, and what becomes of the jars that did not seal.


@transaction.atomic
def seals_record(
    *,
    by: User,
    batch: Batch,
    token: UUID,
    results: Mapping[int, str],
    disposals: Mapping[int, str] | None = None,
    checked_at: datetime | None = None,
    note: str = "",
    now: datetime | None = None,
) -> SealCheck:
    """Write down one look at every jar that still wants one; jar numbers are the keys.

    1. The batch is claimed by a conditional update. Whoever comes second finds their own look by its token, or learns
       that somebody else recorded the seals (AlreadyDone).
    2. Every jar needs a result, and after 12 hours every unsealed jar a disposal: else ValidationError with the
       fields `jar_<number>` and `disposal_<number>`.
    3. Before 12 hours it is an early look: the findings are kept, a broken jar is thrown away, and all the others
       stay to be looked at again. It settles nothing.
    4. After that the batch is checked. The jar ledger follows: what broke is gone, what is eaten soon is empty again.
    """
    now = now_or(now)
    looked_at = utc_or_none(checked_at) or now
    writing_check(by, batch)
    claimed = _claim_look(batch)
    before = SealCheck.objects.filter(token=token).first()
    if before is not None:
        return _same_look(before, by, batch)
    if not claimed:
        raise AlreadyDone(
            _("There are no seals to record here: they were recorded before, or the jars are not out yet.")
        )
    batch = Batch.objects.select_related("revision__recipe").get(pk=batch.pk)
    early = _check_look_time(batch, looked_at, now)
    jars = list(Jar.objects.filter(batch=batch).to_look_at().select_related("place").order_by("number"))
    refusal = batch.reprocess_refusal(looked_at)
    _findings_check(jars, results, disposals or {}, early, refusal, note)
    _kept_nowhere_check(batch, disposals or {}, {jar.number for jar in jars}, looked_at)
    before_look = {jar.number: fate_of(jar.seal, jar.disposal) for jar in jars}
    for jar in jars:
        jar.seal = results[jar.number]
        jar.disposal = _disposal(jar, disposals or {}, early)
    Jar.objects.bulk_update(jars, ["seal", "disposal"])
    ledger_settle(by=by, batch=batch, jars=jars, before=before_look, token=token, at=looked_at)
    _settle(batch, looked_at, early)
    return _look(batch, by, token, looked_at, early, jars, note)


def _claim_look(batch: Batch) -> bool:
    """An update that changes nothing: it says whether the seals are open, and makes others wait (PostgreSQL)."""
    return Batch.objects.filter(pk=batch.pk, state=BatchState.OUT).update(state=BatchState.OUT) == 1


def _same_look(before: SealCheck, by: User, batch: Batch) -> SealCheck:
    if (before.batch_id, before.checked_by_id) != (batch.pk, by.pk):
        raise ValidationError(_("This form was used for another look already. Open the page again."))
    return before


def _check_look_time(batch: Batch, looked_at: datetime, now: datetime) -> bool:
    """True for an early look. ValidationError for a time that cannot be."""
    out = batch.last_out_at
    assert out is not None  # the claim saw state "out", which the database never holds without this time
    problems = Problems()
    moment_check(problems, "checked_at", looked_at, now)
    if looked_at < out:
        problems.add("checked_at", _("The jars came out at %(time)s; look after that.") % {"time": zoned_text(out)})
    problems.raise_if_any()
    return phase(seal_window(out), looked_at) is Phase.COOLING


def _findings_check(
    jars: Sequence[Jar],
    results: Mapping[int, str],
    disposals: Mapping[int, str],
    early: bool,
    refusal: Refusal | None,
    note: str,
) -> None:
    problems = Problems()
    numbers = {jar.number for jar in jars}
    for number in sorted((set(results) | set(disposals)) - numbers):
        problems.add("__all__", _("There is no jar %(n)s to look at in this batch.") % {"n": number})
    for number in sorted(numbers):
        found = results.get(number)
        if found not in FINDINGS:
            problems.add(f"jar_{number}", _("Say what you found on jar %(n)s.") % {"n": number})
        else:
            _disposal_check(problems, number, found, disposals.get(number, ""), early, refusal)
    if len(note) > LOOK_NOTE_LENGTH:
        problems.add("note", _("At most %(n)s characters, please.") % {"n": LOOK_NOTE_LENGTH})
    problems.raise_if_any()


def _kept_nowhere_check(batch: Batch, disposals: Mapping[int, str], standing: Collection[int], at: datetime) -> None:
    """What is called back goes nowhere that food is kept. Nor does a jar that stood in the room (`standing`) for a day.

    A jar that was put away in time may still go from the refrigerator into the freezer.
    """
    kept = [number for number, disposal in disposals.items() if disposal in (Disposal.REFRIGERATE, Disposal.FREEZE)]
    problems = Problems()
    if kept and is_called_back(batch):
        text = _("Jar %(n)s is called back, or its recipe was withdrawn: it is not kept. Throw it away, untasted.")
    elif batch.window is not None and phase(batch.window, at) is Phase.LAPSED:
        text = _("Jar %(n)s stood for more than 24 hours: it is neither kept cold nor frozen. Throw it away, untasted.")
        kept = [number for number in kept if number in standing]
    else:
        kept = []
    for number in kept:
        problems.add(f"disposal_{number}", text % {"n": number})
    problems.raise_if_any()


def _disposal_check(
    problems: Problems, number: int, found: str, disposal: str, early: bool, refusal: Refusal | None
) -> None:
    field = f"disposal_{number}"
    if found != Seal.UNSEALED:
        if disposal and not (found == Seal.BROKEN and disposal == Disposal.DISCARD):
            problems.add(
                field, _("Only an unsealed jar is put away otherwise. Was jar %(n)s unsealed?") % {"n": number}
            )
    elif early:
        if disposal:
            text = _("Before 12 hours jar %(n)s may still seal: leave it, and say what was done after the next look.")
            problems.add(field, text % {"n": number})
    elif disposal not in FOR_UNSEALED:
        problems.add(field, _("Say what was done with jar %(n)s.") % {"n": number})
    elif disposal == Disposal.REPROCESS and refusal is not None:
        problems.add(field, in_words(refusal))


def _disposal(jar: Jar, disposals: Mapping[int, str], early: bool) -> str:
    if jar.seal == Seal.BROKEN:
        return Disposal.DISCARD
    if early:
        return ""
    return Disposal.SHELF if jar.seal == Seal.SEALED else disposals[jar.number]


def _settle(batch: Batch, looked_at: datetime, early: bool) -> None:
    """A settled look closes the seals. So does an early one that leaves no jar to look at again (all broken)."""
    if not early or not Jar.objects.filter(batch=batch).to_look_at().exists():
        Batch.objects.filter(pk=batch.pk).update(state=BatchState.CHECKED, checked_at=looked_at)


def _look(
    batch: Batch, by: User, token: UUID, looked_at: datetime, early: bool, jars: Sequence[Jar], note: str
) -> SealCheck:
    counted = Counter(jar.seal for jar in jars)
    return SealCheck.objects.create(
        batch=batch,
        token=token,
        checked_by=by,
        checked_at=looked_at,
        was_early=early,
        sealed=counted[Seal.SEALED],
        unsealed=counted[Seal.UNSEALED],
        broken=counted[Seal.BROKEN],
        note=note.strip(),
    )


@transaction.atomic
def jars_put_away(
    *,
    by: User,
    batch: Batch,
    disposals: Mapping[int, str],
    put_away_at: datetime | None = None,
    now: datetime | None = None,
) -> int:
    """Unsealed jars go elsewhere than was said: refrigerated, frozen or thrown away. Returns how many moved.

    What stood for a day is thrown away; `put_away_at` says when it was done, where that is written down later.
    ValidationError by `disposal_<number>`. Doing it twice moves nothing the second time.
    """
    writing_check(by, batch)
    now = now_or(now)
    put_away_at = utc_or_none(put_away_at) or now
    allowed = {Disposal.REFRIGERATE, Disposal.FREEZE, Disposal.DISCARD}
    problems = Problems()
    moment_check(problems, "put_away_at", put_away_at, now)
    waiting = Jar.objects.filter(batch=batch, seal__in=[Seal.UNSEALED, Seal.OPENED])
    unsealed = waiting.exclude(disposal__in=["", Disposal.DISCARD])
    seals = dict(unsealed.values_list("number", "seal"))
    standing = set(unsealed.filter(disposal=Disposal.REPROCESS).values_list("number", flat=True))
    for number, disposal in disposals.items():
        if disposal not in allowed:
            problems.add(f"disposal_{number}", _("Choose refrigerator, freezer or thrown away."))
        elif seals.get(number) == Seal.OPENED and disposal == Disposal.FREEZE:
            text = _("Jar %(n)s was opened after an accident: put it into the refrigerator, or throw it away.")
            problems.add(f"disposal_{number}", text % {"n": number})
        elif number not in seals:
            problems.add(
                f"disposal_{number}", _("Jar %(n)s is not an unsealed jar that is still kept.") % {"n": number}
            )
    problems.raise_if_any()
    _kept_nowhere_check(batch, disposals, standing, put_away_at)
    return _move_away(by, batch, unsealed, disposals, put_away_at)


def _move_away(by: User, batch: Batch, unsealed: JarQuerySet, disposals: Mapping[int, str], at: datetime) -> int:
    """Each jar by an update that names what it was: two people who press at once settle it in the ledger once."""
    kept = unsealed.filter(number__in=disposals).select_related("place").order_by("number")
    before, moved = {}, []
    for jar in kept:
        was, jar.disposal = jar.disposal, disposals[jar.number]
        if was != jar.disposal and Jar.objects.filter(pk=jar.pk, disposal=was).update(disposal=jar.disposal):
            before[jar.number] = fate_of(jar.seal, was)
            moved.append(jar)
    ledger_settle(by=by, batch=batch, jars=moved, before=before, token=uuid4(), at=at)
    return len(moved)
