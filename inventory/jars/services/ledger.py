"""The jar ledger: the one way a movement gets in, movements by hand and by a batch's log, corrections, the audit."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import StrEnum
from functools import partial
from typing import cast
from uuid import UUID

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, connection, transaction
from django.db.models import F, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from club.core.ledger import (
    NOTE_LENGTH,
    correction_check,
    disagreements,
    part_token,
    summed,
    write_once,
)
from club.core.money import money_text
from club.members.models import Kitchen, User
from inventory.jars.choices import OUTSIDE, JarState, LidAccount, PlaceKind, Reason
from inventory.jars.models import (
    KEEP,
    Balance,
    BalanceQuerySet,
    Deposit,
    DepositNote,
    KitchenStock,
    LidMovement,
    LidStock,
    Movement,
    Place,
    SupplyLot,
    SupplyMovement,
)
from inventory.jars.rules import BOUGHT, EMPTY, FULL, MOST_AT_ONCE, SHAPES, cents_back, shape_fits
from inventory.jars.rules import BROKEN as BROKEN_ACCOUNT
from recipes.choices import JARS
from recipes.engine.quantities import JAR_SIZES

# What the jar services share: who keeps the ledger, and figures and moments that can be true.

# A phone's clock may run ahead of the server's.
CLOCK_SLACK = timedelta(minutes=2)


class NotEnough(ValidationError):
    """There are fewer than were asked for. Said beside the count; `there` is how many there are."""

    def __init__(self, message: str, *, there: int) -> None:
        super().__init__({"count": message})
        self.there = there


def keeper_check(by: User) -> None:
    """PermissionDenied for somebody who does not keep the ledger."""
    if not by.has_perm(KEEP):
        raise PermissionDenied


def count_check(count: int, *, least: int = 1, field: str = "count") -> None:
    if not least <= count <= MOST_AT_ONCE:
        text = _("Give a number from %(least)s to %(most)s.")
        raise ValidationError({field: text % {"least": least, "most": MOST_AT_ONCE}})


def note_clean(note: str) -> str:
    plain = " ".join(note.split())
    if len(plain) > NOTE_LENGTH:
        raise ValidationError({"note": _("At most %(n)s characters, please.") % {"n": NOTE_LENGTH}})
    return plain


def moment_clean(at: datetime | None, now: datetime | None = None) -> datetime:
    """The moment given, or this very one; never one that has not come yet."""
    now = now or timezone.now()
    if at is None:
        return now
    if at > now + CLOCK_SLACK:
        raise ValidationError({"at": _("That time has not come yet. Give the time it happened.")})
    return at


# Places come to be when something is first moved there.


def kitchen_place(kitchen: Kitchen) -> Place:
    return Place.objects.get_or_create(kitchen=kitchen, defaults={"kind": PlaceKind.KITCHEN})[0]


def person_place(person: User) -> Place:
    return Place.objects.get_or_create(person=person, defaults={"kind": PlaceKind.MEMBER})[0]


def store_place() -> Place:
    return Place.objects.get_or_create(kind=PlaceKind.STORE)[0]


def outside_place(kind: str) -> Place:
    """The account of jars bought, given away or broken. ValueError for another kind."""
    if kind not in OUTSIDE:
        raise ValueError(f"{kind} is no outside account")
    return Place.objects.get_or_create(kind=kind)[0]


def place_of_key(key: str) -> Place:
    """The place that `Place.key` names; made when it is its first movement."""
    if key in OUTSIDE:
        return outside_place(key)
    kind, _dash, pk = key.partition("-")
    if kind == PlaceKind.KITCHEN:
        return kitchen_place(Kitchen.objects.get(pk=int(pk)))
    return person_place(User.objects.get(pk=int(pk))) if kind == PlaceKind.MEMBER else store_place()


# The one way a movement gets into the ledger: the movement and both balances, together or not at all.

SAME = ("by_id", "size", "count", "source_id", "source_state", "target_id", "target_state", "batch_id", "reason")


@dataclass(frozen=True)
class Shelf:
    """A place, and the state the jars are in there; `batch_id` is the lot, and set for full jars only."""

    place: Place
    state: str
    batch_id: int | None = None


def balances_of(shelf: Shelf, size: str) -> BalanceQuerySet:
    return Balance.objects.filter(place=shelf.place, size=size, state=shelf.state, batch=shelf.batch_id)


def count_there(shelf: Shelf, size: str) -> int:
    """How many stand there now. Locked for the transaction where the database can (PostgreSQL); on SQLite a
    transaction that writes holds the only write lock from its first statement. Nothing hangs on the lock but
    comfort: the conditional update of `_balance_change` and the database's own rule refuse what would go below zero.
    """
    row = balances_of(shelf, size).select_for_update().values_list("count", flat=True).first()
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
        legs = ((source, -count), (target, count))
        for shelf, change in sorted(legs, key=lambda leg: (not leg[0].place.is_inside, leg[0].place.pk, leg[0].state)):
            _balance_change(shelf, size, change)
    return movement


def _balance_change(shelf: Shelf, size: str, change: int) -> None:
    takes = change < 0 and shelf.place.is_inside
    if _balance_add(shelf, size, change, takes=takes):
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
        if not _balance_add(shelf, size, change, takes=False):
            raise


def _balance_add(shelf: Shelf, size: str, change: int, *, takes: bool) -> bool:
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
    there = balances_of(shelf, size).values_list("count", flat=True).first() or 0
    text = _("There are %(there)s of these in %(place)s (%(size)s, %(state)s), not %(wanted)s.")
    params = {
        "there": there,
        "place": shelf.place,
        "size": JARS.get(size, size),
        "state": JarState(shelf.state).label,
        "wanted": wanted,
    }
    return NotEnough(text % params, there=there)


# Moving jars by hand, correcting what was written, and the deposits that go with lending.

MOST_CENTS = 100_000
# Where full jars come to other hands.
TAKES_JARS = {PlaceKind.GIVEN_AWAY.value, PlaceKind.KITCHEN.value, PlaceKind.MEMBER.value}
# These follow from something else that is written down: a batch's log, or another movement.
NOT_BY_HAND = {Reason.FILLED.value, Reason.CORRECTED.value}


@transaction.atomic
def jars_move(
    *,
    by: User,
    reason: str,
    size: str,
    count: int,
    source: Place,
    target: Place,
    token: UUID,
    state: str = "empty",
    batch_id: int | None = None,
    deposit_cents: int = 0,
    note: str = "",
    at: datetime | None = None,
    now: datetime | None = None,
) -> Movement:
    """Move jars from one place to another, or from one state to another in the same place.

    `state` is the one the jars are found in; `batch_id` their lot, when they are full. `deposit_cents` is taken for
    each jar lent; what returns gives back its share. The same `token` again finds the movement made the first time.
    Full jars that are called back are neither given away nor lent, nor moved to another household. That one took them
    oneself, to set them apart, may be written down, and by who keeps the ledger where else they stand: the recall
    follows them.
    PermissionDenied unless every inside place is the person's to use; ValidationError by field; NotEnough.
    """
    _places_check(by, source, target)
    moved_at = moment_clean(at, now)
    count_check(count)
    if size not in JARS:
        raise ValidationError({"size": _("%(size)s is no jar size known here.") % {"size": size}})
    _shape_check(reason, source, target, state, batch_id)
    left = SHAPES[reason].leaves or state
    is_written_down = reason == Reason.MOVED and (target.person_id == by.pk or by.has_perm(KEEP))
    if left == FULL and not is_written_down:
        _called_back_check(source, target, batch_id, field="lot")
        _set_aside_check(source, target, batch_id, size, count)
    _deposit_check(by, reason, deposit_cents)
    movement = movement_post(
        by=by,
        size=size,
        count=count,
        source=Shelf(source, state, batch_id if state == FULL else None),
        target=Shelf(target, left, batch_id if left == FULL else None),
        reason=reason,
        token=token,
        at=moved_at,
        note=note_clean(note),
    )
    _deposit_follow(movement, deposit_cents)
    return movement


def _places_check(by: User, source: Place, target: Place) -> None:
    if by.has_perm(KEEP):
        return
    inside = {place.pk for place in (source, target) if place.is_inside}
    # The store is the keeper's counter: what a member brings back is written down by whoever takes it.
    if not by.has_perm("batches.add_batch") or Place.objects.usable_by(by).filter(pk__in=inside).count() != len(inside):
        raise PermissionDenied


def _shape_check(reason: str, source: Place, target: Place, state: str, batch_id: int | None) -> None:
    if reason not in SHAPES or reason in NOT_BY_HAND:
        raise ValidationError({"reason": _("Choose what happened to the jars.")})
    left = SHAPES[reason].leaves or state
    same = source.pk == target.pk
    if not shape_fits(reason, source=source.kind, target=target.kind, found=state, left=left, is_same_place=same):
        text = _("“%(reason)s” does not go from %(source)s to %(target)s with %(state)s jars. Choose again.")
        params = {"reason": Reason(reason).label, "source": source, "target": target, "state": state}
        raise ValidationError({"reason": text % params})
    if (state == FULL) != (batch_id is not None):
        raise ValidationError({"lot": _("Full jars are counted by lot: give the lot code on the label.")})


def _called_back_check(source: Place, target: Place, batch_id: int | None, *, field: str) -> None:
    """Full jars that are called back come to no other hands. That some broke, are missing or were not counted before
    may still be written down."""
    is_handed_on = source.is_inside and target.kind in TAKES_JARS and source.pk != target.pk
    if batch_id is None or not is_handed_on:
        return
    called = Balance.objects.called_back().filter(batch=batch_id)
    if lot := called.values_list("batch__lot_code", flat=True).first():
        text = _("Lot %(lot)s is called back: do not eat or give away any jar of it. Answer the recall instead.")
        raise ValidationError({field: text % {"lot": lot}})


def _set_aside_check(source: Place, target: Place, batch_id: int | None, size: str, count: int) -> None:
    """No more full jars come to other hands than stand there besides those that were set aside after an accident."""
    if batch_id is None or not source.is_inside or target.kind not in TAKES_JARS or source.pk == target.pk:
        return
    set_aside = Balance.objects.set_aside_there(source, batch_id, size)
    left = count_there(Shelf(source, FULL, batch_id), size) - set_aside
    if set_aside and count > left:
        text = ngettext(
            "%(n)s of these jars is set aside because something went wrong with it: it is not handed on until that is"
            " settled on the batch's page.",
            "%(n)s of these jars are set aside because something went wrong with them: they are not handed on until"
            " that is settled on the batch's page.",
            set_aside,
        )
        raise ValidationError({"count": text % {"n": set_aside}})


def _deposit_check(by: User, reason: str, cents: int) -> None:
    if cents == 0:
        return
    keeper_check(by)
    if reason != Reason.LENT:
        raise ValidationError({"deposit_cents": _("A deposit is taken when jars are lent, and not otherwise.")})
    if not 0 < cents <= MOST_CENTS:
        raise ValidationError(
            {"deposit_cents": _("Give the deposit for one jar, at most %(most)s.") % {"most": money_text(MOST_CENTS)}}
        )


def _deposit_follow(movement: Movement, cents_each: int) -> None:
    """The deposit note of a movement: taken with what is lent, given back with what returns."""
    if movement.reason == Reason.LENT and cents_each:
        assert movement.target.person is not None  # lent goes to a member, and a member's place has its person
        deposit_write(movement, movement.target.person, jars=movement.count, cents=cents_each * movement.count)
    elif movement.reason == Reason.RETURNED and movement.source.person is not None:
        held = Deposit.objects.select_for_update().filter(person=movement.source.person, size=movement.size).first()
        jars = min(held.jars, movement.count) if held else 0
        if held and jars:
            back = cents_back(cents=held.cents, jars=held.jars, returned=jars)
            deposit_write(movement, movement.source.person, jars=-jars, cents=-back)


def deposit_write(movement: Movement, person: User, *, jars: int, cents: int) -> None:
    note = DepositNote(
        person=person,
        size=movement.size,
        jars=jars,
        cents=cents,
        movement=movement,
        token=part_token(movement.token, "deposit"),
        by=movement.by,
        at=movement.at,
    )
    _note_once(note, same=("person_id", "size"))


@transaction.atomic
def deposit_settle(*, by: User, person: User, size: str, token: UUID, note: str, now: datetime | None = None) -> None:
    """Close a member's deposit for one size: paid back, or kept for jars that will not return. `note` says which."""
    keeper_check(by)
    note = note_clean(note)
    if not note:
        raise ValidationError({"note": _("Say what became of the deposit: paid back, or kept, and why.")})
    if DepositNote.objects.filter(token=token).exists():
        return
    held = Deposit.objects.select_for_update().filter(person=person, size=size, jars__gt=0).first()
    if held is None:
        raise ValidationError(_("There is no deposit to settle here any more."))
    settled = DepositNote(
        person=person,
        size=size,
        jars=-held.jars,
        cents=-held.cents,
        token=token,
        note=note,
        by=by,
        at=moment_clean(None, now),
    )
    _note_once(settled, same=("person_id", "size"))


