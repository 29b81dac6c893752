"""Lids by lot and supplies: bought, used, spoilt."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.db.models import F, QuerySet, Value
from django.db.models.functions import Lower
from django.utils.translation import gettext as _

from club.core.clock import club_day
from club.core.ledger import correction_check, part_token, write_once
from club.core.text import seen
from club.members.models import Kitchen, User
from inventory.jars.choices import LidAccount, LidReason, SupplyKind, SupplyReason
from inventory.jars.models import (
    KitchenStock,
    LidLot,
    LidMovement,
    LidStock,
    Supply,
    SupplyLot,
    SupplyMovement,
    code_key,
    is_low,
)
from inventory.jars.rules import (
    LID_CODE_LENGTH,
    LID_MAKER_LENGTH,
    SUPPLY_CODE_LENGTH,
    SUPPLY_NAME_LENGTH,
    SUPPLY_UNIT_LENGTH,
    Stock,
    take_in_order,
)
from inventory.jars.services.ledger import (
    NotEnough,
    count_check,
    keeper_check,
    moment_clean,
    note_clean,
)

# Lid lots.


@transaction.atomic
def lid_lot_get_or_add(*, by: User, code: str, maker: str = "") -> LidLot:
    """The lot of that code and maker, added when it is new. Case, dashes and spaces make no other lot.

    ValidationError on `lid_code` or `lid_maker`; PermissionDenied for somebody who may not put up batches.
    """
    if not by.has_perm("batches.add_batch"):
        raise PermissionDenied
    code, maker = " ".join(code.split()), " ".join(maker.split())
    _check(code, maker)
    # By the very function of the unique constraint: the database's "iexact" folds other letters than its LOWER.
    lots = LidLot.objects.coded(code).alias(maker_key=Lower("maker")).filter(maker_key=Lower(Value(maker)))
    found = lots.first()
    if found is not None:
        return found
    try:
        with transaction.atomic():
            return LidLot.objects.create(code=code, maker=maker)
    except IntegrityError:  # somebody else added it between the look and the write
        return lots.get()


def _check(code: str, maker: str) -> None:
    if not code_key(code):
        raise ValidationError(
            {"lid_code": _("Give the lot code printed on the box of lids, or what the club wrote on it.")}
        )
    if len(code) > LID_CODE_LENGTH:
        raise ValidationError({"lid_code": _("A lid lot code has at most %(n)s characters.") % {"n": LID_CODE_LENGTH}})
    if len(maker) > LID_MAKER_LENGTH:
        raise ValidationError(
            {"lid_maker": _("A maker's name has at most %(n)s characters.") % {"n": LID_MAKER_LENGTH}}
        )


# Lids by lot: bought, used, spoilt. Counted with the same care as jars.

COLUMNS = {
    LidAccount.BOUGHT.value: "bought",
    LidAccount.ON_HAND.value: "on_hand",
    LidAccount.USED.value: "used",
    LidAccount.SPOILT.value: "spoilt",
}
# Where lids go from and to, for each reason but a correction.
ENDS: dict[str, tuple[str, str]] = {
    LidReason.BOUGHT: (LidAccount.BOUGHT, LidAccount.ON_HAND),
    LidReason.FOUND: (LidAccount.BOUGHT, LidAccount.ON_HAND),
    LidReason.MISSING: (LidAccount.ON_HAND, LidAccount.BOUGHT),
    LidReason.USED: (LidAccount.ON_HAND, LidAccount.USED),
    LidReason.SPOILT: (LidAccount.ON_HAND, LidAccount.SPOILT),
}
BY_HAND = (LidReason.BOUGHT, LidReason.SPOILT)
SAME = ("lot_id", "count", "source", "target", "reason", "batch_id", "by_id")


@transaction.atomic
def lids_move(
    *, by: User, reason: str, lot: LidLot, count: int, token: UUID, note: str = "", now: datetime | None = None
) -> LidMovement:
    """Lids of the lot come into the club, or are thrown away: bent, rusty or dried out. NotEnough when there are fewer.

    ValueError for a reason that follows from something else that is written down.
    """
    keeper_check(by)
    if reason not in BY_HAND:
        raise ValueError(f"{reason} is not written by hand")
    return lids_post(
        by=by,
        lot=lot,
        count=count,
        ends=ENDS[reason],
        reason=reason,
        token=token,
        at=moment_clean(None, now),
        note=note,
    )


def lids_use(*, by: User, lot: LidLot, count: int, batch_id: int, token: UUID, at: datetime) -> LidMovement:
    """Lids go on the jars of a batch. Called by the services of the batches, in their transaction.

    Where too few were counted the rest is booked as found: see `_empties_found` of the ledger for why.
    """
    there = LidStock.objects.select_for_update().filter(lot=lot).values_list("on_hand", flat=True).first() or 0
    if there < count:
        lids_post(
            by=by,
            lot=lot,
            count=count - there,
            ends=ENDS[LidReason.FOUND],
            reason=LidReason.FOUND,
            token=part_token(token, "lids found"),
            at=at,
        )
    return lids_post(
        by=by,
        lot=lot,
        count=count,
        ends=ENDS[LidReason.USED],
        reason=LidReason.USED,
        token=part_token(token, "lids"),
        at=at,
        batch_id=batch_id,
    )


def lids_unuse(*, by: User, lot: LidLot, count: int, batch_id: int, token: UUID, at: datetime) -> None:
    """Lids that a corrected log takes off the jars of a batch are on hand again. Called as `lids_use` is.

    A batch that was logged before lids were counted is left out.
    """
    written = LidMovement.objects.filter(lot=lot, batch_id=batch_id, corrected_by=None)
    last = written.order_by("-pk").first()
    if last is None:
        return
    source, target = ENDS[LidReason.USED]
    lids_post(
        by=by,
        lot=lot,
        count=count,
        ends=(target, source),
        reason=LidReason.CORRECTED,
        token=token,
        at=at,
        note=_("the log was corrected"),
        batch_id=batch_id,
        corrects=last,
    )


@transaction.atomic
def lids_correct(
    *, by: User, movement: LidMovement, count: int, token: UUID, note: str = "", now: datetime | None = None
) -> LidMovement:
    """The movement should have been of `count` lids; a new movement mends it. Once for each movement."""
    keeper_check(by)
    count_check(count, least=0)
    correction_check(movement, token, count=count, written=movement.count)
    ends = (movement.source, movement.target)
    return lids_post(
        by=by,
        lot=movement.lot,
        count=abs(count - movement.count),
        ends=ends if count > movement.count else ends[::-1],
        reason=LidReason.CORRECTED,
        token=token,
        at=moment_clean(None, now),
        note=note,
        corrects=movement,
    )


def lids_post(
    *,
    by: User,
    lot: LidLot,
    count: int,
    ends: tuple[str, str],
    reason: str,
    token: UUID,
    at: datetime,
    note: str = "",
    batch_id: int | None = None,
    corrects: LidMovement | None = None,
) -> LidMovement:
    """Write the movement and the lot's counts with it, by one conditional update. Call inside a transaction."""
    if not by.has_perm("batches.add_batch"):
        raise PermissionDenied
    count_check(count)
    source, target = ends
    movement, is_new = write_once(
        LidMovement(
            by=by,
            lot=lot,
            count=count,
            source=source,
            target=target,
            reason=reason,
            token=token,
            at=at,
            note=note_clean(note),
            batch_id=batch_id,
            corrects=corrects,
        ),
        same=SAME,
    )
    if is_new:
        _follow(lot, count, COLUMNS[source], COLUMNS[target])
    return movement


