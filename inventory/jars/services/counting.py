"""A file of counts as a plan: what each row says is there, against what is booked. Reads only.

A row says how many there are of something; the difference to the books is what would be written. So a file taken in
twice writes nothing the second time, even apart from the digest that tells it is the same file.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import TypeVar
from uuid import UUID, uuid5

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from club.core.tables import Problem, Row, TableRefused, read_table
from club.members.models import Kitchen, User
from inventory.jars.choices import LidReason, PlaceKind, Reason, SupplyReason
from inventory.jars.models import Balance, CountTaken, LidLot, LidStock, Place, Supply, SupplyLot, code_key
from inventory.jars.rules import ANY_STATE, BOUGHT, EMPTY, FULL, MOST_AT_ONCE
from inventory.jars.services.ledger import (
    Shelf,
    keeper_check,
    movement_post,
    outside_place,
    place_of_key,
)
from inventory.jars.services.stock import ENDS, lids_post, supply_buy, supply_post
from recipes.engine.quantities import JAR_SIZES

NEEDED = ("what", "count")
COLUMNS = ("what", "place no", "place", "size", "state", "lot", "maker", "item", "use by", "strength", "count")
READ = frozenset(COLUMNS)
MOST_BYTES = 2_000_000
JARS, LIDS, SUPPLY = "jars", "lids", "supply"
STORE_NAMES = ("club store", "store")
Key = TypeVar("Key")
Found = TypeVar("Found")


@dataclass(frozen=True)
class Target:
    """Whose jars: a place that is in the ledger, or a kitchen, a person or the store that may not be yet."""

    kind: str
    key: int  # of the kitchen or person; 0 for the store
    name: str


@dataclass(frozen=True)
class Change:
    """One row's difference. `jars`, `lid_lot` and `supply` say of what; one of them is set."""

    row: int
    label: str
    was: int
    count: int
    jars: tuple[Target, str, str, int | None] | None = None  # place, size, state, lot
    lid_lot: int | None = None
    supply: tuple[int, date | None, int | None] | None = None  # supply, use-by, strength in tenths of a percent

    @property
    def difference(self) -> int:
        return self.count - self.was


@dataclass
class CountPlan:
    file: str
    digest: str
    rows: int = 0
    table: list[Row] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)
    passed_over: list[str] = field(default_factory=list)  # headings that mean nothing here
    problems: list[Problem] = field(default_factory=list)
    taken: CountTaken | None = None  # the same file was taken in before

    @property
    def ok(self) -> bool:
        return not self.problems


class _RowProblem(Exception):
    def __init__(self, column: str, message: str) -> None:
        super().__init__(message)
        self.column, self.message = column, message


def count_plan(name: str, content: bytes) -> CountPlan:
    """Read the file and compare it with the books. Problems name file, row and column; then nothing is to be done."""
    digest = hashlib.sha256(content).hexdigest()
    try:
        rows = read_table(content, name, needed=NEEDED, space=" ", most_bytes=MOST_BYTES)
    except TableRefused as refused:
        return CountPlan(file=name, digest=digest, problems=[Problem(name, 1, "", str(refused))])
    return rows_plan(name, digest, rows)


def rows_plan(name: str, digest: str, rows: list[Row]) -> CountPlan:
    """As `count_plan`, of rows that were read before."""
    plan = CountPlan(file=name, digest=digest, rows=len(rows), table=rows)
    plan.taken = CountTaken.objects.filter(digest=plan.digest).select_related("by").first()
    plan.passed_over = [head for head in dict.fromkeys(head for row in rows for head in row.cells) if head not in READ]
    books = _Books(rows)
    seen: dict[object, int] = {}
    for row in rows:
        try:
            change = _change_of(row, books)
            key = (change.jars, change.lid_lot, change.supply)
            if key in seen:
                raise _RowProblem("what", _("This row counts the same as row %(n)s.") % {"n": seen[key]})
            seen[key] = row.number
        except _RowProblem as problem:
            plan.problems.append(Problem(name, row.number, problem.column, problem.message))
        else:
            if change.difference:
                plan.changes.append(change)
    return plan


