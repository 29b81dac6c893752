"""What a household says of its year, and jars that leave its shelf: whose it is to say, and everything once."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction

from club.members.choices import Role
from club.season.models import HouseholdSeason, YearlyTarget
from club.season.services import household_set, jars_used, target_recount, target_remove, target_set
from inventory.batches.services import recall_open
from inventory.jars import services as jars
from inventory.jars.models import Balance, Movement
from inventory.jars.services import NotEnough
from recipes.models import RevisionState
from tests.factories.batches import make_batch_checked, make_recall
from tests.factories.jars import make_keeper
from tests.factories.members import make_kitchen, make_person
from tests.factories.recipes import make_recipe, make_revision
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
    return make_revision()


def full_jars(kitchen):
    rows = Balance.objects.filter(place__kitchen=kitchen, state="full").order_by("batch")
    return list(rows.values_list("count", flat=True))


def test_a_wish_said_again_changes_its_number_and_is_no_second_wish(ada, home, spread):
    make_target(ada, home, spread, jars=12)
    make_target(ada, home, spread, jars=20)
    make_target(ada, home, spread, jars=3, jar_size="pint")
    assert dict(YearlyTarget.objects.values_list("jar_size", "jars")) == {"half-pint": 20, "pint": 3}


def test_a_kind_of_some_produce_is_a_wish_too_and_spelt_one_way(ada, home):
    for produce in ("Jalapeño ", "jalapeno"):
        target_set(by=ada, kitchen=home, kind="jam", produce=produce, jar_size="pint", jars=5)
    assert YearlyTarget.objects.get().produce == "jalapeno"


@pytest.mark.parametrize(
    ("told", "field"),
    [
        ({"kind": "jam"}, "recipe"),
        ({"jars": 0}, "jars"),
        ({"jars": 1_000}, "jars"),
        ({"jar_size": "bucket"}, "jar_size"),
        ({"canner": "kettle"}, "canner"),
    ],
)
def test_a_wish_that_cannot_be_meant_is_refused_beside_its_field(ada, home, told, field):
    said = {"kind": "jam", "produce": "plums", "jar_size": "pint", "jars": 4}
    said |= {"produce": ""} if told == {"kind": "jam"} else told
    with pytest.raises(ValidationError) as refused:
        target_set(by=ada, kitchen=home, **said)
    assert field in refused.value.message_dict
    assert not YearlyTarget.objects.exists()


def test_a_recipe_that_is_not_published_is_not_wished_for(ada, home):
    draft = make_recipe()
    make_revision(draft, state=RevisionState.DRAFT)
    with pytest.raises(ValidationError, match="not published"):
        target_set(by=ada, kitchen=home, recipe=draft, jar_size="pint", jars=4)


def test_only_who_cooks_there_says_what_a_household_goes_through(ada, home, spread):
    target = make_target(ada, home, spread)
    for other in (make_person(), make_keeper(), make_person(Role.ORGANISER)):
        with pytest.raises(PermissionDenied):
            make_target(other, home, spread)
        with pytest.raises(PermissionDenied):
            target_recount(by=other, target=target, jars=3)
        with pytest.raises(PermissionDenied):
            target_remove(by=other, target=target)
        with pytest.raises(PermissionDenied):
            household_set(by=other, kitchen=home, evening_minutes=60, lids_at_home=0, is_counted=True)
        with pytest.raises(PermissionDenied):
            use(other, home, spread, 1)


def test_a_hall_is_nobody_s_household(ada, spread):
    hall = make_kitchen(ada, is_hall=True)
    with pytest.raises(PermissionDenied):
        make_target(ada, hall, spread)


def test_a_household_says_how_it_does_its_evenings(ada, home):
    for minutes in (180, 200):
        household_set(by=ada, kitchen=home, evening_minutes=minutes, lids_at_home=24, is_counted=True)
    told = HouseholdSeason.objects.get()
    assert (told.evening_minutes, told.lids_at_home, told.is_counted) == (200, 24, True)
    with pytest.raises(ValidationError, match="half an hour"):
        household_set(by=ada, kitchen=home, evening_minutes=5, lids_at_home=0, is_counted=False)
    with pytest.raises(IntegrityError), transaction.atomic():
        HouseholdSeason.objects.update(evening_minutes=5)


def test_the_database_refuses_a_wish_for_both_a_recipe_and_a_kind(ada, home, spread):
    make_target(ada, home, spread)
    with pytest.raises(IntegrityError), transaction.atomic():
        YearlyTarget.objects.update(kind="jam", produce="plums")


# Jars that leave the shelf


def test_the_oldest_jars_are_opened_first_and_come_back_empty(ada, home, spread):
    make_shelf(ada, home, spread, 3, days=20)
    make_shelf(ada, home, spread, 2, days=90)  # keyed in later, but older
    use(ada, home, spread, 3)
    newer, older = full_jars(home)
    assert (newer, older) == (2, 0)
    assert Balance.objects.get(place__kitchen=home, state="empty").count == 3
    assert jars.ledger_audit().is_sound


def test_a_press_sent_twice_opens_the_jars_once(ada, home, spread):
    make_shelf(ada, home, spread, 2, days=20)
    make_shelf(ada, home, spread, 2, days=90)
    token = uuid4()
    first, again = (use(ada, home, spread, 3, token=token) for _press in range(2))
    assert [movement.pk for movement in first] == [movement.pk for movement in again]
    assert len(first) == 2
    assert sum(full_jars(home)) == 1


def test_jars_given_away_leave_the_club(ada, home, spread):
    make_shelf(ada, home, spread, 4)
    use(ada, home, spread, 2, "given")
    assert sum(full_jars(home)) == 2
    assert Balance.objects.get(place__kind="given-away", state="full").count == 2


def test_more_than_there_are_is_refused_and_nothing_is_written(ada, home, spread):
    make_shelf(ada, home, spread, 2, days=20)
    make_shelf(ada, home, spread, 2, days=30)
    before = Movement.objects.count()
    with pytest.raises(NotEnough, match="There are 4"):
        use(ada, home, spread, 5)
    assert Movement.objects.count() == before
    with pytest.raises(ValidationError, match="opened or given"):
        use(ada, home, spread, 1, "broken")


def test_a_fellow_s_own_jars_are_hers_to_open_though_the_kitchen_is_shared(ada, home, spread):
    bo = make_person(name="Bo")
    home.people.add(bo)
    batch = make_shelf(ada, home, spread, 4)
    jars.jars_move(
        by=make_keeper(),
        reason="moved",
        size="half-pint",
        count=4,
        source=jars.kitchen_place(home),
        target=jars.person_place(bo),
        token=uuid4(),
        state="full",
        batch_id=batch.pk,
    )
    with pytest.raises(NotEnough):
        use(ada, home, spread, 1)
    assert len(use(bo, home, spread, 1)) == 1


def test_another_recipe_s_jars_and_another_size_stay(ada, home, spread):
    other = make_revision()
    make_shelf(ada, home, other, 4)
    make_batch_checked(by=ada, kitchen=home, revision=spread, jar="pint", jars={"pint": 2}, out_at=ago(40))
    with pytest.raises(NotEnough, match="There are 0"):
        use(ada, home, spread, 1)


def test_jars_that_were_called_back_are_neither_opened_nor_given(ada, home, spread):
    batch = make_shelf(ada, home, spread, 4)
    recall_open(by=make_person(Role.INSTRUCTOR), batch=batch, reason="The vinegar was too weak.", token=uuid4())
    for what in ("emptied", "given"):
        with pytest.raises(NotEnough, match="There are 0 good ones"):
            use(ada, home, spread, 1, what)
    assert full_jars(home) == [4]


def test_a_number_below_one_is_no_press(ada, home, spread):
    make_shelf(ada, home, spread, 4)
    with pytest.raises(ValidationError, match="from 1"):
        jars_used(
            by=ada, kitchen=home, what="emptied", recipe_id=spread.recipe_id, size="half-pint", count=0, token=uuid4()
        )


@pytest.mark.parametrize("what", ["given", "emptied"])
def test_jars_that_are_called_back_are_neither_given_away_nor_opened_from_the_shelf(ada, home, spread, what):
    batch = make_shelf(ada, home, spread, 4)
    make_recall(batch=batch)
    with pytest.raises(ValidationError, match="0 good ones"):
        use(ada, home, spread, 1, what=what)
    assert full_jars(home) == [4]
