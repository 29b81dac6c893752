"""What the logs teach of a recipe's yield: one query, as corrected, and nobody's single batch to the club."""

from __future__ import annotations

from datetime import timedelta

import pytest

from inventory.batches.models import FEWEST_KITCHENS, Batch
from inventory.batches.services import batch_abandon
from recipes.engine.yields import Logged, counted_between, prior_of
from tests.factories.batches import NOW, make_batch, make_batch_out
from tests.factories.members import make_kitchen, make_person
from tests.factories.recipes import make_revision

pytestmark = pytest.mark.django_db


@pytest.fixture
def spread():
    return make_revision()


def put_up(revision, jars: int, *, by=None, kitchen=None) -> Batch:
    return make_batch_out(revision=revision, jars={"half-pint": jars}, out_at=NOW, by=by, kitchen=kitchen)


def logged(revision, user):
    prior = prior_of(revision.tested)
    return Batch.objects.logged_of(revision.recipe, user, counted_between(prior.share))


def test_a_batch_counts_by_what_its_jars_hold_over_what_its_plan_filled_in_one_query(spread, django_assert_num_queries):
    batch = put_up(spread, 6)
    planned = batch.plan["yield"]["filled_ml"] / 236.5882365
    person, recipe, between = batch.made_by, spread.recipe, counted_between(prior_of(spread.tested).share)
    with django_assert_num_queries(1):
        found, is_club = Batch.objects.logged_of(recipe, person, between)
    assert not is_club
    assert found.batches == 1
    assert found.total == pytest.approx(6 / planned, rel=1e-4)
    assert found.squares == pytest.approx((6 / planned) ** 2, rel=1e-4)


def test_one_households_batch_is_nothing_to_the_club_and_three_households_are_a_sum(spread):
    mine = put_up(spread, 6)
    stranger = make_person()
    assert logged(spread, stranger)[0].batches == 0
    assert logged(spread, mine.made_by)[0].batches == 1
    for _ in range(FEWEST_KITCHENS - 2):
        put_up(spread, 5)
    assert logged(spread, stranger) == (Logged(), False)
    put_up(spread, 5)
    found, is_club = logged(spread, stranger)
    assert is_club
    assert found.batches == FEWEST_KITCHENS
    assert found == logged(spread, mine.made_by)[0]


def test_many_batches_of_one_household_stay_its_own(spread):
    person = make_person()
    kitchen = make_kitchen(person)
    for _ in range(FEWEST_KITCHENS + 1):
        put_up(spread, 6, by=person, kitchen=kitchen)
    assert logged(spread, make_person())[0].batches == 0
    assert logged(spread, person)[0].batches == FEWEST_KITCHENS + 1


def test_a_log_counts_as_it_stands_after_its_correction(spread):
    batch = put_up(spread, 6)
    before = logged(spread, batch.made_by)[0]
    batch.jars.order_by("number").last().delete()  # as a correction takes one away
    after = logged(spread, batch.made_by)[0]
    assert after.total == pytest.approx(before.total * 5 / 6)


def test_what_lies_far_off_is_left_out_and_said(spread):
    batch = put_up(spread, 1)
    put_up(spread, 6, by=batch.made_by, kitchen=batch.kitchen)
    found, _is_club = logged(spread, batch.made_by)
    assert (found.batches, found.left_out) == (1, 1)


def test_a_batch_on_the_stove_or_given_up_teaches_nothing(spread):
    batch = make_batch(revision=spread)
    given_up = make_batch(revision=spread, by=batch.made_by, kitchen=batch.kitchen)
    batch_abandon(by=given_up.made_by, batch=given_up, reason="burnt", now=NOW + timedelta(hours=1))
    found, _is_club = logged(spread, batch.made_by)
    assert (found.batches, found.left_out) == (0, 0)


def test_the_recipe_and_the_plan_say_what_to_have_ready_and_by_how_many_batches(client, spread):
    batch = put_up(spread, 6)
    client.force_login(batch.made_by)
    slug = spread.recipe.slug
    page = client.get(f"/recipes/{slug}/").content.decode()
    assert "Jars to have ready" in page
    assert "1 batch of your own kitchens" in page
    assert "changes no time, no acid and no canner load" in page
    plan = client.get(f"/recipes/{slug}/plan/", {"pots": "2", "kitchen": batch.kitchen_id}).content.decode()
    assert "1 batch of your own kitchens" in plan
    client.force_login(make_person())
    stranger = client.get(f"/recipes/{slug}/").content.decode()
    assert "no log is counted here yet" in stranger


def test_what_the_logs_teach_changes_neither_process_nor_load_nor_what_a_log_may_claim(client, spread):
    person = make_person()
    kitchen = make_kitchen(person)
    client.force_login(person)
    address, asked = f"/recipes/{spread.recipe.slug}/plan/", {"pots": "2", "kitchen": kitchen.pk}
    before = client.get(address, asked).context["plan"]
    batch = put_up(spread, 6, by=person, kitchen=kitchen)
    most = batch.most_jars("half-pint")
    for _ in range(3):
        put_up(spread, 6, by=person, kitchen=kitchen)
    after = client.get(address, asked).context["plan"]
    assert (after.process, after.loads, after.lines, after.jars) == (
        before.process,
        before.loads,
        before.lines,
        before.jars,
    )
    assert batch.most_jars("half-pint") == most
