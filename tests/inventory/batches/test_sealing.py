from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction

from inventory.batches import services
from inventory.batches.choices import BatchState, Disposal, Seal
from inventory.batches.models import Batch, Jar, SealCheck
from tests.factories.batches import NOW, make_batch, make_batch_checked, make_batch_out, make_freezer_revision
from tests.factories.members import make_kitchen, make_person

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(hours=14)
SEALED = dict.fromkeys(range(1, 5), "sealed")


def look(batch, results=None, *, now=LATER, **more):
    arguments = {"by": batch.made_by, "batch": batch, "token": uuid4(), "results": results or SEALED, "now": now}
    return services.seals_record(**{**arguments, **more})


def refused_fields(batch, *args, **more):
    with pytest.raises(ValidationError) as refused:
        look(batch, *args, **more)
    assert Batch.objects.get().state == BatchState.OUT
    assert set(Jar.objects.values_list("seal", "disposal")) == {(Seal.UNCHECKED, "")}
    assert not SealCheck.objects.exists()
    return refused.value.message_dict


def fates(batch):
    return {jar.number: (jar.seal, jar.disposal) for jar in Jar.objects.filter(batch=batch)}


def test_a_look_after_12_hours_settles_every_jar():
    batch = make_batch_out()
    found = {1: "sealed", 2: "unsealed", 3: "broken", 4: "unsealed"}
    check = look(batch, found, disposals={2: "refrigerate", 4: "reprocess"}, note="Lid 2 bent.")
    assert (check.sealed, check.unsealed, check.broken, check.was_early) == (1, 2, 1, False)
    assert fates(batch) == {
        1: ("sealed", "shelf"),
        2: ("unsealed", "refrigerate"),
        3: ("broken", "discard"),
        4: ("unsealed", "reprocess"),
    }
    kept = Batch.objects.get()
    assert (kept.state, kept.checked_at) == (BatchState.CHECKED, LATER)
    assert not Batch.objects.seals_due(LATER + timedelta(days=1)).exists()


def test_an_early_look_is_kept_and_settles_nothing():
    batch = make_batch_out()
    early = NOW + timedelta(hours=12, seconds=-1)
    check = look(batch, {1: "sealed", 2: "unsealed", 3: "broken", 4: "sealed"}, now=early)
    assert check.was_early
    assert fates(batch) == {1: ("sealed", ""), 2: ("unsealed", ""), 3: ("broken", "discard"), 4: ("sealed", "")}
    assert Batch.objects.get().state == BatchState.OUT
    assert list(Batch.objects.seals_due(NOW + timedelta(hours=12))) == [batch]
    # Jar 3 is broken and gone; the other three are looked at again.
    look(batch, {1: "sealed", 2: "sealed", 4: "sealed"})
    assert fates(batch)[2] == ("sealed", "shelf")
    assert Batch.objects.get().state == BatchState.CHECKED


def test_an_early_look_puts_no_jar_away():
    batch = make_batch_out()
    early = {"now": NOW + timedelta(hours=3), "disposals": {2: "refrigerate"}}
    assert list(refused_fields(batch, SEALED | {2: "unsealed"}, **early)) == ["disposal_2"]


def test_when_every_jar_broke_there_is_nothing_left_to_look_at():
    batch = make_batch_out()
    look(batch, dict.fromkeys(range(1, 5), "broken"), now=NOW + timedelta(hours=1))
    assert Batch.objects.get().state == BatchState.CHECKED


@pytest.mark.parametrize(
    ("results", "disposals", "field"),
    [
        ({1: "sealed", 2: "sealed", 3: "sealed"}, {}, "jar_4"),
        (SEALED | {4: "perhaps"}, {}, "jar_4"),
        (SEALED | {4: "unchecked"}, {}, "jar_4"),
        (SEALED | {5: "sealed"}, {}, "__all__"),
        (SEALED, {9: "freeze"}, "__all__"),
        (SEALED | {4: "unsealed"}, {}, "disposal_4"),
        (SEALED | {4: "unsealed"}, {4: "shelf"}, "disposal_4"),
        (SEALED | {4: "unsealed"}, {4: "eat"}, "disposal_4"),
        (SEALED, {4: "freeze"}, "disposal_4"),
        (SEALED | {4: "broken"}, {4: "refrigerate"}, "disposal_4"),
    ],
)
def test_what_is_not_said_or_cannot_be_is_refused_by_jar(results, disposals, field):
    assert list(refused_fields(make_batch_out(), results, disposals=disposals)) == [field]


def test_a_note_too_long_is_refused():
    assert list(refused_fields(make_batch_out(), note="x" * 301)) == ["note"]


@pytest.mark.parametrize(
    ("checked_at", "now"),
    [
        (LATER + timedelta(minutes=3), LATER),
        (NOW - timedelta(seconds=1), LATER),
        (NOW + timedelta(hours=13), NOW + timedelta(days=40)),
    ],
)
def test_a_time_ahead_before_the_jars_or_long_ago_is_refused(checked_at, now):
    assert list(refused_fields(make_batch_out(), checked_at=checked_at, now=now)) == ["checked_at"]


