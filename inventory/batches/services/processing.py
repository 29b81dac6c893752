"""Writing down what was done at the stove: the process, the jars filled, the lids, and when the jars came out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from club.core.errors import AlreadyDone
from club.members.models import User
from inventory.batches.counts import count_check
from inventory.batches.models import Batch, BatchState, Disposal, Jar, Seal
from inventory.batches.needs import Need, tested_needs
from inventory.batches.rules import MOST_MINUTES, MOST_PSI, UNDERPROCESSED, elapsed, in_utc
from inventory.batches.services.common import (
    Problems,
    clock,
    moment_check,
    now_or,
    stove_check,
    utc_or_none,
)
from inventory.batches.services.ledger import ledger_fill
from inventory.jars.models import LidLot
from inventory.jars.services import lid_lot_get_or_add
from recipes.engine.quantities import JAR_SIZES
from recipes.measures import altitude_text


@transaction.atomic
def batch_log_process(
    *,
    by: User,
    batch: Batch,
    jars: Mapping[str, int],
    jars_out_at: datetime,
    minutes: int | None = None,
    psi: Decimal | int | None = None,
    lid_code: str = "",
    lid_maker: str = "",
    process_started_at: datetime | None = None,
    started_at: datetime | None = None,
    note: str = "",
    now: datetime | None = None,
) -> Batch:
    """Log the process and the jars; the batch is out of the canner (a freezer recipe: in the freezer) after that.

    1. Everything is checked and told at once: ValidationError by field, `jars_<size>` for a count.
    2. The batch changes from started by a conditional update: of two presses one writes, the other gets AlreadyDone.
    3. The jars get their rows, each with the lid lot that sits on it; the ledger moves as many from empty to full.
    """
    now, jars_out_at = now_or(now), in_utc(jars_out_at)
    started_at, process_started_at = utc_or_none(started_at), utc_or_none(process_started_at)
    stove_check(by, batch)
    batch = Batch.objects.select_related("revision__recipe", "kitchen").get(pk=batch.pk)
    problems = Problems()
    began = started_at or batch.started_at
    if started_at is not None:
        moment_check(problems, "started_at", started_at, now)
    count_check(problems, batch, jars)
    reached = process_check(problems, batch, minutes, psi, needs=tested_needs(batch))
    _times_check(problems, batch, minutes, began, process_started_at, jars_out_at, now)
    lid_lot = _lids(problems, by, batch, lid_code, lid_maker)
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
        "jars_out_at": jars_out_at,
        "lid_lot": lid_lot,
        "note": "\n".join(filter(None, [batch.note, note.strip()])),
    }
    _claim(batch, logged)
    _fill(batch, jars, lid_lot)
    ledger_fill(by=by, batch=batch, jars=jars, lid_lot=lid_lot, at=jars_out_at)
    return Batch.objects.get(pk=batch.pk)


def _claim(batch: Batch, logged: dict[str, Any]) -> None:
    state = BatchState.FROZEN if batch.is_frozen_kind else BatchState.OUT
    if Batch.objects.filter(pk=batch.pk, state=BatchState.STARTED).update(state=state, **logged) != 1:
        raise AlreadyDone(_("This batch was logged or given up before; nothing was written a second time."))


def _fill(batch: Batch, jars: Mapping[str, int], lid_lot: LidLot | None) -> None:
    frozen = batch.is_frozen_kind
    sizes = [size for size in JAR_SIZES for _each in range(jars.get(size, 0))]
    Jar.objects.bulk_create(
        Jar(
            batch=batch,
            number=number,
            size=size,
            seal=Seal.NONE if frozen else Seal.UNCHECKED,
            disposal=Disposal.FREEZE if frozen else "",
            place=batch.kitchen,
            lid_lot=lid_lot,
        )
        for number, size in enumerate(sizes, start=1)
    )


def process_check(
    problems: Problems, batch: Batch, minutes: int | None, psi: Decimal | int | None, *, needs: Sequence[Need]
) -> Need | None:
    """The tested process that was reached. Less than that is never written down as done: a problem, and None."""
    if not needs:
        if minutes is not None or psi is not None:
            problems.add("minutes", _("A freezer recipe has no process: leave minutes and pressure empty."))
        return None
    if not _figures_check(problems, minutes, psi, needs[0].psi is not None):
        return None
    assert minutes is not None  # the figures were just checked
    reached = next((need for need in needs if need.met_by(minutes, psi)), None)
    if reached is None:
        _too_little(problems, batch, minutes, psi, needs)
    return reached


def _figures_check(problems: Problems, minutes: int | None, psi: Decimal | int | None, pressure: bool) -> bool:
    said = Problems()
    if minutes is None:
        said.add("minutes", _("Say how many minutes the jars were processed."))
    elif not 0 < minutes <= MOST_MINUTES:
        said.add("minutes", _("A process lasts 1 to %(n)s minutes: check the figure.") % {"n": MOST_MINUTES})
    if pressure and psi is None:
        said.add("psi", _("Say what pressure was held: the lowest the gauge showed during the process."))
    elif pressure and psi is not None and not 0 < psi <= MOST_PSI:
        said.add("psi", _("No home canner is worked above %(n)s psi: check the figure.") % {"n": MOST_PSI})
    elif not pressure and psi is not None:
        said.add("psi", _("A boiling-water canner has no pressure: leave it empty."))
    problems.take(said)
    return not said


def _too_little(
    problems: Problems, batch: Batch, minutes: int, psi: Decimal | int | None, needs: Sequence[Need]
) -> None:
    asked = _("The tested process at %(place)s is %(needs)s.") % {
        "place": altitude_text(batch.altitude),
        "needs": _(", or ").join(_need_text(need) for need in needs),
    }
    first = needs[0]
    if minutes < first.minutes:
        short = _("%(done)s minutes is too short.") % {"done": minutes}
        problems.add("minutes", f"{asked} {short} {_what_now()}")
    if first.psi is not None and psi is not None and psi < first.psi:
        low = _("%(done)s psi is too low.") % {"done": f"{Decimal(psi):f}"}
        problems.add("psi", f"{asked} {low} {_what_now()}")


def _need_text(need: Need) -> str:
    if need.psi is None:
        return _("%(minutes)s minutes") % {"minutes": need.minutes}
    return _("%(minutes)s minutes at %(psi)s psi") % {"minutes": need.minutes, "psi": need.psi}


def _what_now() -> str:
    return _(
        "These jars are not safe on a shelf. Within 2 hours process them again for the full time and log that, or put"
        " them in the refrigerator and give the batch up here. (Source: %(source)s.)"
    ) % {"source": UNDERPROCESSED.source}


def _times_check(
    problems: Problems,
    batch: Batch,
    minutes: int | None,
    began: datetime,
    process_started_at: datetime | None,
    jars_out_at: datetime,
    now: datetime,
) -> None:
    """The order must be: cooking began, process began, jars out; and the minutes claimed must fit in between."""
    moment_check(problems, "jars_out_at", jars_out_at, now)
    if jars_out_at < began:
        text = _(
            "The jars cannot have come out before the cooking began (%(time)s). Correct this time, or the beginning."
        )
        problems.add("jars_out_at", text % {"time": clock(began)})
        return
    if process_started_at is not None and not began <= process_started_at <= jars_out_at:
        text = _("The process began between the cooking (%(began)s) and the jars coming out (%(out)s).")
        problems.add("process_started_at", text % {"began": clock(began), "out": clock(jars_out_at)})
        return
    since = process_started_at or began
    if minutes is not None and 0 < minutes <= MOST_MINUTES and elapsed(since, jars_out_at) < timedelta(minutes=minutes):
        field = "process_started_at" if process_started_at else "started_at"
        text = _(
            "%(minutes)s minutes do not fit between %(since)s and %(out)s. If the batch was keyed in late, say here"
            " when it really began."
        )
        problems.add(field, text % {"minutes": minutes, "since": clock(since), "out": clock(jars_out_at)})


def _lids(problems: Problems, by: User, batch: Batch, code: str, maker: str) -> LidLot | None:
    if batch.is_frozen_kind and not code.strip():
        return None  # boxes and bags have no lids of a lot
    try:
        return lid_lot_get_or_add(by=by, code=code, maker=maker)
    except ValidationError as error:
        for field, messages in error.message_dict.items():
            for message in messages:
                problems.add(field, message)
        return None
