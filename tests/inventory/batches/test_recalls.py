"""A recall reaches whoever holds a jar, asks until she answers, and keeps its jars from being handed on."""

from __future__ import annotations

from datetime import timedelta
from importlib import import_module
from uuid import uuid4

import pytest
from django.apps import apps
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from club.members.choices import Role
from inventory.batches import services
from inventory.batches.models import Batch, Jar, Recall
from inventory.batches.services import recalls as services_recalls
from inventory.batches.tracing import affected_jars, held_by, holders, holdings, waiting, withdrawn_without_recall
from inventory.jars.models import Balance
from inventory.jars.services import jars_move, kitchen_place, outside_place, person_place, store_place
from recipes.services import revision_withdraw
from tests.factories.batches import NOW, make_batch, make_batch_checked, make_recall, without_lots
from tests.factories.members import make_kitchen, make_organiser, make_person
from tests.factories.recipes import make_revision

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(days=30)


@pytest.fixture
def maker():
    return make_person(name="Mona Maker")


@pytest.fixture
def batch(maker):
    """Four jars on the shelf, in a kitchen shared with one more."""
    house = make_kitchen(maker, make_person(name="Hal Housemate"))
    return make_batch_checked(by=maker, kitchen=house)


def names(recall):
    return [person.name for person in holders(recall)]


def move(batch, target, *, reason="moved", count=1, by=None, source=None):
    return jars_move(
        by=by or batch.made_by,
        reason=reason,
        size="half-pint",
        count=count,
        source=source or kitchen_place(batch.kitchen),
        target=target,
        token=uuid4(),
        state="full",
        batch_id=batch.pk,
        at=LATER,
        now=LATER,
    )


def answer(by, recall, batch, outcome="set-apart", jars=4, **fields):
    told = {"by": by, "recall": recall, "batch": batch, "outcome": outcome, "jars": jars, "now": LATER}
    return services.recall_answer(**{"token": uuid4(), **told, **fields})


@pytest.mark.parametrize("subject", ["batch", "lid_lot", "revision"])
def test_each_kind_of_recall_reaches_the_maker_and_the_household(batch, subject):
    make_batch_checked(lid_code="LID 2", revision=make_revision())  # another household, lid and recipe
    recall = make_recall(**{subject: batch if subject == "batch" else getattr(batch, subject)})
    assert names(recall) == ["Hal Housemate", "Mona Maker"]
    assert affected_jars(recall).count() == 4
    assert set(Batch.objects.recalled()) == {batch}
    assert set(Jar.objects.recalled()) == set(batch.jars.all())


def test_whoever_holds_jars_by_the_ledger_is_reached_and_who_gave_some_away_too(batch, maker):
    keeper = make_person(Role.KEEPER, name="Kit Keeper")
    make_person(name="Una Uninvolved")
    friend = make_person(name="Fay Friend")
    home = make_kitchen(make_person(name="Olga Other"))
    move(batch, kitchen_place(home), by=keeper)
    move(batch, person_place(friend), by=keeper)
    move(batch, store_place(), by=keeper)
    move(batch, outside_place("given-away"), reason="given", by=maker)
    recall = make_recall(batch=batch)
    assert names(recall) == ["Fay Friend", "Hal Housemate", "Kit Keeper", "Mona Maker", "Olga Other"]
    assert {one.where.split()[0] for one in holdings([recall])} == {"kitchen", "person", "store", "gave"}


def test_nobody_who_left_the_club_is_counted_on(batch, maker):
    maker.is_active = False
    maker.save()
    assert names(make_recall(batch=batch)) == ["Hal Housemate"]


def test_one_answer_of_the_household_settles_its_kitchen_and_nobody_elses(batch, maker):
    friend = make_person(name="Fay Friend")
    move(batch, person_place(friend), by=make_person(Role.KEEPER))
    recall = make_recall(batch=batch)
    assert len(waiting([recall])) == 2
    answer(maker, recall, batch, jars=3)
    assert [one.people for one in waiting([recall])] == [{friend.pk}]
    answer(friend, recall, batch, "none-left", 0)
    assert waiting([recall]) == []


def test_jars_thrown_away_leave_the_shelf_and_the_ledger(batch, maker):
    recall = make_recall(batch=batch)
    token = uuid4()
    first = answer(maker, recall, batch, "discarded", 4, token=token)
    assert set(batch.jars.values_list("disposal", flat=True)) == {"discard"}
    assert Balance.objects.there().filter(state="full").count() == 0
    assert answer(maker, recall, batch, "discarded", 4, token=token) == first
    assert recall.answers.count() == 1