def _note_once(note: DepositNote, *, same: tuple[str, ...]) -> None:
    written, is_new = write_once(note, same=same)
    if not is_new:
        return
    held = Deposit.objects.filter(person=written.person, size=written.size)
    enough = held.filter(jars__gte=-written.jars, cents__gte=-written.cents)
    if enough.update(jars=F("jars") + written.jars, cents=F("cents") + written.cents):
        return
    if written.jars < 0:
        raise ValidationError(_("The deposit changed just now. Open the page again and look."))
    try:
        with transaction.atomic():
            Deposit.objects.create(person=written.person, size=written.size, jars=written.jars, cents=written.cents)
    except IntegrityError:
        held.update(jars=F("jars") + written.jars, cents=F("cents") + written.cents)


@transaction.atomic
def jars_correct(
    *, by: User, movement: Movement, count: int, token: UUID, note: str = "", now: datetime | None = None
) -> Movement:
    """The movement should have been of `count` jars (none, for one that never happened): a new movement mends it.

    Fewer: the rest goes back the way it came. More: the rest follows. A movement is corrected once; the correction
    itself can be corrected. Deposits stay as they are: who keeps the ledger settles them on their own page.
    No correction hands on more jars that are called back or set aside, however many corrections it goes back over.
    """
    if not by.has_perm(KEEP) and movement.by_id != by.pk:
        raise PermissionDenied
    _places_check(by, movement.source, movement.target)
    count_check(count, least=0)
    correction_check(movement, token, count=count, written=movement.count)
    there = Shelf(movement.source, movement.source_state, _lot(movement, movement.source_state))
    here = Shelf(movement.target, movement.target_state, _lot(movement, movement.target_state))
    forwards = count > movement.count
    source, target = (there, here) if forwards else (here, there)
    if source.state == target.state == FULL and source.place == _first_of(movement).source:
        _called_back_check(source.place, target.place, movement.batch_id, field="count")
        more = abs(count - movement.count)
        _set_aside_check(source.place, target.place, movement.batch_id, movement.size, more)
    return movement_post(
        by=by,
        size=movement.size,
        count=abs(count - movement.count),
        source=source,
        target=target,
        reason=Reason.CORRECTED,
        token=token,
        at=moment_clean(None, now),
        note=note_clean(note),
        corrects=movement,
    )


