"""Something went wrong: the page without a batch, and the page of a batch with its hours."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from club.members.choices import Role
from inventory.batches.accidents import Act, Situation
from recipes.safety import Food
from tests.factories.batches import (
    make_batch,
    make_batch_checked,
    make_batch_out,
    make_freezer_revision,
    make_pressure_batch,
    make_pressure_batch_out,
)
from tests.factories.members import make_person
from tests.helpers import text_of

pytestmark = pytest.mark.django_db

WRONG = reverse("batches:wrong")


def ago(**span):
    return timezone.now() - timedelta(**span)


def of(batch):
    return reverse("batches:batch-wrong", args=[batch.lot_code])


@pytest.fixture
def cook():
    return make_person(name="Cook")


# Without a batch


def test_the_list_names_every_situation_and_what_a_low_acid_jar_can_do(cook, sign_in, django_assert_max_num_queries):
    client = sign_in(cook)
    with django_assert_max_num_queries(5):
        page = client.get(WRONG)
    assert [one for one, _name in page.context["listed"]] == list(Situation)
    assert "answer" not in page.context
    text = text_of(page)
    assert "Botulism" in text
    assert "Clostridium botulinum" in text
    assert "Children under 5" in text


@pytest.mark.parametrize("what", list(Situation))
def test_what_is_not_known_counts_as_the_strictest(what, cook, sign_in):
    answer = sign_in(cook).get(WRONG, {"what": what.value}).context["answer"]
    assert (answer.situation, Act.FREEZE in answer.acts, answer.may_reprocess) == (what, False, False)


def test_food_and_hours_give_the_answer_and_stay_typed(cook, sign_in):
    asked = {"what": "unsealed", "food": "acid", "since": "2"}
    page = sign_in(cook).get(WRONG, asked)
    assert page.context["answer"].acts == (Act.REPROCESS, Act.REFRIGERATE, Act.FREEZE)
    assert {name: page.context["form"][name].value() for name in asked} == asked
    assert 'href="?what=mould&amp;food=acid&amp;since=2"' in page.content.decode()


def test_jars_still_in_the_canner_have_their_own_answer(cook, sign_in):
    page = sign_in(cook).get(WRONG, {"what": "heat-fell", "food": "low-acid", "since": "stove"})
    assert page.context["answer"].acts == (Act.RESTART,)


@pytest.mark.parametrize(
    "asked", [{"what": "nonsense"}, {"what": "mould", "food": "x"}, {"what": "mould", "since": "-3"}]
)
def test_nonsense_in_the_address_shows_the_list_and_no_answer(asked, cook, sign_in):
    page = sign_in(cook).get(WRONG, asked)
    assert page.status_code == 200
    assert "answer" not in page.context


def test_each_answer_has_its_source_on_a_press(cook, sign_in):
    html = sign_in(cook).get(WRONG, {"what": "mould"}).content.decode()
    assert '<details class="cite">' in html
    assert "K-State Extension" in html
    assert "from memory" not in html
    assert "no source" not in html


@pytest.mark.parametrize(
    ("asked", "is_boiled"),
    [
        ({"what": "heat-fell", "food": "low-acid", "since": "24"}, False),
        ({"what": "mould", "food": "near"}, False),
        ({"what": "not-set", "food": "low-acid"}, False),  # no answer is known
        ({"what": "jar-smaller", "food": "low-acid"}, True),
        ({}, True),
    ],
)
def test_what_is_thrown_away_is_not_said_to_be_boiled(asked, is_boiled, cook, sign_in):
    page = sign_in(cook).get(WRONG, asked)
    assert page.status_code == 200
    assert ("answer" in page.context) == bool(asked)
    assert ("Before you taste it" in text_of(page)) == is_boiled


# With a batch


def test_the_hours_of_the_batch_are_counted(cook, sign_in, django_assert_max_num_queries):
    batch = make_batch_out(by=cook, out_at=ago(hours=5, minutes=20))
    client = sign_in(cook)
    with django_assert_max_num_queries(14):
        page = client.get(of(batch), {"what": "unsealed"})
    assert page.context["answer"].acts == (Act.REPROCESS, Act.REFRIGERATE, Act.FREEZE)
    assert page.context["until"] == batch.jars_out_at + timedelta(hours=24)
    assert "5 h 20 min" in text_of(page)


def test_a_day_later_the_jar_is_thrown_away(cook, sign_in):
    batch = make_batch_out(by=cook, out_at=ago(hours=24, minutes=1))
    page = sign_in(cook).get(of(batch), {"what": "unsealed"})
    assert page.context["answer"].acts == (Act.DISCARD,)
    assert "until" not in page.context


def test_low_acid_jars_are_suspect_jars_and_boiling_is_counted_for_the_kitchen(cook, sign_in):
    batch = make_pressure_batch_out(by=cook, out_at=ago(hours=30))
    page = sign_in(cook).get(of(batch), {"what": "heat-fell"})
    assert page.context["answer"].acts == (Act.DISCARD_AS_SUSPECT,)
    assert page.context["panel"].food is Food.LOW_ACID
    assert page.context["panel"].pressure
    assert "Before you taste it" not in text_of(page)
    kept = sign_in(cook).get(of(batch), {"what": "jar-smaller"})
    assert kept.context["panel"].minutes == 14  # 1,040 m are 3,412 ft
    assert "here for 14 minutes" in text_of(kept)


def test_a_batch_on_the_stove_starts_its_time_again(cook, sign_in):
    batch = make_pressure_batch(by=cook, started_at=ago(hours=5, minutes=50))
    page = sign_in(cook).get(of(batch), {"what": "heat-fell"})
    assert page.context["answer"].acts == (Act.RESTART,)
    assert page.context["out_for"] is None
    assert "still on the stove" in text_of(page)


@pytest.mark.parametrize("span", [{"hours": 6, "minutes": 1}, {"days": 3}])
@pytest.mark.parametrize("what", ["heat-fell", "boiled-dry", "power-cut"])
def test_a_batch_that_was_never_logged_has_the_strictest_answer(what, span, cook, sign_in):
    page = sign_in(cook).get(of(make_pressure_batch(by=cook, started_at=ago(**span))), {"what": what})
    assert page.context["answer"].acts == (Act.DISCARD_AS_SUSPECT,)
    assert "until" not in page.context
    text = text_of(page)
    assert "ago and never logged" in text
    assert "still on the stove" not in text
    assert "Count the whole time again" not in text


def test_hours_of_a_seal_count_from_the_second_process_and_all_others_from_the_first(cook, sign_in):
    from inventory.batches import services

    batch = make_batch_checked(by=cook, out_at=ago(hours=20), unsealed={1: "reprocess"})
    batch = services.jars_reprocess(
        by=cook,
        batch=batch,
        minutes=10,
        lid_code="LID 2",
        jars_out_at=ago(hours=1),
        rims_sound=True,
    )
    page = sign_in(cook).get(of(batch), {"what": "unsealed"})
    assert page.context["until"] == batch.reprocessed_out_at + timedelta(hours=24)
    assert page.context["out_for"] < timedelta(hours=2)
    assert page.context["refusal"].code == "reprocessed-once"
    for what in ("heat-fell", "jar-larger", "headspace-much"):
        page = sign_in(cook).get(of(batch), {"what": what})
        assert page.context["answer"].is_thrown_away
        assert page.context["out_for"] > timedelta(hours=19)
        assert "until" not in page.context


def test_what_cannot_have_happened_to_it_has_no_answer(cook, sign_in):
    batch = make_batch_out(by=cook, out_at=ago(hours=1))
    page = sign_in(cook).get(of(batch), {"what": "gauge-high"})
    assert page.status_code == 200
    assert "answer" not in page.context


def test_a_freezer_batch_is_asked_about_thawing(cook, sign_in):
    batch = make_batch_out(by=cook, out_at=ago(days=90), revision=make_freezer_revision())
    client = sign_in(cook)
    assert Situation.UNSEALED not in dict(client.get(of(batch)).context["listed"])
    assert client.get(of(batch), {"what": "thawed-cold"}).context["answer"].acts == (Act.REFREEZE,)


def test_a_jam_that_did_not_set_is_remade_with_the_minutes_of_its_kitchen(cook, sign_in):
    batch = make_batch_out(by=cook, out_at=ago(days=9))
    page = sign_in(cook).get(of(batch), {"what": "not-set"})
    assert page.context["answer"].acts == (Act.KEEP, Act.REMAKE)
    assert page.context["remake_minutes"] == 10
    assert "4 tsp" in text_of(page)


def test_strangers_find_nothing_and_who_may_trace_finds_it(cook, sign_in):
    batch = make_batch(by=cook)
    assert sign_in(make_person()).get(of(batch)).status_code == 404
    assert sign_in(make_person(Role.KEEPER)).get(of(batch)).status_code == 200
