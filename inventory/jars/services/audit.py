"""Recompute every balance from the movements, and say where the books disagree."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from django.db.models import Sum

from inventory.jars.models import (
    Balance,
    Deposit,
    DepositNote,
    LidMovement,
    LidStock,
    Movement,
    Place,
    SupplyLot,
    SupplyMovement,
)
from inventory.jars.rules import FULL


@dataclass
class LedgerAudit:
    """`sums` by size are over all places and should be zero; `problems` are sentences for whoever looks after the
    site, each naming the row that is wrong."""

    movements: int = 0
    sums: dict[str, int] = field(default_factory=dict)
    problems: list[str] = field(default_factory=list)

    @property
    def is_sound(self) -> bool:
        return not self.problems


def ledger_audit() -> LedgerAudit:
    """A read of everything, in about ten queries; each total is summed by the database."""
    audit = LedgerAudit(movements=Movement.objects.count(), sums=Balance.objects.sums_by_size())
    audit.problems += [f"{size}: the sum over all places is {n}" for size, n in audit.sums.items() if n]
    _jars(audit)
    _compare(audit, "lids", _lids_moved(), _lids_kept())
    _compare(audit, "supply lot", _summed(SupplyMovement.objects, "lot", "change"), _supplies_kept())
    for column in ("jars", "cents"):
        kept: Counter[object] = Counter({(d.person_id, d.size): getattr(d, column) for d in Deposit.objects.all()})
        moved: Counter[object] = Counter()
        for row in DepositNote.objects.order_by().values("person", "size").annotate(n=Sum(column)):
            moved[row["person"], row["size"]] = row["n"]
        _compare(audit, f"deposit {column}", moved, kept)
    return audit


def _jars(audit: LedgerAudit) -> None:
    moved: Counter[object] = Counter()
    for side, sign in (("source", -1), ("target", 1)):
        rows = Movement.objects.order_by().values(side, f"{side}_state", "size", "batch").annotate(n=Sum("count"))
        for row in rows:
            state = row[f"{side}_state"]
            lot = row["batch"] if state == FULL else None
            moved[row[side], row["size"], state, lot] += sign * row["n"]
    inside = {place.pk: place.is_inside for place in Place.objects.all()}
    kept: Counter[object] = Counter()
    for place, said, size, state, lot, count in Balance.objects.values_list(
        "place", "is_inside", "size", "state", "batch", "count"
    ):
        kept[place, size, state, lot] = count
        if said != inside[place]:
            audit.problems.append(f"balance of place {place}: called inside, and is not, or the other way")
        if count < 0 and inside[place]:
            audit.problems.append(f"balance of place {place}, {size}, {state}: below zero ({count})")
    _compare(audit, "balance", moved, kept)


def _compare(audit: LedgerAudit, what: str, moved: Counter[object], kept: Counter[object]) -> None:
    for key in sorted({*moved, *kept}, key=str):
        if moved[key] != kept[key]:
            audit.problems.append(f"{what} {key}: {kept[key]} kept, {moved[key]} by the movements")


def _lids_moved() -> Counter[object]:
    moved: Counter[object] = Counter()
    for row in LidMovement.objects.order_by().values("lot", "source", "target").annotate(n=Sum("count")):
        moved[row["lot"], row["source"]] -= row["n"]
        moved[row["lot"], row["target"]] += row["n"]
    return moved


def _lids_kept() -> Counter[object]:
    kept: Counter[object] = Counter()
    for stock in LidStock.objects.all():
        kept[stock.lot_id, "bought"] = -stock.bought
        kept[stock.lot_id, "used"] = stock.used
        kept[stock.lot_id, "spoilt"] = stock.spoilt
        kept[stock.lot_id, "on-hand"] = stock.on_hand
    return kept


def _summed(rows: object, key: str, value: str) -> Counter[object]:
    found: Counter[object] = Counter()
    for row in rows.order_by().values(key).annotate(n=Sum(value)):  # type: ignore[attr-defined]
        found[row[key]] = row["n"]
    return found


def _supplies_kept() -> Counter[object]:
    return Counter(dict(SupplyLot.objects.values_list("pk", "count")))