def _first_of(movement: Movement) -> Movement:
    """The movement that a chain of corrections began with: it says which way is handing on, and which is back."""
    while movement.corrects is not None:
        movement = cast(Movement, movement.corrects)
    return movement


def _lot(movement: Movement, state: str) -> int | None:
    return movement.batch_id if state == FULL else None


# What the log of a batch does to the ledger: empties become full, and full jars come back empty or break.
#
# Called by the services of the batches, in their transaction and after their checks.


class Fate(StrEnum):
    """What became of a filled jar, as far as the ledger minds."""

    FULL = "full"
    EMPTIED = "emptied"
    BROKEN = "broken"


def jars_fill(*, by: User, batch_id: int, kitchen: Kitchen, jars: Mapping[str, int], token: UUID, at: datetime) -> None:
    """Empties of the kitchen become full of the lot, size by size from small to large."""
    place = kitchen_place(kitchen)
    empties, full = Shelf(place, EMPTY), Shelf(place, FULL, batch_id)
    move = partial(movement_post, by=by, source=empties, target=full, reason=Reason.FILLED, at=at)
    for size in JAR_SIZES:
        if count := jars.get(size, 0):
            part = part_token(token, f"filled {size}")
            _empties_found(by, empties, size, count, part, at)
            move(size=size, count=count, token=part)


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