def test_a_look_keyed_in_late_counts_for_when_it_was_made():
    batch = make_batch_out()
    check = look(batch, checked_at=NOW + timedelta(hours=11), now=NOW + timedelta(hours=15))
    assert check.was_early
    look(batch, checked_at=NOW + timedelta(hours=13), now=NOW + timedelta(hours=15))
    assert Batch.objects.get().checked_at == NOW + timedelta(hours=13)


@pytest.mark.parametrize(("hours", "may"), [(23.99, True), (24, False), (30, False)])
def test_reprocess_may_be_chosen_only_within_24_hours(hours, may):
    batch = make_batch_out()
    chosen = (SEALED | {4: "unsealed"}, NOW + timedelta(hours=hours))
    if may:
        look(batch, chosen[0], disposals={4: "reprocess"}, now=chosen[1])
        assert fates(batch)[4] == ("unsealed", "reprocess")
    else:
        said = refused_fields(batch, chosen[0], disposals={4: "reprocess"}, now=chosen[1])
        assert "24 hours" in said["disposal_4"][0]
        look(batch, chosen[0], disposals={4: "discard"}, now=chosen[1])
        assert fates(batch)[4] == ("unsealed", "discard")


def test_the_same_look_sent_twice_is_one_look():
    batch, token = make_batch_out(), uuid4()
    first = look(batch, token=token)
    assert look(batch, token=token) == first
    assert SealCheck.objects.count() == 1


def test_the_same_early_look_sent_twice_is_one_look():
    batch, token, early = make_batch_out(), uuid4(), NOW + timedelta(hours=2)
    first = look(batch, token=token, now=early)
    assert look(batch, token=token, now=early) == first
    assert SealCheck.objects.count() == 1


def test_a_second_look_after_the_settled_one_is_told_so():
    batch = make_batch_out()
    look(batch)
    with pytest.raises(services.AlreadyDone):
        look(batch, SEALED | {1: "broken"})
    assert fates(batch)[1] == ("sealed", "shelf")


def test_somebody_else_s_token_is_refused():
    cook, fellow = make_person(), make_person()
    batch, token = make_batch_out(by=cook, kitchen=make_kitchen(cook, fellow)), uuid4()
    look(batch, token=token)
    with pytest.raises(ValidationError, match="another look"):
        look(batch, token=token, by=fellow)


def test_before_the_jars_are_out_there_is_nothing_to_look_at():
    for batch in (make_batch(), make_batch_out(revision=make_freezer_revision())):
        with pytest.raises(services.AlreadyDone):
            look(batch)


def test_a_fellow_of_the_kitchen_may_look_and_an_outsider_may_not():
    cook, fellow = make_person(), make_person()
    batch = make_batch_out(by=cook, kitchen=make_kitchen(cook, fellow))
    with pytest.raises(PermissionDenied):
        look(batch, by=make_person())
    assert look(batch, by=fellow).checked_by == fellow


def test_unsealed_jars_are_put_away_otherwise():
    batch = make_batch_checked(unsealed={2: "reprocess", 3: "refrigerate"})
    moved = services.jars_put_away(
        by=batch.made_by, batch=batch, disposals={2: "freeze", 3: "discard"}, now=NOW + timedelta(hours=15)
    )
    assert moved == 2
    assert (fates(batch)[2], fates(batch)[3]) == (("unsealed", "freeze"), ("unsealed", "discard"))
    assert services.jars_put_away(by=batch.made_by, batch=batch, disposals={2: "freeze"}) == 0


@pytest.mark.parametrize(
    "disposals", [{1: "freeze"}, {4: "refrigerate"}, {9: "freeze"}, {2: "reprocess"}, {2: "shelf"}]
)
def test_only_kept_unsealed_jars_are_put_away_and_never_on_the_shelf(disposals):
    batch = make_batch_checked(unsealed={2: "refrigerate"}, broken=(4,))
    before = fates(batch)
    with pytest.raises(ValidationError):
        services.jars_put_away(by=batch.made_by, batch=batch, disposals=disposals)
    assert fates(batch) == before


def test_putting_another_s_jars_away_is_refused():
    batch = make_batch_checked(unsealed={2: "refrigerate"})
    with pytest.raises(PermissionDenied):
        services.jars_put_away(by=make_person(), batch=batch, disposals={2: "discard"})


@pytest.mark.parametrize(
    ("seal", "disposal"),
    [
        (Seal.UNSEALED, Disposal.SHELF),
        (Seal.BROKEN, Disposal.SHELF),
        (Seal.UNCHECKED, Disposal.SHELF),
        (Seal.BROKEN, ""),
        (Seal.NONE, Disposal.SHELF),
        (Seal.NONE, Disposal.REPROCESS),
        (Seal.NONE, ""),
    ],
)
def test_the_database_itself_keeps_unsealed_jars_off_the_shelf(seal, disposal):
    batch = make_batch_out()
    jars = Jar.objects.filter(batch=batch, number=1)
    with pytest.raises(IntegrityError), transaction.atomic():
        jars.update(seal=seal, disposal=disposal)
    assert jars.update(seal=Seal.SEALED, disposal=Disposal.SHELF) == 1
