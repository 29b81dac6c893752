"""Who sits where: parties stay together, no station over its seats, and the stations alike in people.

Pure: plain values in, plain values out. Parties are of one or of two.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Party:
    """People who came together and sit together; `size` is 1 or 2."""

    key: int
    size: int


@dataclass(frozen=True)
class Table:
    """A station: how many seats it has, and how many of them are taken already."""

    key: int
    seats: int
    taken: int = 0


def seat_everybody(parties: Sequence[Party], tables: Sequence[Table]) -> dict[int, int]:
    """Station by party. A party that is not in the answer found no room.

    Pairs choose first, then those who came alone; each takes the station with the fewest people that has room, the
    first of several. That order never fails where everybody can be seated at all: each pair uses up exactly one
    free pair of seats wherever it sits, and one person fits in whatever seat is left.
    """
    people = {table.key: table.taken for table in tables}
    free = {table.key: max(table.seats - table.taken, 0) for table in tables}
    seated: dict[int, int] = {}
    for party in sorted(parties, key=lambda party: -party.size):
        roomy = [table.key for table in tables if free[table.key] >= party.size]
        if roomy:
            chosen = min(roomy, key=lambda key: people[key])
            seated[party.key] = chosen
            people[chosen] += party.size
            free[chosen] -= party.size
    return seated
