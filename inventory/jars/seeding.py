"""A season of the ledger for benchmarks: a million movements laid down in bulk, and every balance with them.

What is written is what the services would have written, one movement at a time: the audit finds nothing amiss.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction

from club.members.models import User
from inventory.jars.models import Balance, Movement, Place
from inventory.jars.rules import CHIPPED, EMPTY, FULL
from inventory.jars.services.places import outside_place
from inventory.jars.words import OUTSIDE, PlaceKind, Reason
from recipes.engine.quantities import JAR_SIZES

PORTION = 5_000
# How often each thing happens; what cannot happen for want of jars is a purchase instead.
OFTEN = {
    Reason.FILLED: 28,
    Reason.EMPTIED: 25,
    Reason.LENT: 14,
    Reason.RETURNED: 14,
    Reason.MOVED: 9,
    Reason.GIVEN: 4,
    Reason.BROKEN: 3,
    Reason.CHIPPED: 1,
    Reason.BOUGHT: 2,
}
Key = tuple[int, str, str, int | None]  # place, size, state, lot


@dataclass
class _Season:
    by: User
    places: Sequence[Place]
    people: Sequence[Place]
    lots: Sequence[int]
    dice: random.Random
    accounts: dict[str, Place]
    balances: Counter[Key] = field(default_factory=Counter)

    def movement(self, at: datetime) -> Movement:
        """One movement that the balances allow, and the balances after it."""
        reason = self.dice.choices(list(OFTEN), weights=list(OFTEN.values()))[0]
        size = self.dice.choice(JAR_SIZES)
        source, target = self._ends(reason, self.dice.choice(self.places), size)
        there = self.balances[source]
        if reason == Reason.BOUGHT or there < 1:
            reason, source, target = self._purchase(source, size)
            count = self.dice.randint(12, 48)
        else:
            count = self.dice.randint(1, min(12, there))
        self.balances[source] -= count
        self.balances[target] += count
        return self._row(reason, source, target, count, at)

    def _ends(self, reason: Reason, place: Place, size: str) -> tuple[Key, Key]:
        empty: Key = (place.pk, size, EMPTY, None)
        person: Key = (self.dice.choice(self.people).pk, size, EMPTY, None)
        if reason in (Reason.FILLED, Reason.EMPTIED) and self.lots:
            full: Key = (place.pk, size, FULL, self.dice.choice(self.lots))
            return (empty, full) if reason == Reason.FILLED else (full, empty)
        targets: dict[Reason, Key] = {
            Reason.LENT: person,
            Reason.MOVED: (self.dice.choice([one for one in self.places if one != place]).pk, size, EMPTY, None),
            Reason.GIVEN: (self.accounts[PlaceKind.GIVEN_AWAY].pk, size, EMPTY, None),
            Reason.BROKEN: (self.accounts[PlaceKind.BROKEN].pk, size, EMPTY, None),
            Reason.CHIPPED: (place.pk, size, CHIPPED, None),
        }
        return (person, empty) if reason == Reason.RETURNED else (empty, targets.get(reason, person))

    def _purchase(self, wanted: Key, size: str) -> tuple[Reason, Key, Key]:
        bought: Key = (self.accounts[PlaceKind.BOUGHT].pk, size, EMPTY, None)
        return Reason.BOUGHT, bought, (wanted[0], size, EMPTY, None)

    def _row(self, reason: Reason, source: Key, target: Key, count: int, at: datetime) -> Movement:
        return Movement(
            size=source[1],
            count=count,
            source_id=source[0],
            source_state=source[2],
            target_id=target[0],
            target_state=target[2],
            batch_id=source[3] or target[3],
            reason=reason,
            by=self.by,
            at=at,
            token=UUID(int=self.dice.getrandbits(128), version=4),
        )


@transaction.atomic
def season_seed(
    *,
    movements: int,
    by: User,
    places: Sequence[Place],
    people: Sequence[Place],
    lots: Sequence[int] = (),
    until: datetime,
    seed: int = 1,
) -> int:
    """Lay down `movements` among `places` (kitchens and the store, two at least) and `people` (members' places, one
    at least) over the year before `until`; `lots` are the batches that jars are filled from. Returns how many.

    Starts from the balances there are and leaves every one right. For an empty or a trial site: it invents.
    """
    accounts = {kind: outside_place(kind) for kind in sorted(OUTSIDE)}
    season = _Season(by, places, people, lots, random.Random(seed), accounts, _balances())
    step = timedelta(days=365) / max(movements, 1)
    began = until - timedelta(days=365)
    for portion in _portions(movements):
        Movement.objects.bulk_create(season.movement(began + step * number) for number in portion)
    _write_balances(season.balances)
    return movements


def _portions(movements: int) -> Iterator[range]:
    return (range(start, min(start + PORTION, movements)) for start in range(0, movements, PORTION))


def _balances() -> Counter[Key]:
    return Counter(
        {
            (place, size, state, lot): count
            for place, size, state, lot, count in Balance.objects.values_list(
                "place", "size", "state", "batch", "count"
            )
        }
    )


def _write_balances(balances: Counter[Key]) -> None:
    inside = dict(Place.objects.values_list("pk", "kind"))
    known = {(row.place_id, row.size, row.state, row.batch_id): row for row in Balance.objects.all()}
    changed, new = [], []
    for key, count in balances.items():
        if key in known:
            known[key].count = count
            changed.append(known[key])
        else:
            place, size, state, lot = key
            is_inside = inside[place] in {PlaceKind.STORE, PlaceKind.KITCHEN, PlaceKind.MEMBER}
            new.append(Balance(place_id=place, is_inside=is_inside, size=size, state=state, batch_id=lot, count=count))
    Balance.objects.bulk_update(changed, ["count"], batch_size=500)
    Balance.objects.bulk_create(new, batch_size=PORTION)
