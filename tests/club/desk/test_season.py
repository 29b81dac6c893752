"""The season's sums: enough, whole, never below nothing, whatever stands where."""

from __future__ import annotations

from datetime import date

from hypothesis import given
from hypothesis import strategies as st

from club.season.rules import MonthShelf, Need, months_from, season_plan, shelf_ahead, shelf_past, short_of

minutes = st.lists(st.integers(10, 600), max_size=6).map(lambda lengths: tuple(sorted(lengths)))
needs = st.lists(
    st.builds(
        Need,
        key=st.integers(1, 10_000),
        jars_a_year=st.integers(0, 400),
        on_shelf=st.integers(0, 400),
        jars_a_pot=st.none() | st.integers(1, 30),
        minutes=minutes,
        produce=st.sampled_from(["", "plums", "pears"]),
        fruit_grams=st.sampled_from([0, 900, 2_500]),
    ),
    max_size=12,
    unique_by=lambda need: need.key,
)
evenings = st.integers(30, 600)
freezers = st.dictionaries(st.sampled_from(["plums", "pears"]), st.integers(0, 40_000))


@given(needs, evenings, freezers)
def test_what_is_put_up_and_what_is_there_are_never_fewer_than_the_wish(wished, evening, frozen):
    plan = season_plan(wished, evening_minutes=evening, frozen=frozen)
    assert [row.key for row in plan.rows] == [need.key for need in wished]
    for need, row in zip(wished, plan.rows, strict=True):
        assert row.jars + need.on_shelf >= need.jars_a_year
        assert row.jars >= row.wanted >= 0


@given(needs, evenings, freezers)
def test_pots_are_whole_and_one_fewer_would_not_do(wished, evening, frozen):
    plan = season_plan(wished, evening_minutes=evening, frozen=frozen)
    for need, row in zip(wished, plan.rows, strict=True):
        if need.jars_a_pot is None:
            assert row.pots is None
        elif row.pots:
            assert row.jars == row.pots * need.jars_a_pot
            assert (row.pots - 1) * need.jars_a_pot + need.on_shelf < need.jars_a_year
        else:
            assert need.on_shelf >= need.jars_a_year


@given(needs, evenings)
def test_evenings_hold_all_the_pots_and_none_holds_more_than_fit(wished, evening):
    plan = season_plan(wished, evening_minutes=evening)
    for need, row in zip(wished, plan.rows, strict=True):
        if row.evenings is None:
            assert not need.minutes or need.jars_a_pot is None
            continue
        assert row.evenings * row.pots_an_evening >= row.pots
        fits = need.minutes[row.pots_an_evening - 1] <= evening
        assert fits or (row.pots_an_evening == 1 and row.is_long)


@given(needs, freezers)
def test_no_more_is_taken_from_the_freezer_than_lies_in_it_and_the_rest_is_to_be_found(wished, frozen):
    plan = season_plan(wished, evening_minutes=240, frozen=frozen)
    taken = {}
    for need, row in zip(wished, plan.rows, strict=True):
        taken[need.produce] = taken.get(need.produce, 0) + row.pots_from_freezer * need.fruit_grams
        assert 0 <= row.pots_from_freezer <= (row.pots or 0)
        assert row.fruit_to_find_grams >= 0
        if row.pots is not None:
            whole = row.pots * need.fruit_grams
            assert row.fruit_to_find_grams + row.pots_from_freezer * need.fruit_grams == whole
    assert all(grams <= frozen.get(produce, 0) for produce, grams in taken.items())


@given(
    st.dictionaries(st.text(max_size=3), st.integers(0, 99)), st.dictionaries(st.text(max_size=3), st.integers(0, 99))
)
def test_what_is_short_is_what_is_missing_and_nothing_that_is_there(wanted, there):
    missing = short_of(wanted, there)
    assert all(count > 0 for count in missing.values())
    assert all(there.get(name, 0) + missing.get(name, 0) >= count for name, count in wanted.items())


def test_twelve_jars_of_which_three_are_there_are_two_pots_of_six_in_one_evening():
    need = Need(1, jars_a_year=12, on_shelf=3, jars_a_pot=6, minutes=(79, 135, 191), produce="plums", fruit_grams=2_000)
    plan = season_plan([need], evening_minutes=150, frozen={"plums": 3_900})
    (row,) = plan.rows
    assert (row.wanted, row.pots, row.jars, row.pots_an_evening, row.evenings) == (9, 2, 12, 2, 1)
    assert (row.pots_from_freezer, row.fruit_to_find_grams) == (1, 2_000)
    assert (plan.wanted, plan.jars, plan.pots, plan.evenings) == (9, 12, 2, 1)


def test_a_pot_longer_than_the_evening_is_an_evening_of_its_own_and_says_so():
    (row,) = season_plan([Need(1, 12, jars_a_pot=6, minutes=(300,))], evening_minutes=240).rows
    assert (row.pots_an_evening, row.evenings, row.is_long) == (1, 2, True)


def test_where_no_recipe_says_how_much_a_pot_fills_only_the_jars_are_known():
    (row,) = season_plan([Need(1, 12, on_shelf=2)], evening_minutes=240).rows
    assert (row.wanted, row.jars, row.pots, row.evenings) == (10, 10, None, None)


# The shelf over the year


def test_months_are_counted_over_the_turn_of_the_year():
    assert months_from(date(2026, 11, 25), 3) == [date(2026, 11, 1), date(2026, 12, 1), date(2027, 1, 1)]
    assert months_from(date(2026, 2, 25), -3) == [date(2025, 11, 1), date(2025, 12, 1), date(2026, 1, 1)]


def test_the_past_is_reckoned_back_from_what_is_there_now():
    changes = {date(2026, 9, 1): 10, date(2026, 10, 1): -3, date(2026, 11, 1): -1}
    shelf = shelf_past(6, changes, date(2026, 11, 25))
    assert len(shelf) == 13
    assert shelf[-1] == MonthShelf(date(2026, 11, 1), 6, is_ahead=False)
    assert [month.jars for month in shelf[-4:]] == [0, 10, 7, 6]


def test_ahead_each_kind_is_eaten_evenly_until_it_is_gone_and_the_rest_stays():
    shelf = shelf_ahead([(6, 12), (4, 24)], 5, date(2026, 11, 25))
    assert shelf[0].first == date(2026, 12, 1)
    assert [month.jars for month in shelf[:7]] == [12, 9, 8, 7, 6, 5, 5]


@given(st.lists(st.tuples(st.integers(0, 300), st.integers(0, 300)), max_size=8), st.integers(0, 50))
def test_the_shelf_ahead_only_empties_and_never_below_what_stays(stocks, rest):
    jars = [month.jars for month in shelf_ahead(stocks, rest, date(2026, 3, 31))]
    assert len(jars) == 12
    assert jars == sorted(jars, reverse=True)
    assert jars[-1] == rest + sum(max(0, there - a_year) for there, a_year in stocks)


@given(st.integers(0, 300), st.dictionaries(st.sampled_from(months_from(date(2026, 1, 1), 14)), st.integers(-90, 90)))
def test_the_shelf_of_the_past_is_never_below_nothing(there, changes):
    assert all(month.jars >= 0 for month in shelf_past(there, changes, date(2026, 12, 9)))
