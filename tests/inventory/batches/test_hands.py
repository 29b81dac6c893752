"""A second person at a batch, handing it over, and dropping one that was started by mistake."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse

from club.core.errors import AlreadyDone
from inventory.batches import services
from inventory.batches.choices import PressKind
from inventory.batches.models import Batch, BatchHand, Press
from inventory.batches.stove import course_of
from inventory.jars.models import Movement
from tests.factories.batches import (
    NOW,
    make_batch,
    make_batch_checked,
    make_batch_out,
    make_pressure_batch,
    make_staged,
)
from tests.factories.classes import make_hall
from tests.factories.members import make_kitchen, make_person

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(minutes=30)


def ask(batch: Batch, person, **changes) -> BatchHand:
    told = {"by": batch.made_by, "batch": batch, "person": person, "token": uuid4(), "now": LATER}
    return services.hand_ask(**told | changes)


def may(person, batch: Batch) -> tuple[bool, bool, bool]:
    """Sees it, works at its stove, writes in its log."""
    rows = Batch.objects.filter(pk=batch.pk)
    gates = (rows.visible_to(person), rows.worked_at_by(person), rows.changeable_by(person))
    return tuple(gate.exists() for gate in gates)


NOTHING, AT_THE_STOVE, ALL = (False, False, False), (True, True, False), (True, True, True)


def test_a_second_person_says_yes_first_and_then_works_at_the_stove():
    batch, friend = make_batch(), make_person()
    hand = ask(batch, friend)
    assert may(friend, batch) == NOTHING
    services.hand_accept(by=friend, hand=hand, now=LATER)
    assert may(friend, batch) == AT_THE_STOVE
    assert list(Batch.objects.under_way_of(friend)) == [batch]
    step = course_of(batch).steps[0].key
    services.stove_press(by=friend, batch=batch, token=uuid4(), kind=PressKind.DONE, step=step, now=LATER)
    services.hand_end(by=friend, hand=hand, now=LATER)
    assert may(friend, batch) == NOTHING


def test_who_may_use_the_kitchen_is_at_the_stove_at_once():
    by = make_person()
    batch, other = make_batch(by=by, kitchen=make_hall()), make_person()
    assert ask(batch, other).accepted_at == LATER
    assert may(other, batch) == AT_THE_STOVE


def test_a_batch_changes_hands_by_the_yes_of_who_gets_it_and_the_first_keeps_seeing_it():
    batch, heir = make_batch(), make_person()
    first = batch.made_by
    Batch.objects.filter(pk=batch.pk).update(kitchen=make_hall())  # no household of theirs
    hand = ask(batch, heir, takes_over=True)
    assert (may(heir, batch), may(first, batch)) == (NOTHING, ALL)
    got = services.hand_accept(by=heir, hand=hand, now=LATER)
    assert got.made_by == heir
    assert (may(heir, batch), may(first, batch)) == (ALL, AT_THE_STOVE)
    with pytest.raises(AlreadyDone):
        services.hand_accept(by=heir, hand=hand, now=LATER)


def test_a_housemate_takes_over_at_once_and_an_instructor_who_started_it_is_named_once():
    by, mate = make_person(), make_person()
    batch = make_batch(by=by, kitchen=make_kitchen(by, mate))
    Batch.objects.filter(pk=batch.pk).update(started_by=mate)
    got = services.batch_take_over(by=mate, batch=batch, now=LATER)
    assert (got.made_by, got.started_by) == (mate, None)
    with pytest.raises(AlreadyDone):
        services.batch_take_over(by=mate, batch=batch, now=LATER)
    with pytest.raises(PermissionDenied):
        services.batch_take_over(by=make_person(), batch=batch, now=LATER)


def test_only_the_one_who_is_asked_answers_and_only_who_writes_the_log_hands_it_on():
    batch, friend, stranger = make_batch(), make_person(), make_person()
    hand = ask(batch, friend)
    with pytest.raises(PermissionDenied):
        services.hand_accept(by=stranger, hand=hand)
    with pytest.raises(PermissionDenied):
        services.hand_end(by=stranger, hand=hand)
    services.hand_accept(by=friend, hand=hand, now=LATER)
    with pytest.raises(PermissionDenied):
        ask(batch, stranger, by=friend, takes_over=True)
    assert ask(batch, stranger, by=friend).asked_by == friend


def test_nobody_is_asked_twice_and_one_question_to_take_over_is_open():
    batch, friend = make_batch(), make_person()
    ask(batch, friend, takes_over=True)
    for refused in ({"person": friend}, {"person": make_person(), "takes_over": True}, {"person": batch.made_by}):
        with pytest.raises(ValidationError):
            ask(batch, **refused)
    done = make_batch_checked()
    with pytest.raises(AlreadyDone):
        ask(done, friend)


def test_the_page_asks_and_who_is_asked_answers_on_the_page_of_the_stove(sign_in):
    batch, friend = make_batch(), make_person(name="Friend")
    client, address = sign_in(batch.made_by), reverse("batches:people", args=[batch.lot_code])
    form = client.get(address).context["form"]
    client.post(address, {"token": form["token"].value(), "person": friend.email, "takes_over": ""})
    hand = BatchHand.objects.get()
    theirs = sign_in(friend)
    assert list(theirs.get(reverse("batches:stove-list")).context["asked"]) == [hand]
    theirs.post(reverse("batches:hand-answer", args=[hand.pk]), {"do": "accept"})
    assert may(friend, batch) == AT_THE_STOVE
    theirs.post(address, {"do": "take"})
    assert Batch.objects.get().made_by == friend
    own = BatchHand.objects.live().get()
    theirs.post(address, {"do": f"end-{own.pk}"})
    assert not BatchHand.objects.live().exists()


# Started by mistake.


def press(batch: Batch, kind: str, step: str) -> Press:
    return services.stove_press(by=batch.made_by, batch=batch, token=uuid4(), kind=kind, step=step, now=LATER)


def test_a_batch_started_by_mistake_leaves_nothing_behind():
    batch = make_pressure_batch()
    course = course_of(batch)
    press(batch, PressKind.DONE, course.steps[0].key)
    slip = services.stove_press(
        by=batch.made_by, batch=batch, token=uuid4(), kind="lids", step=course.steps[0].key, words="LID 9", now=LATER
    )
    services.stove_press(
        by=batch.made_by,
        batch=batch,
        token=uuid4(),
        kind="taken-back",
        step=slip.step,
        takes_back=slip.token,
        now=LATER,
    )
    ask(batch, make_person())
    services.batch_discard(by=batch.made_by, batch=batch)
    assert not Batch.objects.exists()
    assert not Press.objects.exists()
    assert not BatchHand.objects.exists()
    assert not Movement.objects.exists()
    dried = make_staged("dry", "apples-rings-or-slices-1-8-in")
    services.batch_discard(by=dried.made_by, batch=dried)
    assert not Batch.objects.exists()


def test_once_jars_were_in_the_canner_it_is_given_up_instead():
    batch = make_batch()
    course = course_of(batch)
    process = next(step for step in course.steps if step.is_process)
    press(batch, PressKind.BEGAN, process.key)
    with pytest.raises(ValidationError, match="in the canner"):
        services.batch_discard(by=batch.made_by, batch=batch)
    with pytest.raises(IntegrityError), transaction.atomic():
        batch.presses.all().delete()
    assert batch.presses.exists()


def test_what_is_in_the_books_stays_there():
    out = make_batch_out()
    with pytest.raises(AlreadyDone):
        services.batch_discard(by=out.made_by, batch=out)
    measured = make_batch(by=out.made_by, kitchen=out.kitchen, revision=out.revision)
    services.reading_note(
        by=out.made_by,
        batch=measured,
        measured="ph",
        value=Decimal("3.2"),
        token=uuid4(),
        by_strip=True,
        at=LATER,
        now=LATER,
    )
    with pytest.raises(ValidationError, match="stays in the books"):
        services.batch_discard(by=out.made_by, batch=measured)
    assert Batch.objects.count() == 2
    with pytest.raises(PermissionDenied):
        services.batch_discard(by=make_person(), batch=measured)


def test_the_page_asks_once_more_before_it_is_gone(sign_in):
    batch = make_batch()
    client, address = sign_in(batch.made_by), reverse("batches:discard", args=[batch.lot_code])
    assert client.get(address).status_code == 200
    assert Batch.objects.exists()
    assert client.post(address)["Location"] == reverse("batches:list")
    assert not Batch.objects.exists()