def test_of_a_lid_lot_only_the_jars_under_it_are_thrown_away(maker):
    batch = make_batch_checked(by=maker, unsealed={2: "reprocess"})
    other = make_batch_checked(lid_code="LID 9").lid_lot
    Jar.objects.filter(batch=batch, number=2).update(lid_lot=other)
    recall = make_recall(lid_lot=batch.lid_lot)
    answer(maker, recall, batch, "discarded", 4)
    assert list(batch.jars.values_list("disposal", flat=True)) == ["discard", "reprocess", "discard", "discard"]


def test_only_whom_it_reaches_may_answer_and_an_organiser_is_no_exception(batch):
    recall = make_recall(batch=batch)
    for stranger in (make_person(), make_organiser()):
        with pytest.raises(PermissionDenied):
            answer(stranger, recall, batch)
    assert recall.answers.count() == 0


@pytest.mark.parametrize(
    ("told", "field"),
    [
        ({"outcome": "sold"}, "outcome"),
        ({"jars": 0}, "jars"),
        ({"outcome": "none-left", "jars": 2}, "jars"),
        ({"note": "x" * 301}, "note"),
    ],
)
def test_an_answer_that_says_nothing_is_refused_beside_its_field(batch, maker, told, field):
    recall = make_recall(batch=batch)
    with pytest.raises(ValidationError) as refused:
        answer(maker, recall, batch, **told)
    assert set(refused.value.message_dict) == {field}


def test_members_call_back_their_own_batch_and_nothing_else(batch, maker):
    assert make_recall(by=maker, batch=batch).opened_by == maker
    for subject in ({"lid_lot": batch.lid_lot}, {"revision": batch.revision}):
        with pytest.raises(PermissionDenied):
            make_recall(by=maker, **subject)
    with pytest.raises(PermissionDenied):
        make_recall(by=maker, batch=make_batch_checked())


def test_the_same_form_twice_opens_one_recall_and_another_form_is_refused(batch):
    by, token = make_person(Role.INSTRUCTOR), uuid4()
    first = services.recall_open(by=by, batch=batch, reason="Spoiled.", token=token, now=NOW)
    assert services.recall_open(by=by, batch=batch, reason="Spoiled.", token=token, now=NOW) == first
    with pytest.raises(ValidationError):
        make_recall(batch=batch)
    assert Recall.objects.count() == 1


def test_a_recall_names_just_one_subject_and_says_why(batch):
    for told in ({}, {"batch": batch, "lid_lot": batch.lid_lot}, {"batch": batch, "reason": "  "}):
        with pytest.raises(ValidationError):
            make_recall(**told)
    with pytest.raises(IntegrityError), transaction.atomic():
        Recall.objects.create(kind="batch", lid_lot=batch.lid_lot, reason="x", opened_by=batch.made_by, token=uuid4())


def test_a_withdrawn_revision_is_recalled_at_once_and_asked_about_once(batch):
    by = make_organiser()
    revision_withdraw(by=by, revision=batch.revision, reason="The test was repeated.")
    assert set(Batch.objects.recalled()) == {batch}  # before anything else has run
    assert services.recalls_follow_withdrawals(now=LATER) == 1
    assert services.recalls_follow_withdrawals(now=LATER) == 0
    recall = Recall.objects.get()
    assert (recall.revision, recall.opened_by, recall.reason) == (batch.revision, by, "The test was repeated.")
    services.recall_close(by=by, recall=recall, note="All answered.", now=timezone.now())
    assert services.recalls_follow_withdrawals(now=timezone.now()) == 0


def test_a_withdrawal_after_an_earlier_recall_ended_is_asked_about_again(batch):
    by, now = make_organiser(), timezone.now()
    recall = make_recall(revision=batch.revision, by=by)
    services.recall_close(by=by, recall=recall, note="Found sound.", is_cleared=True, now=now)
    revision_withdraw(by=by, revision=batch.revision, reason="The test was repeated.")
    [waits] = withdrawn_without_recall()
    assert waits == batch.revision
    assert services.recalls_follow_withdrawals(now=timezone.now()) == 1
    assert services.recalls_follow_withdrawals(now=timezone.now()) == 0
    again = Recall.objects.open().get()
    assert again.reason == "The test was repeated."
    services.recall_close(by=by, recall=again, note="All answered.", now=timezone.now())
    assert services.recalls_follow_withdrawals(now=timezone.now()) == 0


