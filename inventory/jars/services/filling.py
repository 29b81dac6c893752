"""What the log of a batch does to the ledger: empties become full, and full jars come back empty or break.

Called by the services of the batches, in their transaction and after their checks.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from enum import StrEnum
from uuid import UUID

from club.members.models import Kitchen, User
from inventory.jars.models import Balance, Place
from inventory.jars.rules import BOUGHT, EMPTY, FULL
from inventory.jars.rules import BROKEN as BROKEN_ACCOUNT
from inventory.jars.services.common import part_token
from inventory.jars.services.places import kitchen_place, outside_place
from inventory.jars.services.posting import Shelf, count_there, movement_post
from inventory.jars.words import Reason
from recipes.engine.quantities import JAR_SIZES


class Fate(StrEnum):
    """What became of a filled jar, as far as the ledger minds."""

    FULL = "full"
    EMPTIED = "emptied"
    BROKEN = "broken"


def jars_fill(*, by: User, batch_id: int, kitchen: Kitchen, jars: Mapping[str, int], token: UUID, at: datetime) -> None:
    """Empties of the kitchen become full of the lot, size by size from small to large."""
    shelf = Shelf(kitchen_place(kitchen), EMPTY)
    for size in JAR_SIZES:
        if count := jars.get(size, 0):
            part = part_token(token, f"filled {size}")
            _empties_found(by, shelf, size, count, part, at)
            _fill(by, shelf.place, batch_id, size, count, part, at)


def _fill(by: User, place: Place, batch_id: int, size: str, count: int, token: UUID, at: datetime) -> None:
    movement_post(
        by=by,
        size=size,
        count=count,
        source=Shelf(place, EMPTY),
        target=Shelf(place, FULL, batch_id),
        reason=Reason.FILLED,
        token=token,
        at=at,
    )


def _empties_found(by: User, shelf: Shelf, size: str, count: int, token: UUID, at: datetime) -> None:
    """Book the empties that are missing as found in the cupboard.

    A household that keeps no ledger has filled its jars all the same: they stand there. To refuse the log of a
    process because the empties were never counted would lose the record that safety hangs on, for the sake of one
    that only saves an argument. So the jars come in now, marked as not counted before; the sum stays zero and the
    ledger shows how much of it is of that kind.
    """
    short = count - count_there(shelf, size)
    if short > 0:
        movement_post(
            by=by,
            size=size,
            count=short,
            source=Shelf(outside_place(BOUGHT), EMPTY),
            target=shelf,
            reason=Reason.FOUND,
            token=part_token(token, "found"),
            at=at,
        )


def jars_settle(
    *,
    by: User,
    batch_id: int,
    kitchen: Kitchen,
    size: str,
    count: int,
    was: Fate,
    now_is: Fate,
    token: UUID,
    at: datetime,
) -> None:
    """Follow `count` jars of a lot from what they were to what they are now.

    Full jars that somebody moved on meanwhile are settled where they stand. Jars the ledger never knew (logged before
    it was kept) are left out of it: there is nothing to take back.
    """
    if was is now_is:
        return
    home = kitchen_place(kitchen)
    if was is Fate.FULL:
        for place, here in _where_full(home, batch_id, size, count):
            _leave_full(by, place, batch_id, size, here, now_is, part_token(token, f"{place.pk} {size}"), at)
    elif now_is is Fate.FULL:
        _empties_found(by, Shelf(home, EMPTY), size, count, token, at)
        _fill(by, home, batch_id, size, count, token, at)
    else:
        _empties_found(by, Shelf(home, EMPTY), size, count, token, at)
        _break(by, Shelf(home, EMPTY), size, count, token, at)


def _where_full(home: Place, batch_id: int, size: str, count: int) -> list[tuple[Place, int]]:
    """Where that many full jars of the lot stand: in the kitchen first, then elsewhere in the club."""
    rows = Balance.objects.there().filter(batch=batch_id, size=size, state=FULL).select_related("place")
    found: list[tuple[Place, int]] = []
    for row in sorted(rows, key=lambda row: (row.place_id != home.pk, row.place_id)):
        here = min(row.count, count)
        if here:
            found.append((row.place, here))
            count -= here
    return found


def _leave_full(
    by: User, place: Place, batch_id: int, size: str, count: int, now_is: Fate, token: UUID, at: datetime
) -> None:
    if now_is is Fate.BROKEN:
        _break(by, Shelf(place, FULL, batch_id), size, count, token, at)
        return
    movement_post(
        by=by,
        size=size,
        count=count,
        source=Shelf(place, FULL, batch_id),
        target=Shelf(place, EMPTY),
        reason=Reason.EMPTIED,
        token=token,
        at=at,
    )


def _break(by: User, shelf: Shelf, size: str, count: int, token: UUID, at: datetime) -> None:
    movement_post(
        by=by,
        size=size,
        count=count,
        source=shelf,
        target=Shelf(outside_place(BROKEN_ACCOUNT), shelf.state, shelf.batch_id),
        reason=Reason.BROKEN,
        token=token,
        at=at,
    )
