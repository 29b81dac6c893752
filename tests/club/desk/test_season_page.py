"""What a season is reckoned from, and what comes of it: each jar once, refusals said, sums that hold."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.utils import timezone

from club.members.choices import Role
from club.members.models import Kitchen
from club.season.presentation import club_season, club_sums, season_of
from club.season.services import household_set
from inventory.batches.services import recall_open
from inventory.jars import services as jars
from inventory.jars.models import Movement
from tests.factories.batches import make_batch_out, make_freezer_revision
from tests.factories.jars import make_jars
from tests.factories.members import make_kitchen, make_person
from tests.factories.recipes import VEGETABLE, make_revision
from tests.factories.season import ago, make_shelf, make_target, use

pytestmark = pytest.mark.django_db


@pytest.fixture
def ada():
    return make_person(name="Ada")


@pytest.fixture
def home(ada):
    return make_kitchen(ada, name="Plum Lane")


@pytest.fixture
def spread():
    return make_revision(title="Plum spread")


def seen(kitchen, **more):
    return season_of(kitchen, now=timezone.now(), **more)


def test_sealed_jars_on_the_shelf_count_and_the_rest_is_put_up_in_whole_pots(ada, home, spread):
    make_shelf(ada, home, spread, 4)
    make_target(ada, home, spread, jars=15)
    season = seen(home)
    (row,) = season.rows
    assert row.on_shelf == 4
    assert row.cooking.jars_a_pot == 5  # the least that the source states
    assert (row.put_up.wanted, row.put_up.pots, row.put_up.jars) == (11, 3, 15)
    assert season.plan.evenings == row.put_up.evenings == 1
    assert f"kitchen={home.pk}&pots=3&jar=half-pint" in row.plan_url


def test_a_jar_counts_once_for_its_recipe_before_its_kind(ada, home, spread):
    other = make_revision(title="Other plum spread")
    make_shelf(ada, home, spread, 4)
    make_shelf(ada, home, other, 3)
    make_target(ada, home, jars=10, kind="jam", produce="plums")
    assert [row.on_shelf for row in seen(home).rows] == [7]
    make_target(ada, home, spread, jars=10)
    assert [row.on_shelf for row in seen(home).rows] == [3, 4]


def test_of_a_kind_the_recipe_made_last_is_planned_else_the_first_by_title(ada, home):
    first, second = make_revision(title="A plum jam"), make_revision(title="B plum jam")
    make_target(ada, home, jars=10, kind="jam", produce="plums")
    assert seen(home).rows[0].cooking.revision == first
    make_shelf(ada, home, second, 2)
    assert seen(home).rows[0].cooking.revision == second


def test_without_an_altitude_jars_are_counted_and_no_pot_is_planned_and_the_refusal_is_told(ada, spread):
    high = make_kitchen(ada, name="New flat", altitude="")
    make_target(ada, high, spread, jars=10)
    (row,) = seen(high).rows
    assert [refusal.code for refusal in row.cooking.refusals] == ["altitude-unknown"]
    assert (row.put_up.wanted, row.put_up.pots, row.plan_url) == (10, None, "")
    assert seen(high).shopping("metric") == []
    # Nobody buys jars and lids for what is refused.
    assert (seen(high).jars, seen(high).lids.needed, seen(high).not_planned) == ([], 0, 10)


def test_a_pressure_recipe_without_a_canner_is_refused_and_with_one_it_is_planned(ada, home):
    beans = make_revision(base=VEGETABLE)
    target = make_target(ada, home, beans, jars=18, jar_size="pint")
    assert seen(home).rows[0].cooking.refusals
    make_target(ada, home, beans, jars=18, jar_size="pint", canner="dial-gauge")
    (row,) = seen(home).rows
    assert row.target == target
    assert (row.cooking.refusals, row.put_up.pots) == ((), 2)
    assert row.cooking.pack_word == "hot pack"
    assert row.plan_url.endswith("canner=dial-gauge&pack=hot")


def test_a_size_nothing_tested_fits_plans_no_pot(ada, home, spread):
    make_target(ada, home, jars=4, kind="jam", produce="plums", jar_size="quart")
    (row,) = seen(home).rows
    assert (row.cooking.revision, row.put_up.pots) == (None, None)
    make_target(ada, home, spread, jars=4, jar_size="quart")
    refused = seen(home).rows[1].cooking.refusals
    assert [refusal.rule for refusal in refused] == ["JAR-SIZE"]


def test_jars_nobody_looked_at_wait_and_unsealed_ones_are_no_stock(ada, home, spread):
    make_batch_out(by=ada, kitchen=home, revision=spread, out_at=timezone.now() - timedelta(hours=2))
    make_shelf(ada, home, spread, 4, unsealed={1: "refrigerate", 2: "freeze"}, broken=(3,))
    make_target(ada, home, spread)
    season = seen(home)
    assert season.rows[0].on_shelf == 2  # one sealed, one kept in the freezer on purpose
    assert season.reading.unseen == 4


def test_jars_that_were_called_back_are_no_stock_and_are_told(ada, home, spread):
    batch = make_shelf(ada, home, spread, 4)
    make_shelf(ada, home, spread, 3, days=20)
    make_target(ada, home, spread)
    recall_open(by=make_person(Role.INSTRUCTOR), batch=batch, reason="The vinegar was too weak.", token=uuid4())
    season = seen(home)
    assert (season.rows[0].on_shelf, season.reading.called_back) == (3, 4)
    # The picture ahead is of what may be eaten.
    assert [month.jars for month in season.shelf(timezone.now()) if month.is_ahead][0] == 2


def test_jars_of_a_freezer_recipe_count(ada, home):
    frozen = make_freezer_revision()
    make_batch_out(by=ada, kitchen=home, revision=frozen, out_at=ago(3))
    make_target(ada, home, frozen, jars=6)
    assert seen(home).rows[0].on_shelf == 4


def test_what_was_really_used_is_learned_from_the_ledger_less_what_never_sealed(ada, home, spread):
    make_shelf(ada, home, spread, 6, unsealed={1: "refrigerate"})
    use(ada, home, spread, 2)
    use(ada, home, spread, 1, "given")
    make_target(ada, home, spread, jars=12)
    (row,) = seen(home).rows
    assert (row.used, row.never_sealed, row.learned, row.differs) == (4, 1, 3, True)


def test_what_broke_was_not_used_and_what_was_corrected_did_not_happen(ada, home, spread):
    batch = make_shelf(ada, home, spread, 6)
    (opened,) = use(ada, home, spread, 3)
    jars.jars_correct(by=ada, movement=opened, count=1, token=uuid4())
    place = jars.kitchen_place(home)
    broken = {"reason": "broken", "source": place, "target": jars.outside_place("broken"), "state": "full"}
    jars.jars_move(by=ada, size="half-pint", count=1, token=uuid4(), batch_id=batch.pk, **broken)
    make_target(ada, home, spread)
    (row,) = seen(home).rows
    assert (row.used, row.on_shelf) == (1, 4)


def test_what_was_used_more_than_a_year_ago_is_not_of_this_year(ada, home, spread):
    make_shelf(ada, home, spread, 4, days=300)
    make_target(ada, home, spread)
    use(ada, home, spread, 2, now=ago(1))
    later = timezone.now() + timedelta(days=370)
    assert seen(home).rows[0].used == 2
    assert season_of(home, now=later).rows[0].used == 0


def test_jars_under_a_member_s_own_name_count_in_her_first_kitchen_only(ada, home, spread):
    second = make_kitchen(ada, name="Summer hut")
    batch = make_shelf(ada, home, spread, 4)
    there, hers = jars.kitchen_place(home), jars.person_place(ada)
    told = {"reason": "moved", "source": there, "target": hers, "state": "full", "batch_id": batch.pk}
    jars.jars_move(by=ada, size="half-pint", count=3, token=uuid4(), **told)
    for kitchen in (home, second):
        make_target(ada, kitchen, spread)
    assert [seen(kitchen).rows[0].on_shelf for kitchen in (home, second)] == [4, 0]


def test_jars_that_stand_in_a_hall_are_told_and_not_counted(ada, home, spread):
    hall = make_kitchen(is_hall=True, name="Hall")
    make_shelf(ada, hall, spread, 5)
    make_target(ada, home, spread)
    season = seen(home)
    assert (season.rows[0].on_shelf, season.reading.in_halls) == (0, 5)


def test_short_are_jars_less_empties_and_lids_less_those_at_home(ada, home, spread):
    make_jars(jars.kitchen_place(home), 5, size="half-pint", by=ada)
    make_target(ada, home, spread, jars=10)
    household_set(by=ada, kitchen=home, evening_minutes=240, lids_at_home=2, is_counted=False)
    season = seen(home)
    assert [(one.name, one.needed, one.there, one.short) for one in season.jars] == [("half-pint", 10, 5, 5)]
    assert season.lids.short == 8


def test_the_shopping_is_of_all_pots_together_without_lids(ada, home, spread):
    make_target(ada, home, spread, jars=10)
    bought = {one.item: one for one in seen(home).shopping("metric")}
    assert bought["sugar"].grams == 1_200
    assert bought["sugar"].bought == "1 × 2 kg bag"
    assert "lids" not in bought


def test_fruit_in_the_freezer_is_taken_for_whole_pots(ada, home, spread):
    make_target(ada, home, spread, jars=10)
    grams = seen(home).rows[0].cooking.fruit_grams
    assert grams > 0
    (row,) = seen(home, frozen={"plums": grams + 5}).rows
    assert (row.put_up.pots, row.put_up.pots_from_freezer, row.put_up.fruit_to_find_grams) == (2, 1, grams)


def test_of_a_recipe_with_several_fruits_nothing_is_taken_from_the_freezer(ada, home):
    both = make_revision(title="Plum and pear spread", produce=["plums", "pears"])
    make_target(ada, home, both, jars=10)
    (row,) = seen(home, frozen={"plums": 90_000, "pears": 90_000}).rows
    assert (row.put_up.pots, row.put_up.pots_from_freezer) == (2, 0)


def test_the_shelf_goes_back_by_the_ledger_and_ahead_by_the_year(ada, home, spread):
    make_shelf(ada, home, spread, 6, days=100)
    make_target(ada, home, spread, jars=12)
    use(ada, home, spread, 2)
    now = timezone.now()
    months = seen(home).shelf(now)
    past, ahead = [m for m in months if not m.is_ahead], [m for m in months if m.is_ahead]
    assert (len(past), len(ahead)) == (13, 12)
    assert (past[0].jars, past[-2].jars, past[-1].jars) == (0, 6, 4)
    assert [month.jars for month in ahead[:5]] == [3, 2, 1, 0, 0]
    assert past[-1].jars == Movement.objects.get(reason="filled").count - 2


def test_jars_no_wish_names_are_listed_with_what_was_used_of_them(ada, home, spread):
    make_shelf(ada, home, spread, 4)
    use(ada, home, spread, 1)
    (row,) = seen(home).without_target
    assert (row.title, row.on_shelf, row.used) == ("Plum spread", 3, 1)


# The club


def test_the_club_sums_what_counted_households_are_short_of_and_takes_nobody_s_spare_jars(ada, home, spread):
    bo = make_person(name="Bo")
    hut = make_kitchen(bo, name="Hut")
    make_jars(jars.kitchen_place(hut), 40, size="half-pint", by=bo)
    for person, kitchen in ((ada, home), (bo, hut)):
        make_target(person, kitchen, spread, jars=10)
    kitchens = list(Kitchen.objects.filter(pk__in=[home.pk, hut.pk]).order_by("name"))
    sums = club_sums(kitchens, now=timezone.now())
    club = club_season(sums, units="metric", lids_on_hand=9, store_empties={"half-pint": 4})
    assert [(one.name, one.needed, one.short) for one in club.jars] == [("half-pint", 10, 6)]
    assert (club.lids.needed, club.lids.short) == (20, 11)
    assert club.wants == ["lids::11", "jars:half-pint:6"]
    assert "want=lids%3A%3A11" in club.order_url