def test_jars_filled_after_the_recall_of_their_revision_ended_are_asked_about_too(batch):
    by = make_organiser()
    late = make_batch(by=batch.made_by, kitchen=batch.kitchen, revision=batch.revision)
    revision_withdraw(by=by, revision=batch.revision, reason="The test was repeated.")
    services.recalls_follow_withdrawals(now=NOW)
    ended = timezone.now()
    services.recall_close(by=by, recall=Recall.objects.get(), note="All answered.", now=ended)
    assert services.recalls_follow_withdrawals(now=ended) == 0
    out = ended + timedelta(hours=2)
    told = {"jars": {"half-pint": 2}, "jars_out_at": out, "minutes": 10, "lid_code": "L", "now": out}
    services.batch_log_process(by=late.made_by, batch=late, lots=without_lots(late), **told)
    assert services.recalls_follow_withdrawals(now=out) == 1
    assert Recall.objects.open().count() == 1


def test_a_withdrawal_whose_recall_cannot_be_opened_does_not_keep_the_others_back(batch, maker, monkeypatch):
    other = make_batch_checked(by=maker, revision=make_revision(title="Another spread"))
    for one in (batch, other):
        revision_withdraw(by=make_organiser(), revision=one.revision, reason="The test was repeated.")
    write = services_recalls.open_once

    def broken(kind, fields, *more):
        if fields["revision"] == batch.revision:
            raise RuntimeError("not this one")
        return write(kind, fields, *more)

    monkeypatch.setattr(services_recalls, "open_once", broken)
    with pytest.raises(RuntimeError, match="not this one"):
        services.recalls_follow_withdrawals(LATER)
    assert Recall.objects.get().revision == other.revision


def test_a_withdrawn_revision_without_a_jar_opens_nothing():
    make_revision(state="withdrawn")
    assert services.recalls_follow_withdrawals(now=NOW) == 0


def test_closed_is_not_cleared_and_only_cleared_jars_are_free_again(batch):
    by = make_person(Role.INSTRUCTOR)
    recall = make_recall(by=by, batch=batch)
    services.recall_close(by=by, recall=recall, note="Everybody answered.", now=LATER)
    assert Batch.objects.recalled().exists()
    with pytest.raises(services.AlreadyDone):
        services.recall_close(by=by, recall=recall, note="Again.", now=LATER)
    second = make_recall(by=by, batch=batch, now=LATER)
    services.recall_close(by=by, recall=second, note="Laboratory: sound.", is_cleared=True, now=LATER)
    Recall.objects.filter(pk=recall.pk).update(is_cleared=True)
    assert not Batch.objects.recalled().exists()


def test_an_answer_to_a_closed_recall_is_told_so(batch, maker):
    by = make_person(Role.INSTRUCTOR)
    recall = make_recall(by=by, batch=batch)
    services.recall_close(by=by, recall=recall, note="Done.", now=LATER)
    with pytest.raises(services.AlreadyDone):
        answer(maker, recall, batch)


def test_the_reach_costs_the_same_for_one_recall_and_for_many(django_assert_max_num_queries):
    recalls = [make_recall(batch=make_batch_checked()) for _n in range(6)]
    for some in (recalls[:1], recalls):
        with django_assert_max_num_queries(9):
            assert len(holdings(some)) == len(some)


def test_a_person_sees_the_holdings_that_are_hers(batch, maker):
    recalls = [make_recall(batch=batch), make_recall(batch=make_batch_checked())]
    assert set(held_by(maker, holdings(recalls))) == {recalls[0].pk}


def two_kitchens(person):
    """A batch of which the ledger knows jars in two kitchens of the same person, each shared with somebody else."""
    home = make_kitchen(person, make_person(name="Hal Housemate"), name="Plum Lane")
    other = make_kitchen(person, make_person(name="Sue Sister"), name="Sea Road")
    batch = make_batch_checked(by=person, kitchen=home)
    move(batch, kitchen_place(other), by=make_person(Role.KEEPER))
    return batch, home, other


def test_one_member_of_two_households_settles_only_the_one_they_answer_for(maker):
    batch, home, other = two_kitchens(maker)
    recall = make_recall(batch=batch)
    answer(maker, recall, batch, jars=3, where=f"kitchen {home.pk}")
    assert [one.where for one in waiting([recall])] == [f"kitchen {other.pk}"]
    answer(maker, recall, batch, jars=1, where=f"kitchen {other.pk}")
    assert waiting([recall]) == []


