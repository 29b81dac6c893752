"""What may move where, and for what reason. Pure: plain values in, plain values out."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

BOUGHT, GIVEN_AWAY, BROKEN = "bought", "given-away", "broken"
KITCHEN, MEMBER, STORE = "kitchen", "member", "store"
INSIDE = frozenset({KITCHEN, MEMBER, STORE})
EMPTY, FULL, CHIPPED = "empty", "full", "chipped"
ANY_STATE = (EMPTY, FULL, CHIPPED)

# How long a text may be.
LID_CODE_LENGTH = 60
LID_MAKER_LENGTH = 80
SUPPLY_NAME_LENGTH = 80
SUPPLY_UNIT_LENGTH = 30
SUPPLY_CODE_LENGTH = 60
ORDER_TEXT_LENGTH = 120  # its title and supplier, and the name of a line
ORDER_UNIT_LENGTH = 40
ORDER_NOTE_LENGTH = 400

# A slip of the pen, not a rule: nobody carries more jars at once.
MOST_AT_ONCE = 9_999
# A vinegar below this is not fit for a tested pickle; see the engine's rule VINEGAR-MIN. In tenths of a percent.
WEAKEST_VINEGAR_TENTHS = 50


@dataclass(frozen=True)
class Shape:
    """Between which kinds of place a reason moves jars, in which states it finds them and in which it leaves them.

    `leaves` None: as they were. `stays`: the jars do not leave their place.
    """

    sources: frozenset[str]
    targets: frozenset[str]
    finds: tuple[str, ...]
    leaves: str | None = None
    stays: bool = False


# A count as somebody says it at the shelf.
DOZEN = 12
_COUNTED = re.compile(r"([0-9]{1,4})\s*(?:(dozen|doz|dz)\.?|[x×]\s*([0-9]{1,4}))?", re.IGNORECASE)


def count_typed(text: str) -> int | None:
    """Jars of "120", "10 dozen", "3 x 12" or "2 dozen + 5"; None of anything else."""
    total = 0
    for part in text.split("+"):
        found = _COUNTED.fullmatch(part.strip())
        if found is None:
            return None
        times = DOZEN if found[2] else int(found[3]) if found[3] else 1
        total += int(found[1]) * times
    return total


SHAPES: dict[str, Shape] = {
    "bought": Shape(frozenset({BOUGHT}), INSIDE, (EMPTY,)),
    # Jars that were there all along: they enter by the same account as bought ones, under a name of their own.
    "found": Shape(frozenset({BOUGHT}), INSIDE, ANY_STATE),
    "lent": Shape(frozenset({STORE, KITCHEN}), frozenset({MEMBER}), (EMPTY, FULL)),
    "filled": Shape(INSIDE, INSIDE, (EMPTY,), leaves=FULL, stays=True),
    "given": Shape(INSIDE, frozenset({GIVEN_AWAY}), ANY_STATE),
    "returned": Shape(frozenset({MEMBER}), frozenset({STORE, KITCHEN}), (EMPTY, FULL), leaves=EMPTY),
    "emptied": Shape(INSIDE, INSIDE, (FULL,), leaves=EMPTY, stays=True),
    "broken": Shape(INSIDE, frozenset({BROKEN}), ANY_STATE),
    "chipped": Shape(INSIDE, INSIDE, (EMPTY, FULL), leaves=CHIPPED, stays=True),
    "moved": Shape(INSIDE, INSIDE, ANY_STATE),
    # Fewer than booked, and nobody knows why: back out by the account that uncounted jars come in by.
    "missing": Shape(INSIDE, frozenset({BOUGHT}), ANY_STATE),
}


def shape_fits(reason: str, *, source: str, target: str, found: str, left: str, is_same_place: bool) -> bool:
    """Whether jars may move so for this reason. `source` and `target` are kinds of place, the others states."""
    shape = SHAPES.get(reason)
    if shape is None:
        return False
    if source not in shape.sources or target not in shape.targets or found not in shape.finds:
        return False
    return left == (shape.leaves or found) and is_same_place == shape.stays


def cents_back(*, cents: int, jars: int, returned: int) -> int:
    """Of a deposit of `cents` for `jars` jars, what goes back for `returned` of them; all of it with the last jar."""
    if returned >= jars:
        return cents
    return cents * returned // jars


@dataclass(frozen=True)
class Stock:
    """One lot of a supply: how many, and until when (None: it does not spoil)."""

    key: int
    count: int
    use_by: date | None


def use_first(stocks: Iterable[Stock]) -> list[Stock]:
    """What is there, in the order of use: the earliest use-by first, what does not spoil last."""
    there = (stock for stock in stocks if stock.count > 0)
    return sorted(there, key=lambda stock: (stock.use_by is None, stock.use_by or date.max, stock.key))


def take_in_order(stocks: Iterable[Stock], count: int, *, today: date) -> list[tuple[int, int]] | None:
    """(lot, how many) to take `count`, nothing past its use-by; None where there is not enough."""
    taken, left = [], count
    for stock in use_first(stocks):
        if left == 0:
            break
        if is_past(stock.use_by, today):
            continue
        here = min(stock.count, left)
        taken.append((stock.key, here))
        left -= here
    return taken if left == 0 else None


def is_past(use_by: date | None, today: date) -> bool:
    """The day named is still a day of use."""
    return use_by is not None and use_by < today
