"""How the lids of each lot have done: counted over every jar they sat on, the failed first lids among them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Count, Q

from inventory.batches.models import Jar, Seal
from inventory.batches.statistics import Comparison, Rate, compare, rate
from inventory.jars.models import LidLot


@dataclass(frozen=True)
class LidFigures:
    lot: LidLot
    batches: int
    sealed: int
    unsealed: int
    broken: int
    unchecked: int

    @property
    def looked_at(self) -> int:
        return self.sealed + self.unsealed

    @property
    def failed_percent(self) -> int | None:
        """Unsealed of those that could seal, in percent; a broken jar says nothing of its lid."""
        return round(100 * self.unsealed / self.looked_at) if self.looked_at else None

    @property
    def rate(self) -> Rate | None:
        """The rate with the interval that so many lids bear; None where none was looked at."""
        return rate(self.unsealed, self.looked_at)


def lid_figures(lots: Sequence[LidLot]) -> list[LidFigures]:
    """The figures of these lots, in their order; three queries for any number of lots."""
    by_seal = dict.fromkeys(((lot.pk, seal) for lot in lots for seal in Seal.values), 0)
    for row in Jar.objects.filter(lid_lot__in=lots).order_by().values("lid_lot", "seal").annotate(n=Count("pk")):
        by_seal[row["lid_lot"], row["seal"]] = row["n"]
    failed = Jar.objects.filter(failed_lid_lot__in=lots).order_by().values("failed_lid_lot").annotate(n=Count("pk"))
    for lot, count in failed.values_list("failed_lid_lot", "n"):
        by_seal[lot, Seal.UNSEALED.value] += count
    batches = _batches(lots)
    return [
        LidFigures(
            lot=lot,
            batches=len(batches[lot.pk]),
            sealed=by_seal[lot.pk, Seal.SEALED.value],
            unsealed=by_seal[lot.pk, Seal.UNSEALED.value],
            broken=by_seal[lot.pk, Seal.BROKEN.value],
            unchecked=by_seal[lot.pk, Seal.UNCHECKED.value],
        )
        for lot in lots
    ]


def _batches(lots: Sequence[LidLot]) -> dict[int, set[int]]:
    """The batches each lot was used in, be it only for lids that failed."""
    used = Jar.objects.filter(Q(lid_lot__in=lots) | Q(failed_lid_lot__in=lots)).order_by().distinct()
    found: dict[int, set[int]] = {lot.pk: set() for lot in lots}
    for lid_lot, failed, batch in used.values_list("lid_lot", "failed_lid_lot", "batch"):
        for lot in (lid_lot, failed):
            if lot in found:
                found[lot].add(batch)
    return found


@dataclass(frozen=True)
class LidsCompared:
    a: LidFigures
    b: LidFigures
    found: Comparison

    @property
    def chance_in(self) -> int:
        """“About once in so many”: how often chance alone does as much, as a whole number."""
        return max(1, round(1 / self.found.p))


def lids_compared(a: LidLot, b: LidLot) -> LidsCompared:
    """Two lots side by side, over all their jars, with what the difference bears."""
    one, other = lid_figures([a, b])
    return LidsCompared(one, other, compare(one.unsealed, one.looked_at, other.unsealed, other.looked_at))