class _Books:
    """Everything the rows may name, read in a handful of queries."""

    def __init__(self, rows: Sequence[Row]) -> None:
        self.targets: defaultdict[str, list[Target]] = defaultdict(list)
        self.by_number: dict[str, Target] = {}
        self._read_places()
        self.balances = {
            (_target(row.place), row.size, row.state, row.batch_id): row.count
            for row in Balance.objects.there().select_related("place__kitchen", "place__person")
        }
        # Where a file without the column of states, or of dates, may mean more than what has none.
        self.other_states = {(place, size) for place, size, state, _lot in self.balances if state != EMPTY}
        codes = {row.get("lot") for row in rows}
        lots = Balance.objects.filter(state=FULL, batch__lot_code__in=codes).values_list("batch__lot_code", "batch")
        self.lots: dict[str, int] = dict(lots.distinct().order_by())
        keys = {code_key(code) for code in codes}
        self.lid_lots = {(lot.code_key, lot.maker.lower()): lot.pk for lot in LidLot.objects.filter(code_key__in=keys)}
        self.lids = dict(LidStock.objects.filter(lot__in=self.lid_lots.values()).values_list("lot", "on_hand"))
        self.supplies = {supply.name.lower(): supply for supply in Supply.objects.kept()}
        self.stocks: defaultdict[tuple[int, date | None, int | None], int] = defaultdict(int)
        for lot in SupplyLot.objects.there():
            self.stocks[lot.supply_id, lot.use_by, lot.strength_tenths] += lot.count
        self.dated = {supply for supply, use_by, _strength in self.stocks if use_by}

    def _read_places(self) -> None:
        store = Target(PlaceKind.STORE, 0, STORE_NAMES[0])
        for name in STORE_NAMES:
            self.targets[name].append(store)
        for pk, name in Kitchen.objects.values_list("pk", "name"):
            self.targets[name.lower()].append(Target(PlaceKind.KITCHEN, pk, name))
        for pk, name, email in User.objects.values_list("pk", "name", "email"):
            for word in {name.lower(), email.lower()} - {""}:
                self.targets[word].append(Target(PlaceKind.MEMBER, pk, name))
        for place in Place.objects.inside().select_related("kitchen", "person"):
            self.by_number[str(place.pk)] = _target(place)


def _target(place: Place) -> Target:
    if place.kitchen is not None:
        return Target(PlaceKind.KITCHEN, place.kitchen.pk, place.kitchen.name)
    if place.person is not None:
        return Target(PlaceKind.MEMBER, place.person.pk, place.person.name)
    return Target(PlaceKind.STORE, 0, STORE_NAMES[0])


def _change_of(row: Row, books: _Books) -> Change:
    readers: dict[str, Callable[[Row, _Books, int], Change]] = {JARS: _jars, LIDS: _lids, SUPPLY: _supply}
    reader = readers.get(row.get("what").lower())
    if reader is None:
        raise _RowProblem("what", _("Write jars, lids or supply."))
    return reader(row, books, _number(row))


def _number(row: Row) -> int:
    text = row.get("count")
    if not (text.isascii() and text.isdecimal()) or int(text[:9]) > MOST_AT_ONCE:
        raise _RowProblem("count", _("Write a whole number from 0 to %(n)s.") % {"n": MOST_AT_ONCE})
    return int(text)


def _jars(row: Row, books: _Books, count: int) -> Change:
    place = _place(row, books)
    size, state = row.get("size").lower(), row.get("state").lower() or EMPTY
    if size not in JAR_SIZES:
        raise _RowProblem("size", _("Write one of: %(sizes)s.") % {"sizes": ", ".join(JAR_SIZES)})
    if state not in ANY_STATE:
        raise _RowProblem("state", _("Write one of: %(states)s.") % {"states": ", ".join(ANY_STATE)})
    if "state" not in row.cells and (place, size) in books.other_states:
        raise _RowProblem("state", _("There are full or chipped ones too. Say in this column which were counted."))
    lot = _lot(row, books) if state == FULL else None
    key = (place, size, state, lot)
    label = f"{place.name}: {size}, {state} {row.get('lot') if lot else ''}".strip()
    return Change(row.number, label, books.balances.get(key, 0), count, jars=key)


def _place(row: Row, books: _Books) -> Target:
    if number := row.get("place no"):
        return _known(books.by_number, number, "place no", _("There is no place of that number."))
    if not row.get("place"):
        raise _RowProblem("place", _("Say where: a kitchen, a member, or “club store”."))
    found = books.targets.get(row.get("place").lower(), [])
    if not found:
        raise _RowProblem("place", _("No kitchen or member is called so. For the store write “club store”."))
    if len(set(found)) > 1:
        raise _RowProblem("place", _("Several are called so. Give the member's email, or the place no of an export."))
    return found[0]


def _lot(row: Row, books: _Books) -> int:
    if not row.get("lot"):
        raise _RowProblem("lot", _("Full jars are counted by lot: give the lot code on the label."))
    return _known(books.lots, row.get("lot"), "lot", _("The ledger knows no jars of that lot."))


def _lids(row: Row, books: _Books, count: int) -> Change:
    key = (code_key(row.get("lot")), row.get("maker").lower())
    lot = _known(books.lid_lots, key, "lot", _("There is no lid lot of that code and maker. Add it first."))
    return Change(
        row.number, f"{row.get('lot')} {row.get('maker')}".strip(), books.lids.get(lot, 0), count, lid_lot=lot
    )


def _supply(row: Row, books: _Books, count: int) -> Change:
    supply = _known(
        books.supplies, row.get("item").lower(), "item", _("There is no supply of that name. Add it first.")
    )
    if "use by" not in row.cells and supply.pk in books.dated:
        raise _RowProblem(
            "use by", _("Some of it has a date. Say in this column of which date it is, or leave it empty.")
        )
    key = (supply.pk, _date(row), _tenths(row, supply))
    return Change(row.number, f"{supply.name} {row.get('use by')}".strip(), books.stocks[key], count, supply=key)