def _follow(lot: LidLot, count: int, source: str, target: str) -> None:
    LidStock.objects.get_or_create(lot=lot)
    # "Bought" counts upwards where the others count down: it is the whole of which they are the parts.
    changes = {source: count if source == "bought" else -count, target: -count if target == "bought" else count}
    enough = {f"{name}__gte": -change for name, change in changes.items() if change < 0}
    rows = LidStock.objects.filter(lot=lot, **enough)
    if rows.update(**{name: F(name) + change for name, change in changes.items()}) != 1:
        there = LidStock.objects.filter(lot=lot).values_list("on_hand", flat=True).get()
        text = _("There are %(there)s lids of this lot on hand, not %(wanted)s.")
        raise NotEnough(text % {"there": there, "wanted": count}, there=there)


# Supplies: bought, used (earliest use-by first), spoilt. The count and the movement together or not at all.


@transaction.atomic
def supply_add(
    *, by: User, name: str, unit: str, low_level: int = 0, kind: str = SupplyKind.OTHER, is_kept: bool = True
) -> Supply:
    """A kind of supply, or the one there is of that name. ValidationError by field; on `kind` where the one that the
    club would keep is known as something else. A `kind` of "other" says nothing against what is known.

    Not `is_kept`: only a household has it; whoever may put up batches may name it. The club may keep it later.
    """
    if is_kept:
        keeper_check(by)
    elif not by.has_perm("batches.add_batch"):
        raise PermissionDenied
    name, unit = seen(name), seen(unit)
    if not name or len(name) > SUPPLY_NAME_LENGTH:
        raise ValidationError({"name": _("Give it a name of at most %(n)s characters.") % {"n": SUPPLY_NAME_LENGTH}})
    if not unit or len(unit) > SUPPLY_UNIT_LENGTH:
        raise ValidationError(
            {"unit": _("Say what it is counted in, in at most %(n)s characters.") % {"n": SUPPLY_UNIT_LENGTH}}
        )
    count_check(low_level, least=0, field="low_level")
    if kind not in SupplyKind.values:
        raise ValidationError({"kind": _("Choose what it is.")})
    if is_kept:
        _kind_check(name, kind)
        Supply.objects.filter(name__iexact=name, is_kept=False).update(is_kept=True, unit=unit, low_level=low_level)
    known = Supply.objects.filter(name__iexact=name).first()
    if known is not None:
        return known
    fields = {"unit": unit, "low_level": low_level, "kind": kind, "is_kept": is_kept}
    try:
        with transaction.atomic():
            return Supply.objects.create(name=name, **fields)
    except IntegrityError:  # somebody else added it between the look and the write
        return Supply.objects.get(name__iexact=name)