def jars_unfill(*, by: User, batch_id: int, kitchen: Kitchen, size: str, count: int, token: UUID, at: datetime) -> None:
    """`count` jars of a lot were never filled with it, as its corrected log says: the kitchen has them empty again.

    Those in the kitchen first, then what was moved on inside the club. NotEnough where fewer are there; a lot that was
    logged before the ledger was kept is left out of it.
    """
    home = kitchen_place(kitchen)
    if not _filled(batch_id, size).exists():
        return
    found = _where_full(home, batch_id, size, count)
    if sum(here for _place, here in found) < count:
        raise _not_enough(Shelf(home, FULL, batch_id), size, wanted=count)
    for place, here in found:
        _unfill(by, home, Shelf(place, FULL, batch_id), size, here, part_token(token, f"{place.pk}"), at)


def jars_resize(
    *, by: User, batch_id: int, kitchen: Kitchen, size: str, becomes: str, count: int, token: UUID, at: datetime
) -> None:
    """`count` full jars of a lot were of another size all the time: each is that where it stands now.

    What went out of the club stays written as it was; nobody can look at it any more.
    """
    home = kitchen_place(kitchen)
    for place, here in _where_full(home, batch_id, size, count):
        part, full, empties = part_token(token, f"{place.pk}"), Shelf(place, FULL, batch_id), Shelf(home, EMPTY)
        _unfill(by, home, full, size, here, part, at)
        _empties_found(by, empties, becomes, here, part_token(part, becomes), at)
        movement_post(
            by=by,
            size=becomes,
            count=here,
            source=empties,
            target=full,
            reason=Reason.FILLED,
            token=part_token(part, f"filled {becomes}"),
            at=at,
            note=_("the log was corrected"),
        )