def _date(row: Row) -> date | None:
    text = row.get("use by")
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        raise _RowProblem("use by", _("Write the date as 2027-03-31.")) from None


def _tenths(row: Row, supply: Supply) -> int | None:
    text = row.get("strength").removesuffix("%").strip().replace(",", ".")
    if not supply.is_vinegar:
        if text:
            raise _RowProblem("strength", _("Only a vinegar has a strength here."))
        return None
    whole, _point, tenth = text.partition(".")
    if not (whole.isdecimal() and len(whole) < 4 and (tenth or "0").isdecimal() and len(tenth) < 2):
        raise _RowProblem("strength", _("Give the strength on the label in percent, such as 5 or 5.5."))
    return int(whole) * 10 + int(tenth or 0)


def _known(known: dict[Key, Found], key: Key, column: str, message: str) -> Found:
    found = known.get(key)
    if found is None:
        raise _RowProblem(column, message)
    return found


# Taking a file of counts in: tried first, then written whole or not at all, and never twice.

# Under which every row's token is made from the file's own digest.
SPACE = UUID("6f1f0c1e-6a0f-4f0e-9d1c-3f4b6a3f5a10")
NAME_LENGTH = 200


def counts_try(*, by: User, name: str, content: bytes) -> CountPlan:
    """The dry run: what the file would change, or what is wrong with which row. Writes nothing."""
    keeper_check(by)
    return count_plan(name, content)


@transaction.atomic
def counts_take(*, by: User, name: str, content: bytes, now: datetime | None = None) -> CountTaken:
    """Write what the file changes. ValidationError when a row is wrong, and then nothing is written at all.

    The same file again gives what was noted the first time and changes nothing, whoever sends it.
    """
    keeper_check(by)
    return _taken(by, count_plan(name, content), now)


@transaction.atomic
def counts_take_checked(
    *, by: User, name: str, digest: str, rows: list[Row], now: datetime | None = None
) -> CountTaken:
    """As `counts_take`, of the rows that were looked over: they are compared with the books anew."""
    keeper_check(by)
    return _taken(by, rows_plan(name, digest, rows), now)


def _taken(by: User, plan: CountPlan, now: datetime | None) -> CountTaken:
    if plan.taken is not None:
        return plan.taken
    if not plan.ok:
        raise ValidationError(_("The file has %(n)s problems; nothing was written.") % {"n": len(plan.problems)})
    now = now or timezone.now()
    try:
        with transaction.atomic():
            taken = CountTaken.objects.create(
                digest=plan.digest,
                name=plan.file[-NAME_LENGTH:],
                rows=plan.rows,
                changes=len(plan.changes),
                by=by,
                at=now,
            )
    except IntegrityError:  # the same file was sent from somewhere else at this moment
        return CountTaken.objects.get(digest=plan.digest)
    # By size, then place: two files taken in at once meet the rows in one order.
    for change in sorted(plan.changes, key=lambda change: (change.jars[1] if change.jars else "", change.row)):
        _write(by, change, uuid5(SPACE, f"{plan.digest} {change.row}"), now)
    return taken


def _write(by: User, change: Change, token: UUID, now: datetime) -> None:
    if change.jars is not None:
        _take_in_jars(by, change, token, now)
    elif change.lid_lot is not None:
        reason = LidReason.FOUND if change.difference > 0 else LidReason.MISSING
        lids_post(
            by=by,
            lot=LidLot.objects.get(pk=change.lid_lot),
            count=abs(change.difference),
            ends=ENDS[reason],
            reason=reason,
            token=token,
            at=now,
        )
    else:
        _take_in_supply(by, change, token, now)


def _take_in_jars(by: User, change: Change, token: UUID, now: datetime) -> None:
    assert change.jars is not None
    target, size, state, lot = change.jars
    there = Shelf(place_of_key(f"{target.kind}-{target.key}"), state, lot)
    outside = Shelf(outside_place(BOUGHT), state, lot)
    more = change.difference > 0
    movement_post(
        by=by,
        size=size,
        count=abs(change.difference),
        source=outside if more else there,
        target=there if more else outside,
        reason=Reason.FOUND if more else Reason.MISSING,
        token=token,
        at=now,
    )


def _take_in_supply(by: User, change: Change, token: UUID, now: datetime) -> None:
    assert change.supply is not None
    pk, use_by, tenths = change.supply
    if change.difference > 0:
        supply_buy(
            by=by,
            supply=Supply.objects.get(pk=pk),
            count=change.difference,
            token=token,
            use_by=use_by,
            strength_tenths=tenths,
            reason=SupplyReason.FOUND,
            now=now,
        )
        return
    left = -change.difference
    lots = SupplyLot.objects.there().filter(supply=pk, use_by=use_by, strength_tenths=tenths)
    for lot in lots.select_related("supply").order_by("pk"):
        here = min(left, lot.count)
        if here:
            supply_post(by, lot, -here, SupplyReason.MISSING, uuid5(token, str(lot.pk)), now, "")
        left -= here
