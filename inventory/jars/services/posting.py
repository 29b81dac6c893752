"""The one way a movement gets into the ledger: the movement and both balances, together or not at all."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from django.utils.translation import gettext as _

from club.members.models import User
from inventory.jars.models import Balance, Movement, Place
from inventory.jars.queries import BalanceQuerySet
from inventory.jars.services.common import NotEnough, write_once
from inventory.jars.words import JarState
from recipes.words import JARS

SAME = ("by_id", "size", "count", "source_id", "source_state", "target_id", "target_state", "batch_id", "reason")


@dataclass(frozen=True)
class Shelf:
    """A place, and the state the jars are in there; `batch_id` is the lot, and set for full jars only."""

    place: Place
    state: str
    batch_id: int | None = None


def rows_of(shelf: Shelf, size: str) -> BalanceQuerySet:
    return Balance.objects.filter(place=shelf.place, size=size, state=shelf.state, batch=shelf.batch_id)


def count_there(shelf: Shelf, size: str) -> int:
    """How many stand there now. Locked for the transaction where the database can (PostgreSQL); on SQLite a
    transaction that writes holds the only write lock from its first statement. Nothing hangs on the lock but
    comfort: the conditional update of `_change` and the database's own rule refuse what would go below zero.
    """
    row = rows_of(shelf, size).select_for_update().values_list("count", flat=True).first()
    return row or 0


def movement_post(
    *,
    by: User,
    size: str,
    count: int,
    source: Shelf,
    target: Shelf,
    reason: str,
    token: UUID,
    at: datetime,
    note: str = "",
    corrects: Movement | None = None,
) -> Movement:
    """Write one movement and move both balances with it. Call inside a transaction that is given up on an error.

    1. The movement's row goes first: its unique token makes a twin wait, and then find what was written.
    2. What is taken is taken by one conditional update (`count >= wanted` in its WHERE): of any number of takers
       no more succeed than there are jars. NotEnough for the others.
    3. Inside places are changed before outside ones, then by key: two movements that meet on the same two rows
       take them in the same order, so neither waits for the other for ever.
    """
    lots = {shelf.batch_id for shelf in (source, target)} - {None}
    movement, is_new = write_once(
        Movement(
            by=by,
            size=size,
            count=count,
            source=source.place,
            source_state=source.state,
            target=target.place,
            target_state=target.state,
            batch_id=lots.pop() if lots else None,
            reason=reason,
            token=token,
            at=at,
            note=note,
            corrects=corrects,
        ),
        same=SAME,
    )
    if is_new:
        for shelf, change in sorted(((source, -count), (target, count)), key=_order):
            _change(shelf, size, change)
    return movement


def _order(leg: tuple[Shelf, int]) -> tuple[bool, int, str]:
    shelf, _change = leg
    return (not shelf.place.is_inside, shelf.place.pk, shelf.state)


def _change(shelf: Shelf, size: str, change: int) -> None:
    takes = change < 0 and shelf.place.is_inside
    if _add(shelf, size, change, takes=takes):
        return
    if takes:
        raise _not_enough(shelf, size, wanted=-change)
    try:
        with transaction.atomic():
            Balance.objects.create(
                place=shelf.place,
                is_inside=shelf.place.is_inside,
                size=size,
                state=shelf.state,
                batch_id=shelf.batch_id,
                count=change,
            )
    except IntegrityError:  # somebody else began the row between the look and the write
        if not _add(shelf, size, change, takes=False):
            raise


def _add(shelf: Shelf, size: str, change: int, *, takes: bool) -> bool:
    """One conditional UPDATE; False when there is no such row, or too few in it.

    Written out, as building the two of a movement in Python took half of its time (tests/benchmarks/bench_ledger).
    """
    lot = "batch_id IS NULL" if shelf.batch_id is None else "batch_id = %s"
    enough = " AND count >= %s" if takes else ""
    values: list[int | str] = [change, shelf.place.pk, size, shelf.state]
    values += [] if shelf.batch_id is None else [shelf.batch_id]
    values += [-change] if takes else []
    where = f"place_id = %s AND size = %s AND state = %s AND {lot}{enough}"
    with connection.cursor() as cursor:
        cursor.execute(f"UPDATE jars_balance SET count = count + %s WHERE {where}", values)
        changed: int = cursor.rowcount
    return changed == 1


def _not_enough(shelf: Shelf, size: str, *, wanted: int) -> NotEnough:
    there = rows_of(shelf, size).values_list("count", flat=True).first() or 0
    text = _("There are %(there)s of these in %(place)s (%(size)s, %(state)s), not %(wanted)s.")
    said = {
        "there": there,
        "place": shelf.place,
        "size": JARS.get(size, size),
        "state": JarState(shelf.state).label,
        "wanted": wanted,
    }
    return NotEnough(text % said, there=there)


def size_check(size: str) -> None:
    if size not in JARS:
        raise ValidationError({"size": _("%(size)s is no jar size known here.") % {"size": size}})