def _filled(batch_id: int, size: str) -> QuerySet[Movement]:
    return Movement.objects.filter(batch=batch_id, size=size, reason__in=[Reason.FILLED, Reason.CORRECTED])


def _unfill(by: User, home: Place, full: Shelf, size: str, count: int, token: UUID, at: datetime) -> None:
    assert full.batch_id is not None
    movement_post(
        by=by,
        size=size,
        count=count,
        source=full,
        target=Shelf(home, EMPTY),
        reason=Reason.CORRECTED,
        token=token,
        at=at,
        note=_("the log was corrected"),
        # A movement is corrected once; of a lot there is always one that was not yet.
        corrects=_filled(full.batch_id, size).filter(corrected_by=None).latest("pk"),
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
    move = partial(movement_post, by=by, size=size, at=at)
    if was is Fate.FULL:
        for place, here in _where_full(home, batch_id, size, count):
            full, part = Shelf(place, FULL, batch_id), part_token(token, f"{place.pk} {size}")
            if now_is is Fate.BROKEN:
                move(count=here, source=full, target=_broken(full), reason=Reason.BROKEN, token=part)
            else:
                move(count=here, source=full, target=Shelf(place, EMPTY), reason=Reason.EMPTIED, token=part)
        return
    empties = Shelf(home, EMPTY)
    _empties_found(by, empties, size, count, token, at)
    if now_is is Fate.FULL:
        move(count=count, source=empties, target=Shelf(home, FULL, batch_id), reason=Reason.FILLED, token=token)
    else:
        move(count=count, source=empties, target=_broken(empties), reason=Reason.BROKEN, token=token)


def _broken(shelf: Shelf) -> Shelf:
    """Where what broke on this shelf is counted."""
    return Shelf(outside_place(BROKEN_ACCOUNT), shelf.state, shelf.batch_id)


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


# Recompute every balance from the movements, and say where the books disagree.


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
    audit.problems += _wrong_balances()
    audit.problems += disagreements("lids", moved=_lids_moved(), kept=_lids_kept())
    supplies = Counter[object](dict(SupplyLot.objects.values_list("pk", "count")))
    in_store, in_kitchens = (SupplyMovement.objects.filter(kitchen__isnull=there) for there in (True, False))
    audit.problems += disagreements("supply lot", moved=summed(in_store, "change", "lot"), kept=supplies)
    stocks = Counter[object]({(one.lot_id, one.kitchen_id): one.count for one in KitchenStock.objects.all()})
    audit.problems += disagreements(
        "supply in a kitchen", moved=summed(in_kitchens, "change", "lot", "kitchen"), kept=stocks
    )
    for column in ("jars", "cents"):
        moved = summed(DepositNote.objects.all(), column, "person", "size")
        kept = Counter[object]({(d.person_id, d.size): getattr(d, column) for d in Deposit.objects.all()})
        audit.problems += disagreements(f"deposit {column}", moved=moved, kept=kept)
    return audit


def _wrong_balances() -> Iterator[str]:
    moved: Counter[object] = Counter()
    for side, sign in (("source", -1), ("target", 1)):
        sums = summed(Movement.objects.all(), "count", side, f"{side}_state", "size", "batch")
        for (place, state, size, lot), count in sums.items():
            moved[place, size, state, lot if state == FULL else None] += sign * count
    inside = {place.pk: place.is_inside for place in Place.objects.all()}
    kept: Counter[object] = Counter()
    for place, is_inside, size, state, lot, count in Balance.objects.values_list(
        "place", "is_inside", "size", "state", "batch", "count"
    ):
        kept[place, size, state, lot] = count
        if is_inside != inside[place]:
            yield f"balance of place {place}: called inside, and is not, or the other way"
        if count < 0 and inside[place]:
            yield f"balance of place {place}, {size}, {state}: below zero ({count})"
    yield from disagreements("balance", moved=moved, kept=kept)


def _lids_moved() -> Counter[object]:
    moved: Counter[object] = Counter()
    for side, sign in (("source", -1), ("target", 1)):
        for lot_and_account, count in summed(LidMovement.objects.all(), "count", "lot", side).items():
            moved[lot_and_account] += sign * count
    return moved


def _lids_kept() -> Counter[object]:
    """ "Bought" counts upwards in the stock, and downwards in the movements: lids come out of that account."""
    kept: Counter[object] = Counter()
    for stock in LidStock.objects.all():
        kept[stock.lot_id, LidAccount.BOUGHT.value] = -stock.bought
        kept[stock.lot_id, LidAccount.USED.value] = stock.used
        kept[stock.lot_id, LidAccount.SPOILT.value] = stock.spoilt
        kept[stock.lot_id, LidAccount.ON_HAND.value] = stock.on_hand
    return kept
