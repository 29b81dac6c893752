"""Two presses at one moment, in real threads on the real database: one writes, the other learns of it."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta
from functools import partial
from threading import Event
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db.models import Sum

from club.members.choices import Role
from inventory.batches import services
from inventory.batches.choices import BatchState
from inventory.batches.models import Batch, Jar, JarsSetAside, Recall, SealCheck
from inventory.batches.services import log
from inventory.batches.tracing import holdings
from inventory.equipment.choices import Kind
from inventory.equipment.services import own_canner_add
from inventory.jars.models import Balance, LidLot
from inventory.jars.services import ledger_audit, lid_lot_get_or_add
from tests import helpers
from tests.factories.batches import (
    NOW,
    beans,
    make_batch,
    make_batch_checked,
    make_batch_out,
    make_recall,
    without_lots,
)
from tests.factories.equipment import make_test, make_thing
from tests.factories.members import make_kitchen, make_person
from tests.factories.recipes import make_revision

pytestmark = pytest.mark.django_db(transaction=True)

RACERS = 4
race = partial(helpers.race, racers=RACERS, refusals=services.AlreadyDone)
REFUSED = (services.AlreadyDone, ValidationError)
LATER = NOW + timedelta(hours=14)


def test_one_form_pressed_in_four_places_starts_one_batch():
    by = make_person()
    asked = {
        "by": by,
        "revision": make_revision(),
        "kitchen": make_kitchen(by),
        "token": uuid4(),
        "pots": 1,
        "jar": "half-pint",
    }
    got = race(lambda _n: services.batch_start(**asked).pk)
    assert got == [Batch.objects.get().pk] * RACERS


def test_four_logs_of_one_batch_fill_its_jars_once():
    batch = make_batch()
    out = NOW + timedelta(hours=2)
    told = {"by": batch.made_by, "batch": batch, "minutes": 10, "lid_code": "L", "jars_out_at": out, "now": out}
    lots = without_lots(batch)
    got = race(lambda n: services.batch_log_process(**told, lots=lots, jars={"half-pint": n + 1}).pk)
    assert Counter(got) == {services.AlreadyDone: RACERS - 1, batch.pk: 1}
    assert Jar.objects.count() == got.index(batch.pk) + 1


def test_of_four_logs_of_a_corrected_batch_one_at_the_setting_is_written_and_none_below_it():
    dial = make_thing(Kind.DIAL_GAUGE)
    make_test(dial)  # 0.5 psi high: 13 where the table says 12
    batch = make_batch(**beans(canner_code=dial.code))
    out = NOW + timedelta(hours=2)
    told = {"by": batch.made_by, "batch": batch, "minutes": 20, "lid_code": "L", "jars_out_at": out, "now": out}
    got = race(lambda n: services.batch_log_process(**told, psi=12 + n % 2, jars={"pint": 3}).pk, refusals=REFUSED)
    assert got.count(batch.pk) == 1
    assert got.index(batch.pk) % 2 == 1
    assert set(got) <= {batch.pk, services.AlreadyDone, ValidationError}
    logged = Batch.objects.get()
    assert (logged.processed_psi, logged.setting_psi, Jar.objects.count()) == (13, 13, 3)


def test_four_cards_of_one_household_get_four_codes():
    by = make_person()
    kitchen = make_kitchen(by)
    card = {"kind": Kind.WEIGHTED_GAUGE, "name": "Ours", "capacity": {"pint": 9}}
    got = race(lambda _n: own_canner_add(by=by, kitchen=kitchen, **card).code)
    assert sorted(got) == ["OWN-01", "OWN-02", "OWN-03", "OWN-04"]


def test_four_recalls_of_one_canner_are_one():
    dial, by = make_thing(Kind.DIAL_GAUGE), make_person(Role.INSTRUCTOR)
    asked = {"by": by, "canner": dial, "reason": "It failed its test.", "now": NOW}
    got = race(lambda _n: services.recall_open(**asked, token=uuid4()).pk, refusals=REFUSED)
    assert Counter(got) == {ValidationError: RACERS - 1, Recall.objects.get().pk: 1}


def test_giving_up_and_logging_at_one_moment_only_one_happens():
    batch = make_batch()
    lots = without_lots(batch)
    out = NOW + timedelta(hours=2)

    def press(number: int) -> str:
        if number % 2:
            return services.batch_abandon(by=batch.made_by, batch=batch, reason="Scorched.").state
        told = {"minutes": 10, "lid_code": "L", "jars_out_at": out, "now": out, "jars": {"half-pint": 3}}
        return services.batch_log_process(by=batch.made_by, batch=batch, lots=lots, **told).state

    got = race(press)
    state = Batch.objects.get().state
    assert Counter(got) == {services.AlreadyDone: RACERS - 1, state: 1}
    assert Jar.objects.count() == (3 if state == BatchState.OUT else 0)


def test_one_look_sent_from_four_places_is_one_look():
    batch, token = make_batch_out(), uuid4()
    look = {"by": batch.made_by, "batch": batch, "token": token, "now": LATER}
    got = race(lambda _n: services.seals_record(**look, results=dict.fromkeys(range(1, 5), "sealed")).pk)
    assert got == [SealCheck.objects.get().pk] * RACERS


def test_one_early_look_sent_from_four_places_is_one_look():
    batch, token = make_batch_out(), uuid4()
    look = {"by": batch.made_by, "batch": batch, "token": token, "now": NOW + timedelta(hours=1)}
    got = race(lambda _n: services.seals_record(**look, results=dict.fromkeys(range(1, 5), "sealed")).pk)
    assert got == [SealCheck.objects.get().pk] * RACERS


def test_of_four_different_looks_one_settles_the_jars():
    batch = make_batch_out()
    look = {"by": batch.made_by, "batch": batch, "now": LATER}
    found = ["sealed", "unsealed", "broken", "sealed"]

    def press(number: int) -> int:
        results = dict.fromkeys(range(1, 5), found[number])
        away = dict.fromkeys(range(1, 5), "freeze") if found[number] == "unsealed" else {}
        return services.seals_record(**look, token=uuid4(), results=results, disposals=away).pk

    got = race(press)
    check = SealCheck.objects.get()
    assert Counter(got) == {services.AlreadyDone: RACERS - 1, check.pk: 1}
    assert set(Jar.objects.values_list("seal", flat=True)) == {found[got.index(check.pk)]}


def test_four_reprocess_logs_are_one_reprocess():
    batch = make_batch_checked(unsealed={1: "reprocess"}, lid_code="OLD")
    told = {
        "minutes": 10,
        "jars_out_at": LATER + timedelta(hours=1),
        "rims_sound": True,
        "now": LATER + timedelta(hours=1),
    }
    got = race(lambda n: services.jars_reprocess(by=batch.made_by, batch=batch, lid_code=f"NEW{n}", **told).pk)
    assert Counter(got) == {services.AlreadyDone: RACERS - 1, batch.pk: 1}
    assert Jar.objects.get(number=1).lid_lot.code == f"NEW{got.index(batch.pk)}"
    assert set(LidLot.objects.values_list("code", flat=True)) == {"OLD", f"NEW{got.index(batch.pk)}"}


def test_four_people_name_one_new_lid_lot():
    by = make_person()
    got = race(lambda _n: lid_lot_get_or_add(by=by, code="ab-1", maker="Tin").pk)
    assert got == [LidLot.objects.get().pk] * RACERS


def test_a_jar_put_away_is_not_reprocessed_at_the_same_moment():
    batch = make_batch_checked(unsealed={1: "reprocess"})
    again = LATER + timedelta(hours=1)
    told = {"minutes": 10, "lid_code": "NEW", "jars_out_at": again, "rims_sound": True, "now": again}

    def press(number: int) -> str:
        if number % 2:
            try:
                services.jars_put_away(by=batch.made_by, batch=batch, disposals={1: "freeze"})
            except ValidationError:  # it was reprocessed already
                return "late"
            return "away"
        services.jars_reprocess(by=batch.made_by, batch=batch, **told)
        return "again"

    race(press)
    batch.refresh_from_db()
    expected = (BatchState.OUT, "") if batch.reprocessed_out_at else (BatchState.CHECKED, "freeze")
    assert (batch.state, Jar.objects.get(number=1).disposal) == expected


@pytest.mark.parametrize("outcome", ["discarded", "eaten", "returned"])
def test_four_of_a_household_who_answer_a_recall_at_once_book_its_jars_once(outcome):
    people = [make_person() for _n in range(RACERS)]
    batch = make_batch_checked(by=people[0], kitchen=make_kitchen(*people))
    recall = make_recall(batch=batch)
    got = race(
        lambda n: (
            services.recall_answer(
                by=people[n], recall=recall, batch=batch, outcome=outcome, jars=4, token=uuid4(), now=LATER
            ).pk
        )
    )
    assert any(isinstance(one, int) for one in got)
    assert Jar.objects.filter(batch=batch, answer=None).count() == 0
    full = Balance.objects.there().filter(batch=batch, state="full")
    assert dict(full.values_list("place__kind", "count")) == ({"store": 4} if outcome == "returned" else {})
    assert ledger_audit().is_sound


def test_of_two_who_call_back_the_same_lot_at_once_one_opens_the_recall():
    batch = make_batch_checked()
    by = [make_person(Role.INSTRUCTOR), make_person(Role.KEEPER)]
    got = helpers.race(
        lambda n: services.recall_open(by=by[n], batch=batch, reason="Spoiled.", token=uuid4(), now=LATER).pk,
        racers=2,
        refusals=ValidationError,
    )
    assert sorted(got.count(one) for one in (ValidationError, Recall.objects.get().pk)) == [1, 1]


def test_four_who_throw_the_same_jars_away_empty_them_once():
    batch = make_batch_checked()
    got = race(
        lambda _n: services.jars_throw_away(by=batch.made_by, batch=batch, jars=[1, 2], token=uuid4(), now=LATER)
    )
    assert sum(count for count in got if count is not services.AlreadyDone) == 2
    assert ledger_audit().problems == []
    assert (
        sum(row.count for row in Balance.objects.filter(batch=batch, state="full", place__kitchen=batch.kitchen)) == 2
    )


def test_four_who_open_the_same_jars_open_each_once():
    batch = make_batch_out()
    told = {"by": batch.made_by, "batch": batch, "situation": "heat-fell", "jars": [1, 2, 3, 4]}
    got = race(lambda _n: services.jars_open_again(**told, now=NOW + timedelta(hours=1)))
    assert sum(count for count in got if count is not services.AlreadyDone) == 4
    assert Batch.objects.get().state == BatchState.CHECKED


def test_four_who_set_the_same_jar_aside_do_it_once():
    batch = make_batch_checked()
    told = {"by": batch.made_by, "batch": batch, "situation": "mould", "jars": [1]}
    got = race(lambda _n: services.jars_set_aside(**told, token=uuid4(), now=LATER).pk)
    assert Counter(got)[services.AlreadyDone] == RACERS - 1
    assert JarsSetAside.objects.count() == 1


def thrown_away(batch):
    services.jars_throw_away(by=batch.made_by, batch=batch, jars=[2], token=uuid4(), now=LATER)


def answered(batch):
    [place] = holdings([Recall.objects.get()])
    told = {"by": batch.made_by, "batch": batch, "where": place.where, "outcome": "discarded", "jars": 4}
    services.recall_answer(**told, recall=Recall.objects.get(), token=uuid4(), now=LATER)


@pytest.mark.parametrize(("other", "gone"), [(thrown_away, 1), (answered, 4)])
def test_what_became_of_jars_while_a_look_was_written_is_not_written_over(other, gone, monkeypatch):
    """Whoever comes between the look's reading of the jars and its writing waits for it."""
    batch = make_batch_out()
    make_recall(batch=batch, now=NOW + timedelta(minutes=1))
    has_read, has_written = Event(), Event()

    def as_it_was(*args):
        has_read.set()
        has_written.wait(timeout=1)  # as long as the other could need, were it not made to wait

    monkeypatch.setattr(log, "_findings_check", as_it_was)
    look = {"by": batch.made_by, "batch": batch, "token": uuid4(), "now": LATER}

    def between():
        assert has_read.wait(timeout=helpers.LONGEST_WAIT)
        other(batch)
        has_written.set()

    helpers.at_once(
        lambda: services.seals_record(**look, results=dict.fromkeys(range(1, 5), "sealed")), between, refusals=()
    )
    assert set(Jar.objects.values_list("seal", flat=True)) == {"sealed"}
    assert Jar.objects.filter(disposal="discard").count() == gone
    assert ledger_audit().is_sound
    assert Balance.objects.filter(batch=batch, state="full").aggregate(n=Sum("count"))["n"] == 4 - gone


def test_of_corrections_pressed_at_once_one_is_written_and_the_others_are_told():
    batch = make_batch_checked()
    was = services.log_as_signed(batch)
    asked = {
        "by": batch.made_by,
        "batch": batch,
        "over": 0,
        "reason": "Counted again.",
        "started_at": was.started_at,
        "jars_out_at": was.jars_out_at,
        "altitude_m": was.altitude_m,
        "minutes": was.minutes,
        "lid_code": "LID 1",
        "now": LATER + timedelta(days=1),
    }
    counts = ({"half-pint": 3}, {"half-pint": 2}, {"half-pint": 5}, {"half-pint": 1})
    got = race(lambda n: services.batch_log_correct(**asked, jars=counts[n], token=uuid4()).jars)
    [written] = [answer for answer in got if isinstance(answer, dict)]
    assert batch.signed_logs.count() == 2
    assert batch.jars.count() == sum(written.values())
    assert ledger_audit().is_sound