def _kind_check(name: str, kind: str) -> None:
    """What a bottle must say, such as its strength, hangs on the kind: what was answered is never dropped unseen."""
    other = Supply.objects.filter(name__iexact=name).exclude(kind=kind).first()
    if other is not None and kind != SupplyKind.OTHER:
        text = _("“%(name)s” is noted here as %(kind)s. Give this one another name.")
        raise ValidationError({"kind": text % {"name": other.name, "kind": other.get_kind_display()}})


@transaction.atomic
def supply_buy(
    *,
    by: User,
    supply: Supply,
    count: int,
    token: UUID,
    use_by: date | None = None,
    strength_tenths: int | None = None,
    code: str = "",
    note: str = "",
    reason: str = SupplyReason.BOUGHT,
    now: datetime | None = None,
) -> SupplyMovement:
    """So many come in: into the lot of that code, or without one of the same use-by and strength; or into a new lot.

    A vinegar must say its strength.
    """
    keeper_check(by)
    return supply_take_in(
        by=by,
        supply=supply,
        count=count,
        token=token,
        at=moment_clean(None, now),
        use_by=use_by,
        strength_tenths=strength_tenths,
        code=code,
        note=note,
        reason=reason,
    )


def supply_take_in(
    *,
    by: User,
    supply: Supply,
    count: int,
    token: UUID,
    at: datetime,
    use_by: date | None = None,
    strength_tenths: int | None = None,
    code: str = "",
    note: str = "",
    reason: str = SupplyReason.BOUGHT,
) -> SupplyMovement:
    """As `supply_buy`, for services that have asked already who may. Call inside a transaction."""
    count_check(count)
    before = SupplyMovement.objects.filter(token=token).select_related("lot").first()
    lot = before.lot if before else supply_lot_get_or_add(supply, code, use_by, strength_tenths)
    return supply_post(by, lot, count, reason, token, at, note)


