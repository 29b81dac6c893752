"""Correcting a log that somebody signed: a further row over it, held to every rule of the first, both kept.

What cannot be true is refused. What is true and below the tested process is taken down all the same, for nobody is
served by a log that only looks well: its jars are called back, or set aside where the published answer still leaves
time to put them right. A correction frees no jar; that takes a look by somebody else (`sound_check`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from copy import copy
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any
from uuid import UUID, uuid5

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from club.core.clock import club_day, in_utc, now_or, zoned_text
from club.core.errors import AlreadyDone, same_form
from club.members.models import HIGHEST_M, LOWEST_M, User
from club.members.rules import altitude_words
from inventory.batches.accidents import Situation, answer_for_batch
from inventory.batches.choices import COLD, BatchState, Disposal, Headspace, RecallKind, Seal
from inventory.batches.models import (
    CORRECTION_REASON_LENGTH,
    RECALL_REASON_LENGTH,
    Batch,
    Jar,
    JarsSetAside,
    OfferedJar,
    Recall,
    SealCheck,
    SignedLog,
)
from inventory.batches.rules import COOL_MIN, REPROCESS_WINDOW, Need, elapsed
from inventory.batches.services.common import Problems, batch_lock, fate_of, moment_check, stove_check, utc_or_none
from inventory.batches.services.log import (
    HeldBeside,
    figures_check,
    gauges_in_doubt,
    jars_check,
    jars_number,
    lid_lot_named,
    need_text,
    tested_words,
    times_check,
    too_little,
    water_in_doubt,
)
from inventory.batches.services.recalls import open_once
from inventory.batches.tracing import holdings, is_called_back, reach_of_recall
from inventory.jars.choices import JarState, PlaceKind, Reason
from inventory.jars.models import Balance, LidLot, Movement
from inventory.jars.services import (
    Fate,
    NotEnough,
    jars_fill,
    jars_resize,
    jars_unfill,
    lids_unuse,
    lids_use,
)
from recipes.engine.quantities import JAR_SIZES
from recipes.engine.terms import Altitude, Refusal
from recipes.presentation import in_words

CORRECTABLE = (BatchState.OUT, BatchState.CHECKED, *COLD)
_OF_HEADSPACE = {Headspace.MUCH: Situation.HEADSPACE_MUCH, Headspace.LITTLE: Situation.HEADSPACE_LITTLE}


def log_as_signed(batch: Batch) -> SignedLog:
    """The newest log of a batch; not saved where it is the first, which the batch itself holds so far.

    Reads `jars` and `canners_beside`.
    """
    newest = batch.signed_logs.select_related("lid_lot").order_by("-number").first()
    if newest is not None:
        return newest
    assert batch.jars_out_at is not None  # only a batch with a log is asked
    filled = Movement.objects.filter(batch=batch, reason=Reason.FILLED).select_related("by").order_by("pk").first()
    return SignedLog(
        batch=batch,
        number=0,
        token=uuid5(batch.token, "first log"),
        signed_by=None if filled is None else filled.by,
        signed_at=batch.jars_out_at,
        altitude_m=batch.altitude_m,
        jar_size=batch.jar_size,
        required_minutes=batch.required_minutes,
        required_psi=batch.required_psi,
        setting_psi=batch.setting_psi,
        started_at=batch.started_at,
        process_started_at=batch.process_started_at,
        minutes=batch.processed_minutes,
        psi=batch.processed_psi,
        psi_beside={one.card.code: str(one.processed_psi) for one in batch.canners_beside.all() if one.processed_psi},
        jars_out_at=batch.jars_out_at,
        jars=dict(Counter(jar.size for jar in batch.jars.all())),
        lid_lot=batch.lid_lot,
    )


@dataclass
class _Judged:
    """What the corrected figures come to: the tested process they reach; else, or beside it, what is wrong.

    `whole` is wrong with every jar, `cold` the numbers of jars that stood unsealed for too long. `can_be_put_right`
    holds for a shortfall alone: minutes or pressure of the very process that the batch was planned with.
    """

    reached: Need | None = None
    needs: list[Need] = field(default_factory=list)
    whole: list[str] = field(default_factory=list)
    cold: list[int] = field(default_factory=list)
    can_be_put_right: bool = True

    def wrong(self, *texts: str) -> None:
        self.whole += texts
        self.can_be_put_right &= not texts

    @property
    def held_against(self) -> Need | None:
        return self.reached or next(iter(self.needs), None)

    @property
    def finding(self) -> str:
        texts = list(self.whole)
        if self.cold:
            text = _("Jar %(n)s stood unsealed for more than 24 hours before it was put away.")
            texts.append(text % {"n": ", ".join(map(str, self.cold))})
        return " ".join(texts)


@transaction.atomic
def batch_log_correct(
    *,
    by: User,
    batch: Batch,
    over: int,
    reason: str,
    token: UUID,
    jars: Mapping[str, int],
    started_at: datetime,
    jars_out_at: datetime,
    altitude_m: Decimal,
    minutes: int | None = None,
    psi: Decimal | int | None = None,
    psi_beside: Mapping[int, Decimal | int | None] | None = None,
    process_started_at: datetime | None = None,
    lid_code: str = "",
    lid_maker: str = "",
    headspace: str = "",
    agreed_to: str = "",
    now: datetime | None = None,
) -> SignedLog:
    """Write the log of a batch as it should have read, over the row of number `over`; all figures, changed or not.

    1. Who may write what was done at its stove: else PermissionDenied. The same `token` again finds what it wrote.
    2. AlreadyDone where somebody corrected it meanwhile: what this one changes was read from another log.
    3. ValidationError by field for what cannot be true, as `batch_log_process` has it, and for a count that the jars
       or the ledger contradict.
    4. Below the tested process of the corrected altitude, jar and gauge, or where a published answer speaks against the
       jars: ValidationError beside `is_true`, with the finding as its parameter, until the person says that just that
       is so (`agreed_to`).
    5. The row; the batch's columns, jars and lids follow, and the jar ledger with them. Jars of a finding are called
       back; where a second process is still allowed, and all of them are in the kitchen, they are set aside for it.
       Seals that were looked at too early by the corrected hour are looked at again.
    """
    now = now_or(now)
    stove_check(by, batch)
    batch_lock(batch.pk)
    before = SignedLog.objects.filter(token=token).first()
    if before is not None:
        return same_form(before, batch_id=batch.pk, signed_by_id=by.pk)
    batch = Batch.objects.select_related("revision__recipe", "kitchen", "canner_card", "lid_lot").get(pk=batch.pk)
    if batch.state not in CORRECTABLE:
        raise AlreadyDone(_("There is no signed log of this batch to correct."))
    was = log_as_signed(batch)
    if was.number != over:
        text = _("%(who)s corrected this log meanwhile, on %(when)s. Nothing of yours was written: read it anew first.")
        raise AlreadyDone(text % {"who": was.signed_by, "when": zoned_text(was.signed_at)})
    problems = Problems()
    filled = {size: count for size, count in jars.items() if count}
    row = SignedLog(
        batch=batch,
        number=over + 1,
        token=token,
        signed_by=by,
        signed_at=now,
        reason=_reason_clean(problems, reason),
        altitude_m=altitude_m,
        jar_size=max([batch.jar_size, *(size for size in filled if size in JAR_SIZES)], key=JAR_SIZES.index),
        started_at=_as_typed(started_at, was.started_at),
        process_started_at=_as_typed(utc_or_none(process_started_at), was.process_started_at),
        minutes=minutes,
        psi=None if psi is None else Decimal(psi),
        jars_out_at=_as_typed(jars_out_at, was.jars_out_at),
        jars=filled,
        headspace=headspace,
    )
    under_pressure = batch.canners_beside.filter(setting_psi__isnull=False).select_related("card")
    beside = [HeldBeside(one, (psi_beside or {}).get(one.pk)) for one in under_pressure]
    row.psi_beside = {one.row.card.code: f"{Decimal(one.psi):.1f}" for one in beside if one.psi is not None}
    row.lid_lot = lid_lot_named(problems, by, batch, lid_code, lid_maker)
    _truth_check(problems, batch, row, was, beside, now)
    problems.raise_if_any()
    if _is_same(row, was):
        raise ValidationError(_("Nothing differs from the log as it is: change what was wrong."))
    judged = _judge(batch, row, beside, now)
    row.finding = judged.finding
    if row.finding and row.finding != agreed_to:
        params = {"said": _said_first(batch, row.finding), "finding": row.finding}
        raise ValidationError({"is_true": ValidationError("%(said)s", code="finding", params=params)})
    if not was.pk:
        was.save(force_insert=True)
    if judged.held_against is not None:
        row.required_minutes, row.required_psi = judged.held_against.minutes, judged.held_against.psi
        row.setting_psi = None if batch.setting_psi is None else judged.held_against.setting
    _jars_follow(by, batch, row, was, now)
    _batch_follows(batch, row, judged, beside)
    _take_back(by, batch, row, judged, now)
    row.save(force_insert=True)
    return row


def _reason_clean(problems: Problems, reason: str) -> str:
    reason = " ".join(reason.split())
    if not reason:
        problems.add("reason", _("Say in a few words what was wrong and how you know."))
    elif len(reason) > CORRECTION_REASON_LENGTH:
        problems.add("reason", _("At most %(n)s characters, please.") % {"n": CORRECTION_REASON_LENGTH})
    return reason


def _as_typed(moment: Any, was: datetime | None) -> Any:
    """A clock shows minutes: what reads the same is the moment as it was written."""
    if moment is None or was is None:
        return None if moment is None else in_utc(moment)
    moment = in_utc(moment)
    return was if moment == was.replace(second=0, microsecond=0) else moment


_FIGURES = ("altitude_m", "started_at", "process_started_at", "minutes", "psi", "psi_beside", "jars_out_at", "jars")


def _is_same(row: SignedLog, was: SignedLog) -> bool:
    return all(getattr(row, name) == getattr(was, name) for name in (*_FIGURES, "lid_lot_id", "headspace"))


def _truth_check(
    problems: Problems, batch: Batch, row: SignedLog, was: SignedLog, beside: Sequence[HeldBeside], now: datetime
) -> None:
    """What cannot be, whatever is safe: figures no canner has, times in a wrong order, more jars than the pots gave."""
    if row.headspace and row.headspace not in Headspace.values:
        problems.add("headspace", _("Choose one of these."))
    if batch.required_minutes is None:
        if row.minutes is not None or row.psi is not None:
            problems.add("minutes", _("A recipe that is kept cold has no process: leave minutes and pressure empty."))
    else:
        figures_check(problems, row.minutes, row.psi, batch.required_psi is not None)
        for one in beside:
            one.figure_check(problems)
    for name in ("started_at", "jars_out_at"):
        if getattr(row, name) != getattr(was, name):
            moment_check(problems, name, getattr(row, name), now, keyed_in=batch.created_at)
    times_check(problems, row.minutes, row.started_at, row.process_started_at, row.jars_out_at)
    _altitude_check(problems, batch, row, was)
    as_it_was = copy(batch)
    as_it_was.jar_size = row.jar_size
    jars_check(problems, as_it_was, row.jars)
    _seen_since_check(problems, batch, row)


def _altitude_check(problems: Problems, batch: Batch, row: SignedLog, was: SignedLog) -> None:
    known = was.altitude_m if batch.kitchen.altitude_m is None else min(was.altitude_m, batch.kitchen.altitude_m)
    if not LOWEST_M <= row.altitude_m <= HIGHEST_M:
        problems.add("altitude", _("Nobody lives there: check the altitude."))
    elif row.altitude_m < known:
        text = _(
            "That is lower than the kitchen's own altitude. Correct it on the kitchen's page first, where a lower one"
            " takes a second look."
        )
        problems.add("altitude", text)


def _seen_since_check(problems: Problems, batch: Batch, row: SignedLog) -> None:
    """The jars came out before anybody looked at their seals, or processed them again."""
    looks = SealCheck.objects.filter(batch=batch).order_by("checked_at")
    first = looks.first()
    if first is not None and first.checked_at < row.jars_out_at:
        text = _("The seals were looked at on %(time)s: the jars were out before that.")
        problems.add("jars_out_at", text % {"time": zoned_text(first.checked_at)})
    if batch.reprocessed_out_at is not None and batch.reprocessed_out_at <= row.jars_out_at:
        text = _("The jars that were processed again came out on %(time)s: the first time was before that.")
        problems.add("jars_out_at", text % {"time": zoned_text(batch.reprocessed_out_at)})


def _judge(batch: Batch, row: SignedLog, beside: Sequence[HeldBeside], now: datetime) -> _Judged:
    """Every rule of the first log, asked of the corrected figures."""
    judged = _Judged(needs=batch.needs_at(row.altitude_m, row.jar_size))
    altitude = Altitude(metres=Fraction(row.altitude_m))
    moved = (row.altitude_m, row.jar_size) != (batch.altitude_m, batch.jar_size)
    if batch.required_minutes is not None and not judged.needs:
        text = _("No tested process covers a %(jar)s jar of it at %(place)s.")
        judged.wrong(text % {"jar": row.jar_size, "place": altitude_words(altitude)})
    elif judged.needs:
        assert row.minutes is not None  # checked before
        met = (one for one in judged.needs if one.met_by(row.minutes, row.psi) and all(b.holds(one) for b in beside))
        judged.reached = next(met, None)
        if judged.reached is None:
            short = [text for _field, text in too_little(row.minutes, row.psi, judged.needs, beside)]
            judged.whole += [tested_words(altitude, judged.needs), *short]
            judged.can_be_put_right = not moved
    judged.wrong(*(text for _field, text in gauges_in_doubt(batch, row.started_at, row.jars_out_at)))
    judged.wrong(*(text for _field, text in water_in_doubt(batch, row.minutes, row.process_started_at)))
    day = club_day(row.started_at)
    for past in batch.lots_taken.live().filter(use_by__lt=day):
        judged.wrong(_("%(item)s, as it is noted, was past its date on that day.") % {"item": past.item})
    if row.headspace:
        situation = _OF_HEADSPACE[Headspace(row.headspace)]
        answer = None if batch.is_staged else answer_for_batch(batch, situation, now)
        if not batch.is_cold_kind and (answer is None or not answer.is_harmless):
            judged.wrong(_("The headspace was not as tested: %(how)s.") % {"how": row.get_headspace_display()})
    _judge_second_process(batch, row, judged)
    settled = SealCheck.objects.filter(batch=batch, was_early=False).order_by("checked_at").first()
    if settled is not None and elapsed(row.jars_out_at, settled.checked_at) > REPROCESS_WINDOW:
        kept_cold = Jar.objects.filter(
            batch=batch, seal=Seal.UNSEALED, disposal__in=[Disposal.REFRIGERATE, Disposal.FREEZE], set_aside=None
        )
        judged.cold = list(kept_cold.order_by("number").values_list("number", flat=True))
    judged.can_be_put_right &= not judged.cold
    return judged


def _judge_second_process(batch: Batch, row: SignedLog, judged: _Judged) -> None:
    """Jars that were processed again had their whole time too, by the corrected altitude, and soon enough."""
    if batch.reprocessed_out_at is None or batch.reprocessed_minutes is None:
        return
    if elapsed(row.jars_out_at, batch.reprocessed_out_at) > REPROCESS_WINDOW:
        judged.wrong(_("The jars were processed again more than 24 hours after they first came out."))
    corrected = copy(batch)
    corrected.altitude_m, corrected.jar_size = row.altitude_m, row.jar_size
    if judged.reached is not None:
        corrected.required_minutes, corrected.required_psi = judged.reached.minutes, judged.reached.psi
    need = corrected.reprocess_need()
    if isinstance(need, Refusal):
        judged.wrong(in_words(need))
    elif not need.met_by(batch.reprocessed_minutes, batch.reprocessed_psi):
        judged.wrong(_("Processed again, it needed %(needs)s.") % {"needs": need_text(need)})


def _said_first(batch: Batch, finding: str) -> str:
    unopened = Recall(kind=RecallKind.BATCH, batch=batch)
    reach = reach_of_recall(unopened, holdings([unopened])).words
    text = _(
        "%(finding)s If that is a slip of the pen, mend it above. If it is true, say so here: nobody eats these jars or"
        " gives them away from then on, and everybody who has one is told (%(reach)s)."
    )
    return text % {"finding": finding, "reach": reach}


# What follows: jars and their ledger, the columns of the batch, and jars taken back.


def _jars_follow(by: User, batch: Batch, row: SignedLog, was: SignedLog, now: datetime) -> None:
    """The rows of the jars, the jar ledger and the lids, each from what was written to what is written now."""
    fewer, more = (Counter(one) - Counter(other) for one, other in ((was.jars, row.jars), (row.jars, was.jars)))
    for size in JAR_SIZES:
        for becomes in JAR_SIZES:
            if count := min(fewer[size], more[becomes]):
                _resize(by, batch, size, becomes, count, row, now)
                fewer[size] -= count
                more[becomes] -= count
    for size, count in sorted((+fewer).items()):
        _remove(by, batch, size, count, row, now)
    _lids_follow(by, batch, row, was, now)
    if added := dict(+more):
        last = Jar.objects.filter(batch=batch).order_by("-number").values_list("number", flat=True).first() or 0
        jars_number(batch, added, row.lid_lot, first=last + 1)
        token = uuid5(row.token, "more jars")
        jars_fill(by=by, batch_id=batch.pk, kitchen=batch.kitchen, jars=added, token=token, at=now)
        _look_again(batch)


def _resize(by: User, batch: Batch, size: str, becomes: str, count: int, row: SignedLog, now: datetime) -> None:
    """Jars were of another size than was written: those in the kitchen first. An offer of them ends."""
    rows = list(Jar.objects.filter(batch=batch, size=size).order_by("-number"))
    rows.sort(key=lambda jar: (jar.held_by_id is not None, fate_of(jar.seal, jar.disposal) is not Fate.FULL))
    meant = rows[:count]
    full = sum(fate_of(jar.seal, jar.disposal) is Fate.FULL for jar in meant)
    Jar.objects.filter(pk__in=[jar.pk for jar in meant]).update(size=becomes)
    OfferedJar.objects.filter(jar__in=meant, is_live=True).update(is_live=False)
    if full:
        jars_resize(
            by=by,
            batch_id=batch.pk,
            kitchen=batch.kitchen,
            size=size,
            becomes=becomes,
            count=full,
            token=uuid5(row.token, f"{size} are {becomes}"),
            at=now,
        )


def _remove(by: User, batch: Batch, size: str, count: int, row: SignedLog, now: datetime) -> None:
    """Jars that were never filled leave the batch. One that somebody did something with was filled: ValidationError."""
    here = Jar.objects.filter(batch=batch, size=size, held_by=None, answer=None, set_aside=None)
    touched = OfferedJar.objects.filter(jar__batch=batch).values("jar")
    rows = [
        jar for jar in here.exclude(pk__in=touched).order_by("-number") if fate_of(jar.seal, jar.disposal) is Fate.FULL
    ]
    if len(rows) < count:
        least = row.jars.get(size, 0) + count - len(rows)
        text = _(
            "At least %(least)s of these were filled, for they were offered, handed on, set aside, answered for, eaten"
            " or thrown away since. Count again; if one of those was the slip, that is put right first."
        )
        raise ValidationError({f"jars_{size}": text % {"least": least}})
    try:
        jars_unfill(
            by=by,
            batch_id=batch.pk,
            kitchen=batch.kitchen,
            size=size,
            count=count,
            token=uuid5(row.token, f"fewer {size}"),
            at=now,
        )
    except NotEnough as error:
        text = _("%(why)s The others were moved by hand: correct those movements in the jar ledger first.")
        raise ValidationError({f"jars_{size}": text % {"why": " ".join(error.messages)}}) from error
    Jar.objects.filter(pk__in=[jar.pk for jar in rows[:count]]).delete()


def _lids_follow(by: User, batch: Batch, row: SignedLog, was: SignedLog, now: datetime) -> None:
    off, on = sum(was.jars.values()), sum(row.jars.values())
    if was.lid_lot_id == row.lid_lot_id:
        off, on = max(0, off - on), max(0, on - off)
    else:
        # The lids of the first process; a jar that was processed again under another keeps that one.
        first = Jar.objects.filter(batch=batch)
        first.filter(failed_lid_lot=was.lid_lot).exclude(failed_lid_lot=None).update(failed_lid_lot=row.lid_lot)
        first.filter(lid_lot=was.lid_lot, failed_lid_lot=None).exclude(seal=Seal.OPENED).update(lid_lot=row.lid_lot)
    _lids(lids_unuse, by, batch, was.lid_lot, off, uuid5(row.token, "lids off"), now)
    _lids(lids_use, by, batch, row.lid_lot, on, uuid5(row.token, "lids on"), now)


def _lids(book: Any, by: User, batch: Batch, lot: LidLot | None, count: int, token: UUID, now: datetime) -> None:
    if lot is not None and count:
        book(by=by, lot=lot, count=count, batch_id=batch.pk, token=token, at=now)


def _look_again(batch: Batch) -> None:
    """Jars of it want a look: the seals are open again. A freezer recipe has none."""
    Batch.objects.filter(pk=batch.pk, state=BatchState.CHECKED).update(state=BatchState.OUT)


def _batch_follows(batch: Batch, row: SignedLog, judged: _Judged, beside: Sequence[HeldBeside]) -> None:
    """The batch's own columns. Its process stays as it was where the corrected one is below the tested: constraints
    hold nothing else, and whoever asks for the truth reads the newest row."""
    columns: dict[str, Any] = {
        "started_at": row.started_at,
        "process_started_at": row.process_started_at,
        "jars_out_at": row.jars_out_at,
        "lid_lot": row.lid_lot,
    }
    if batch.is_chilled_kind:
        columns["best_by"] = batch.chilled_until(club_day(row.jars_out_at))
    if not judged.whole:
        columns |= {"altitude_m": row.altitude_m, "jar_size": row.jar_size}
        columns |= {"processed_minutes": row.minutes, "processed_psi": row.psi}
        columns |= {"required_minutes": row.required_minutes, "required_psi": row.required_psi}
        columns |= {"setting_psi": row.setting_psi}
        corrected = copy(batch)
        for name, value in columns.items():
            setattr(corrected, name, value)
        columns["is_reprocessable"] = isinstance(corrected.reprocess_need(), Need)
        batch.lots_taken.update(taken_on=club_day(row.started_at))
        for one in beside:
            assert judged.reached is not None  # else something is wrong with the whole
            one.row.table_psi, one.row.setting_psi = judged.reached.psi, one.row.setting_for(judged.reached.psi)
            one.row.processed_psi = None if one.psi is None else Decimal(one.psi)
            one.row.save(update_fields=["table_psi", "setting_psi", "processed_psi"])
    Batch.objects.filter(pk=batch.pk).update(**columns)
    settled = SealCheck.objects.filter(batch=batch, was_early=False).order_by("checked_at").first()
    if batch.reprocessed_out_at is None and settled and elapsed(row.jars_out_at, settled.checked_at) < COOL_MIN:
        sealed = Jar.objects.filter(batch=batch, seal=Seal.SEALED, disposal=Disposal.SHELF, held_by=None)
        OfferedJar.objects.filter(jar__in=sealed, is_live=True).update(is_live=False)
        if sealed.update(disposal=""):
            _look_again(batch)


def _take_back(by: User, batch: Batch, row: SignedLog, judged: _Judged, now: datetime) -> None:
    """Set aside what can be put right yet, or stood too long; else the whole batch is called back."""
    if not row.finding:
        return
    jars = Jar.objects.filter(batch=batch, set_aside=None, held_by=None).kept().exclude(disposal=Disposal.RETURNED)
    situation = None
    if not judged.whole:
        jars, situation = jars.filter(number__in=judged.cold), Situation.UNSEALED
    elif judged.can_be_put_right and _is_in_time(batch, now):
        situation = Situation.HEAT_FELL
    if situation is not None and jars.exists():
        row.set_aside = JarsSetAside.objects.create(
            batch=batch, situation=situation, opened_by=by, opened_at=now, token=uuid5(row.token, "set aside")
        )
        jars.update(set_aside=row.set_aside)
        OfferedJar.objects.filter(jar__set_aside=row.set_aside, is_live=True).update(is_live=False)
        return
    called = Recall.objects.not_cleared().filter(batch=batch).order_by("closed_at", "pk").first()
    if called is None:
        text = _("The log of this batch was corrected. %(finding)s Do not eat them.") % {"finding": row.finding}
        fields = {"batch": batch}
        token = uuid5(row.token, "recall")
        called = open_once(RecallKind.BATCH, fields, text[:RECALL_REASON_LENGTH], by, token, now)
    row.recall = called


def _is_in_time(batch: Batch, now: datetime) -> bool:
    """Whether a second process in full is still the published answer, and every jar is where it can be done."""
    if batch.is_staged or batch.is_cold_kind or is_called_back(batch):
        return False
    fresh = Batch.objects.select_related("revision__recipe").get(pk=batch.pk)
    if not answer_for_batch(fresh, Situation.HEAT_FELL, now).may_reprocess or fresh.reprocess_refusal(now) is not None:
        return False
    left = Jar.objects.filter(batch=batch).kept()
    if left.exclude(held_by=None).exists() or left.filter(disposal=Disposal.RETURNED).exists():
        return False
    elsewhere = Balance.objects.filter(batch=batch, state=JarState.FULL, count__gt=0)
    return not elsewhere.exclude(place__kind=PlaceKind.KITCHEN, place__kitchen=batch.kitchen_id).exists()