def test_who_holds_jars_in_two_places_says_for_which_they_answer(maker):
    batch, home, _other = two_kitchens(maker)
    recall = make_recall(batch=batch)
    with pytest.raises(ValidationError, match="more than one place"):
        answer(maker, recall, batch)
    token = uuid4()
    answer(maker, recall, batch, jars=3, where=f"kitchen {home.pk}", token=token)
    with pytest.raises(ValidationError, match="something else"):
        answer(maker, recall, batch, jars=3, where="store", token=token)
    assert recall.answers.count() == 1


def test_nobody_answers_for_a_place_that_is_not_theirs(maker):
    batch, _home, other = two_kitchens(maker)
    recall = make_recall(batch=batch)
    housemate = batch.kitchen.people.get(name="Hal Housemate")
    with pytest.raises(PermissionDenied):
        answer(housemate, recall, batch, where=f"kitchen {other.pk}")
    assert len(waiting([recall])) == 2


def test_jars_made_in_somebody_elses_kitchen_are_asked_about_of_both(maker):
    hall = make_kitchen(make_person(name="Hanna Host"), is_hall=True)
    batch = make_batch_checked(by=maker, kitchen=hall)
    recall = make_recall(batch=batch)
    answer(hall.people.get(), recall, batch, "none-left", 0)
    assert [one.where for one in waiting([recall])] == [f"maker {maker.pk}"]
    answer(maker, recall, batch, "discarded", 4)
    assert waiting([recall]) == []
    assert set(batch.jars.values_list("disposal", flat=True)) == {"discard"}


def test_jars_thrown_away_are_those_of_the_place_that_was_answered_for(batch, maker):
    friend = make_person(name="Fay Friend")
    Jar.objects.filter(batch=batch, number__lte=2).update(held_by=maker)
    move(batch, person_place(maker), count=2)
    recall = make_recall(batch=batch)
    answer(maker, recall, batch, "discarded", 4, where=f"person {maker.pk}")
    assert list(batch.jars.values_list("disposal", flat=True)) == ["discard", "discard", "shelf", "shelf"]
    with pytest.raises(PermissionDenied):
        answer(friend, recall, batch)


def leave(person):
    person.is_active = False
    person.save()


def test_who_left_the_club_stays_on_the_list_and_is_not_counted_as_answered(maker):
    batch = make_batch_checked(by=maker)
    leave(maker)
    recall = make_recall(batch=batch)
    [holding] = waiting([recall])
    assert (holding.people, holding.former, holding.is_left_alone) == (frozenset(), {maker.pk}, True)
    assert names(recall) == []  # no mail goes to somebody who cannot sign in to answer it


def test_what_somebody_who_left_told_is_noted_by_those_who_may_trace_and_nobody_else(maker):
    batch = make_batch_checked(by=maker)
    Jar.objects.filter(batch=batch).update(held_by=maker)
    move(batch, person_place(maker), by=make_person(Role.KEEPER), count=4)
    leave(maker)
    recall = make_recall(batch=batch)
    with pytest.raises(PermissionDenied):
        answer(make_person(), recall, batch, "discarded", 4)
    answer(make_organiser(), recall, batch, "discarded", 4)
    assert waiting([recall]) == []
    assert Balance.objects.there().filter(state="full").count() == 0


def test_a_kitchen_that_everybody_moved_out_of_still_leads_to_whoever_made_the_jars(batch, maker):
    batch.kitchen.people.clear()
    [holding] = waiting([make_recall(batch=batch)])
    assert (holding.where, holding.people) == (f"kitchen {batch.kitchen_id}", {maker.pk})


def test_old_answers_settle_the_place_they_were_for_and_none_where_that_is_not_known(maker):
    batch, _home, _other = two_kitchens(maker)
    single = make_batch_checked(by=maker)
    recalls = [make_recall(batch=one) for one in (batch, single)]
    for recall in recalls:
        recall.answers.create(batch=recall.batch, person=maker, outcome="set-apart", jars=4, token=uuid4())
    migration = import_module("inventory.batches.migrations.0006_recall_answers_by_place")
    migration.places_of_answers(apps, None)
    assert [one.answers.get().where for one in recalls] == ["", f"kitchen {single.kitchen_id}"]
    assert {one.recall_id for one in waiting(recalls)} == {recalls[0].pk}
