"""Reprocessing the jars that did not seal: once, in full, under a new lid, within 24 hours."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from club.core.errors import AlreadyDone
from club.members.models import User
from inventory.batches.models import Batch, BatchState, Disposal, Jar, Seal
from inventory.batches.needs import reprocess_need
from inventory.batches.rules import MOST_MINUTES, REPROCESS, elapsed, in_utc
from inventory.batches.services.common import Problems, clock, moment_check, now_or, writing_check
from inventory.batches.services.ledger import ledger_reprocess
from inventory.batches.services.processing import process_check
from inventory.jars.services import lid_lot_get_or_add
from recipes.engine.terms import Refusal


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
    batch = Batch.objects.select_related("revision__recipe", "kitchen").get(pk=batch.pk)
    waiting = Jar.objects.filter(batch=batch, disposal=Disposal.REPROCESS)
    if batch.state != BatchState.CHECKED or batch.reprocessed_out_at is not None or not waiting.exists():
        raise AlreadyDone(_("No jar of this batch waits to be reprocessed; nothing was written."))
    need = reprocess_need(batch)
    if isinstance(need, Refusal):
        raise ValidationError(need.message)
    if Batch.objects.recalled().filter(pk=batch.pk).exists():
        raise ValidationError(_("These jars are called back: they are neither processed again nor eaten."))
    problems = Problems()
    process_check(problems, batch, minutes, psi, needs=[need])
    _time_check(problems, batch, minutes, jars_out_at, now)
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
    again = waiting.update(seal=Seal.UNCHECKED, disposal="", failed_lid_lot=F("lid_lot"), lid_lot=lid_lot)
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
        problems.add("jars_out_at", text % {"time": clock(until), "source": REPROCESS.source})
    elif elapsed(first, jars_out_at) < timedelta(minutes=min(max(minutes or 0, 1), MOST_MINUTES)):
        text = _("That is too soon: the jars first came out at %(time)s.")
        problems.add("jars_out_at", text % {"time": clock(first)})
