"""Seating as properties, against every arrangement there is where the numbers are small."""

from __future__ import annotations

from itertools import product

from hypothesis import given
from hypothesis import strategies as st

from club.classes.rules import Party, Table, seat_everybody

sizes = st.lists(st.sampled_from([1, 2]), max_size=12)
rooms = st.lists(st.tuples(st.integers(1, 6), st.integers(0, 6)), max_size=5)


def parties_of(sizes: list[int]) -> list[Party]:
    return [Party(key=100 + n, size=size) for n, size in enumerate(sizes)]


def tables_of(rooms: list[tuple[int, int]]) -> list[Table]:
    """Each with its seats, and at most so many of them taken already."""
    return [Table(key=n, seats=seats, taken=min(taken, seats)) for n, (seats, taken) in enumerate(rooms)]


def people_at(parties: list[Party], tables: list[Table], seated: dict[int, int]) -> dict[int, int]:
    counts = {table.key: table.taken for table in tables}
    for party in parties:
        if party.key in seated:
            counts[seated[party.key]] += party.size
    return counts


def can_all_sit(parties: list[Party], tables: list[Table]) -> bool:
    """By trying every arrangement."""
    for chosen in product([table.key for table in tables], repeat=len(parties)):
        counts = people_at(parties, tables, {p.key: key for p, key in zip(parties, chosen, strict=True)})
        if all(counts[table.key] <= table.seats for table in tables):
            return True
    return False


@given(sizes, rooms)
def test_no_station_is_ever_over_its_seats(sizes, rooms):
    parties, tables = parties_of(sizes), tables_of(rooms)
    counts = people_at(parties, tables, seat_everybody(parties, tables))
    assert all(counts[table.key] <= table.seats for table in tables)


@given(
    st.lists(st.sampled_from([1, 2]), max_size=6), st.lists(st.tuples(st.integers(1, 5), st.integers(0, 3)), max_size=3)
)
def test_everybody_is_seated_exactly_when_an_arrangement_exists(sizes, rooms):
    parties, tables = parties_of(sizes), tables_of(rooms)
    everybody = len(seat_everybody(parties, tables)) == len(parties)
    assert everybody == can_all_sit(parties, tables)


@given(sizes, rooms)
def test_nobody_stands_while_there_is_room_for_the_party(sizes, rooms):
    parties, tables = parties_of(sizes), tables_of(rooms)
    seated = seat_everybody(parties, tables)
    counts = people_at(parties, tables, seated)
    for party in parties:
        if party.key not in seated:
            assert all(table.seats - counts[table.key] < party.size for table in tables)


@given(sizes, rooms)
def test_no_party_could_move_and_leave_the_stations_more_alike(sizes, rooms):
    parties, tables = parties_of(sizes), tables_of([(seats, 0) for seats, _taken in rooms])
    seated = seat_everybody(parties, tables)
    counts = people_at(parties, tables, seated)
    for party in parties:
        for table in tables:
            if party.key in seated and table.seats - counts[table.key] >= party.size:
                assert counts[seated[party.key]] - counts[table.key] <= party.size


@given(sizes, rooms)
def test_it_says_the_same_of_the_same(sizes, rooms):
    parties, tables = parties_of(sizes), tables_of(rooms)
    assert seat_everybody(parties, tables) == seat_everybody(list(parties), list(tables))


def test_six_people_and_three_stations_are_two_each():
    parties, tables = parties_of([1, 1, 2, 1, 1]), tables_of([(4, 0), (4, 0), (4, 0)])
    assert set(people_at(parties, tables, seat_everybody(parties, tables)).values()) == {2}


def test_a_pair_finds_its_two_seats_though_single_people_were_named_first():
    parties, tables = parties_of([1, 1, 2]), tables_of([(2, 0), (1, 0), (1, 0)])
    assert seat_everybody(parties, tables) == {102: 0, 100: 1, 101: 2}


def test_a_pair_is_not_torn_between_two_stations_with_a_seat_each():
    assert seat_everybody(parties_of([2]), tables_of([(1, 0), (1, 0)])) == {}
