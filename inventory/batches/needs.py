"""What a batch's process must reach, and whether its unsealed jars may be processed again. Unknown means no."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.utils.translation import gettext as _

from inventory.batches.models import Batch
from inventory.batches.recall_rules import NOT_EATEN
from inventory.batches.rules import REPROCESS, REPROCESS_HOT, REPROCESS_ONCE, in_utc
from recipes.engine.process import ProcessFound, process_for
from recipes.engine.terms import Canner, Pack, Refusal, Rule
from recipes.models import RevisionState

NOT_REPROCESSED = ("squash", "pumpkin")
CANNERS = {None: Canner.BOILING_WATER, "dial": Canner.DIAL_GAUGE, "weighted": Canner.WEIGHTED_GAUGE}


@dataclass(frozen=True)
class Need:
    """A tested process as two figures: minutes, and the pressure they hold for (None in boiling water)."""

    minutes: int
    psi: int | None

    def met_by(self, minutes: int, psi: Decimal | int | None) -> bool:
        return minutes >= self.minutes and (self.psi is None or (psi is not None and psi >= self.psi))


def canner_of(found: ProcessFound) -> Canner:
    """The canner a found process is for: its gauge tells."""
    return CANNERS[found.gauge]


def tested_needs(batch: Batch) -> list[Need]:
    """The process planned, then the table's other tested pressures for the same jar. Empty: kept in the freezer."""
    if batch.required_minutes is None:
        return []
    planned = Need(batch.required_minutes, batch.required_psi)
    found = _found(batch, Pack(batch.pack))
    others = () if isinstance(found, Refusal) else found.others
    return [planned, *(Need(other.minutes, other.pressure_psi) for other in others)]


def reprocess_refusal(batch: Batch, looked_at: datetime) -> Refusal | None:
    """Why a jar found unsealed at `looked_at` is not reprocessed any more; None when it may be."""
    if batch.revision.state == RevisionState.WITHDRAWN:
        text = _("This recipe was withdrawn: its jars are not processed again, and nobody eats from them.")
        return _refusal("revision-withdrawn", NOT_EATEN, text)
    if Batch.objects.recalled().filter(pk=batch.pk).exists():
        text = _("These jars are called back: they are not processed again, and nobody eats from them.")
        return _refusal("called-back", NOT_EATEN, text)
    if batch.reprocessed_out_at is not None:
        text = _("These jars were reprocessed once already. Refrigerate, freeze or throw away what did not seal.")
        return _refusal("reprocessed-once", REPROCESS_ONCE, text)
    need = reprocess_need(batch)
    if isinstance(need, Refusal):
        return need
    until = batch.reprocess_until
    if until is None or in_utc(looked_at) >= until:
        text = _("Reprocessing lapsed 24 hours after the jars came out. Choose another way for this jar.")
        return _refusal("reprocess-lapsed", REPROCESS, text)
    return None


def reprocess_need(batch: Batch) -> Need | Refusal:
    """The full time again, of a tested hot pack: contents are reheated, so a raw pack's own test does not hold.

    Where the hot pack's figures are lower than those of the first time, the first ones hold: "the same full time".
    """
    tested = batch.revision.tested
    if batch.required_minutes is None:
        return _refusal("no-process", REPROCESS, _("A freezer recipe has no process to repeat."))
    if tested.kind == "pie-filling" or any(word in food for food in tested.produce for word in NOT_REPROCESSED):
        text = _(
            "Pie filling, squash and pumpkin are not reprocessed: refrigerate or freeze the jar, or throw it away."
        )
        return _refusal("not-reprocessed", REPROCESS_HOT, text)
    if batch.pack == Pack.HOT:
        return Need(batch.required_minutes, batch.required_psi)
    hot = _found(batch, Pack.HOT)
    if isinstance(hot, Refusal):
        text = _(
            "No hot pack of this recipe was tested, and a reprocessed jar is reheated: put the jar away otherwise."
        )
        return _refusal("no-hot-pack", REPROCESS_HOT, text)
    psi = None if batch.required_psi is None else max(batch.required_psi, hot.pressure_psi or 0)
    return Need(max(batch.required_minutes, hot.minutes), psi)


def _found(batch: Batch, pack: Pack) -> ProcessFound | Refusal:
    rows = batch.revision.tested.process
    return process_for(rows, jar=batch.jar_size, pack=pack, canner=Canner(batch.canner), altitude=batch.altitude)


def _refusal(code: str, rule: Rule, message: str) -> Refusal:
    return Refusal(code=code, message=message, rule=rule.name, source=rule.source)