def supply_lot_get_or_add(supply: Supply, code: str, use_by: date | None, strength_tenths: int | None) -> SupplyLot:
    """The lot of that code, or without a code that of the same use-by and strength. Call inside a transaction.

    One code is one lot: ValidationError on `use_by` or `strength` where it was noted with another; a use-by that is
    left out is the one that was noted.
    """
    code = " ".join(code.split())
    if len(code) > SUPPLY_CODE_LENGTH or (code and not code_key(code)):
        text = _("Give the code as it is printed, in at most %(n)s characters, or leave it empty.")
        raise ValidationError({"code": text % {"n": SUPPLY_CODE_LENGTH}})
    strength_check(supply, strength_tenths)
    if not code:
        kind: dict[str, Any] = {"code": "", "use_by": use_by, "strength_tenths": strength_tenths}
        return supply.lots.filter(**kind).order_by("pk").first() or SupplyLot.objects.create(supply=supply, **kind)
    coded = SupplyLot.objects.coded(code).filter(supply=supply).select_related("supply")
    lot = coded.first()
    if lot is None:
        fields = {"code": code, "use_by": use_by, "strength_tenths": strength_tenths}
        try:
            with transaction.atomic():
                return SupplyLot.objects.create(supply=supply, **fields)
        except IntegrityError:  # somebody else added it between the look and the write
            lot = coded.get()
    if use_by is not None and use_by != lot.use_by:
        text = _("Lot %(code)s was noted before, with %(day)s as its use-by. Look at the label again.")
        raise ValidationError({"use_by": text % {"code": lot.code, "day": lot.use_by or _("no date")}})
    if strength_tenths != lot.strength_tenths:
        text = _("Lot %(code)s was noted before, with %(strength)s %%. Look at the label again.")
        raise ValidationError({"strength": text % {"code": lot.code, "strength": lot.strength_text}})
    return lot


def strength_check(supply: Supply, strength_tenths: int | None) -> None:
    """ValidationError on `strength`: a vinegar says it, and nothing else does."""
    if supply.is_vinegar and strength_tenths is None:
        raise ValidationError({"strength": _("Give the strength on the label, such as 5 %: unknown is not used.")})
    if not supply.is_vinegar and strength_tenths is not None:
        raise ValidationError({"strength": _("Only a vinegar has a strength here.")})
    if strength_tenths is not None and not 0 < strength_tenths <= 1000:
        raise ValidationError({"strength": _("A strength is more than 0 and at most 100 %.")})


def supply_use_in_batch(
    *, by: User, lot: SupplyLot, count: int, kitchen: Kitchen | None, batch_id: int, token: UUID, at: datetime
) -> None:
    """So many of a lot were used up by a batch, from the shelf of `kitchen`, or of the club where it is None.

    Called by the services of the batches, in their transaction. Where too few were counted the rest is booked as
    found, as with lids and jars.
    """
    if kitchen is None:
        there = SupplyLot.objects.select_for_update().values_list("count", flat=True).get(pk=lot.pk)
    else:
        stocks = KitchenStock.objects.select_for_update().filter(lot=lot, kitchen=kitchen)
        there = stocks.values_list("count", flat=True).first() or 0
    if there < count:
        reason, found = SupplyReason.FOUND, part_token(token, "found")
        supply_post(by, lot, count - there, reason, found, at, "", kitchen=kitchen)
    if count:
        reason, used = SupplyReason.USED, part_token(token, "used")
        supply_post(by, lot, -count, reason, used, at, "", kitchen=kitchen, batch_id=batch_id)


def supply_unuse_in_batch(*, by: User, lot: SupplyLot, batch_id: int, token: UUID, at: datetime) -> None:
    """What a batch was said to have used up, under the token of that note, goes back: it was another lot."""
    used = SupplyMovement.objects.filter(token=part_token(token, "used"), lot=lot, batch=batch_id).first()
    if used is not None:
        supply_post(
            by,
            lot,
            -used.change,
            SupplyReason.CORRECTED,
            part_token(token, "taken back"),
            at,
            "",
            corrects=used,
            kitchen=used.kitchen,
        )


def supply_bring_home(
    *, by: User, kitchen: Kitchen, lot: SupplyLot, count: int, token: UUID, at: datetime
) -> SupplyMovement:
    """So many of a lot stand in a household's own kitchen, and were not counted before. Call inside a transaction."""
    if not Kitchen.objects.usable_by(by).filter(pk=kitchen.pk).exists():
        raise PermissionDenied
    count_check(count)
    return supply_post(by, lot, count, SupplyReason.FOUND, token, at, "", kitchen=kitchen)


@transaction.atomic
def supply_use(
    *, by: User, supply: Supply, count: int, token: UUID, note: str = "", now: datetime | None = None
) -> list[SupplyMovement]:
    """Take `count`, the earliest use-by first; nothing weak, past its date or called back.

    NotEnough when there is less than that.
    """
    keeper_check(by)
    count_check(count)
    at = moment_clean(None, now)
    if before := _used_before(by, supply, token):
        return before
    sound = supply.lots.sound().select_for_update(of=("self",))  # the lots alone, not the supply that they are of
    lots = {lot.pk: lot for lot in sound.filter(count__gt=0).order_by("pk")}
    stocks = [Stock(lot.pk, lot.count, lot.use_by) for lot in lots.values()]
    taken = take_in_order(stocks, count, today=club_day(at))
    if taken is None:
        there = sum(lot.count for lot in lots.values() if lot.use_by is None or lot.use_by >= club_day(at))
        text = _("There are %(there)s that can be used, not %(wanted)s.")
        raise NotEnough(text % {"there": there, "wanted": count}, there=there)
    return [
        supply_post(by, lots[pk], -here, SupplyReason.USED, part_token(token, f"use {number}"), at, note)
        for number, (pk, here) in enumerate(taken)
    ]


def _used_before(by: User, supply: Supply, token: UUID) -> list[SupplyMovement]:
    """What this form took the first time it was sent: one movement for each lot it came from."""
    tokens = [part_token(token, f"use {number}") for number in range(supply.lots.count())]
    return list(SupplyMovement.objects.filter(token__in=tokens, by=by).order_by("pk"))


@transaction.atomic
def supply_spoil(
    *, by: User, lot: SupplyLot, count: int, token: UUID, note: str = "", now: datetime | None = None
) -> SupplyMovement:
    """Thrown away: spoilt, or past its date."""
    keeper_check(by)
    count_check(count)
    return supply_post(by, lot, -count, SupplyReason.SPOILT, token, moment_clean(None, now), note)


@transaction.atomic
def supply_correct(
    *, by: User, movement: SupplyMovement, count: int, token: UUID, note: str = "", now: datetime | None = None
) -> SupplyMovement:
    """The movement should have been of `count`; a new movement mends it. Once for each movement."""
    keeper_check(by)
    count_check(count, least=0)
    correction_check(movement, token, count=count, written=abs(movement.change))
    change, at = (count if movement.change > 0 else -count) - movement.change, moment_clean(None, now)
    reason, kitchen = SupplyReason.CORRECTED, movement.kitchen
    return supply_post(by, movement.lot, change, reason, token, at, note, corrects=movement, kitchen=kitchen)


def supply_post(
    by: User,
    lot: SupplyLot,
    change: int,
    reason: str,
    token: UUID,
    at: datetime,
    note: str,
    corrects: SupplyMovement | None = None,
    kitchen: Kitchen | None = None,
    batch_id: int | None = None,
) -> SupplyMovement:
    """Write the movement and the count with it: of the club's store, or of a kitchen's own shelf."""
    movement, is_new = write_once(
        SupplyMovement(
            by=by,
            lot=lot,
            change=change,
            reason=reason,
            token=token,
            at=at,
            note=note_clean(note),
            corrects=corrects,
            kitchen=kitchen,
            batch_id=batch_id,
        ),
        same=("by_id", "lot_id", "change", "reason", "kitchen_id", "batch_id"),
    )
    if is_new:
        _count_follows(lot, change, kitchen)
        if kitchen is None:
            supply_mark_low(lot.supply, now=at)
    return movement


def _count_follows(lot: SupplyLot, change: int, kitchen: Kitchen | None) -> None:
    if kitchen is None:
        rows: QuerySet[Any] = SupplyLot.objects.filter(pk=lot.pk)
    else:
        KitchenStock.objects.get_or_create(lot=lot, kitchen=kitchen)
        rows = KitchenStock.objects.filter(lot=lot, kitchen=kitchen)
    if rows.filter(count__gte=-change).update(count=F("count") + change) != 1:
        there = rows.values_list("count", flat=True).get()
        text = _("There are %(there)s of these, not %(wanted)s.")
        raise NotEnough(text % {"there": there, "wanted": -change}, there=there)


def supply_mark_low(supply: Supply, *, now: datetime) -> None:
    """Note since when there is too little, or that there is enough again. What is past its date does not count.

    Nothing runs low that the club does not keep.
    """
    if not supply.is_kept:
        return
    counted = Supply.objects.with_counts(club_day(now)).get(pk=supply.pk)
    rows = Supply.objects.filter(pk=supply.pk)
    if is_low(counted):
        rows.filter(low_since=None).update(low_since=now)
    else:
        rows.exclude(low_since=None).update(low_since=None)
