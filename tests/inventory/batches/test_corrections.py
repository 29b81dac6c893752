"""Correcting a signed log: both kept, every rule asked again, unsafe jars taken back, none freed by a correction."""

from __future__ import annotations

import re
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse

from club.core.errors import AlreadyDone
from club.members.choices import Role
from inventory.batches import services
from inventory.batches.choices import BatchState
from inventory.batches.models import Batch, Jar, JarsSetAside, OfferedJar, Recall, SignedLog
from inventory.batches.presentation import labels_of
from inventory.batches.rules import OwnGauge
from inventory.batches.tracing import holders, is_called_back
from inventory.jars.models import LidLot, LidStock, Movement
from inventory.jars.services import jars_move, kitchen_place, ledger_audit, outside_place
from tests.factories.batches import NOW, make_batch, make_batch_checked, make_batch_out, make_pressure_batch_out
from tests.factories.members import make_kitchen, make_person

pytestmark = pytest.mark.django_db
SOON, LATER = NOW + timedelta(hours=1), NOW + timedelta(days=3)


def correct(batch: Batch, *, now: Any = LATER, by: Any = None, agreed: bool = False, **changes: Any) -> SignedLog:
    """The log as it is, but for what changes; `agreed` says yes to whatever finding there is."""
    batch = Batch.objects.get(pk=batch.pk)
    was = services.log_as_signed(batch)
    told: dict[str, Any] = {
        "by": by or batch.made_by,
        "batch": batch,
        "over": was.number,
        "reason": "Read off the wrong line.",
        "token": uuid4(),
        "jars": was.jars,
        "started_at": was.started_at,
        "process_started_at": was.process_started_at,
        "jars_out_at": was.jars_out_at,
        "altitude_m": was.altitude_m,
        "minutes": was.minutes,
        "psi": was.psi,
        "lid_code": was.lid_lot.code if was.lid_lot else "",
        "headspace": was.headspace,
        "now": now,
    } | changes
    try:
        return services.batch_log_correct(**told)
    except ValidationError as error:
        if not agreed:
            raise
        finding = error.error_dict["is_true"][0].params["finding"]
        return services.batch_log_correct(**told | {"agreed_to": finding})


def refused(field: str, batch: Batch, **changes: Any) -> str:
    before = SignedLog.objects.count()
    with pytest.raises(ValidationError) as caught:
        correct(batch, **changes)
    assert field in caught.value.message_dict, caught.value.message_dict
    assert SignedLog.objects.count() == before
    return " ".join(caught.value.message_dict[field])


def test_a_correction_stands_beside_the_first_log_and_the_batch_follows_it():
    batch = make_batch_checked()
    row = correct(batch, minutes=12, process_started_at=NOW - timedelta(minutes=20))
    first = batch.signed_logs.get(number=0)
    assert (first.minutes, row.minutes, row.reason) == (10, 12, "Read off the wrong line.")
    assert first.signed_by == row.signed_by == batch.made_by
    batch.refresh_from_db()
    assert (batch.processed_minutes, batch.state) == (12, BatchState.CHECKED)
    assert not row.finding
    assert not is_called_back(batch)
    assert labels_of(batch)


def test_the_database_keeps_signed_logs_as_they_are():
    row = correct(make_batch_checked(), minutes=12)
    for change in (lambda: SignedLog.objects.filter(pk=row.pk).update(minutes=30), lambda: row.delete()):
        with pytest.raises(IntegrityError), transaction.atomic():
            change()


def test_the_database_takes_no_log_below_the_tested_process_without_its_finding():
    row = correct(make_batch_checked(), minutes=12)
    for changed in ({"minutes": 9}, {"minutes": None}, {"finding": "Too short."}, {"reason": ""}):
        copy = SignedLog.objects.get(pk=row.pk)
        copy.pk, copy.number, copy.token = None, 2, uuid4()
        for name, value in changed.items():
            setattr(copy, name, value)
        with pytest.raises(IntegrityError), transaction.atomic():
            copy.save(force_insert=True)


def test_too_short_a_time_is_said_first_and_then_calls_the_jars_back_from_every_shelf():
    batch, friend = make_batch_checked(), make_person(name="Friend")
    Jar.objects.filter(batch=batch, number=1).update(held_by=friend)
    text = refused("is_true", batch, minutes=7)
    assert "7 minutes is too short" in text
    assert "2 messages" in text
    row = correct(batch, minutes=7, agreed=True)
    batch.refresh_from_db()
    assert row.recall is not None
    assert row.recall.batch == batch
    assert "7 minutes" in row.recall.reason
    assert {person.name for person in holders(row.recall)} == {batch.made_by.name, "Friend"}
    assert is_called_back(batch)
    assert not labels_of(batch)
    assert not Jar.objects.to_give().exists()
    assert batch.processed_minutes == 10  # the batch itself never holds less than was tested


def test_another_finding_than_the_one_agreed_to_is_said_anew():
    batch = make_batch_checked()
    with pytest.raises(ValidationError) as caught:
        correct(batch, minutes=7)
    finding = caught.value.error_dict["is_true"][0].params["finding"]
    with pytest.raises(ValidationError):
        correct(batch, minutes=5, agreed_to=finding)


@pytest.mark.parametrize(
    "changes",
    [
        {"altitude_m": Decimal(2100)},  # a higher band asks for more
        {"jars": {"pint": 2}, "altitude_m": Decimal(2100)},
        {"jars": {"quart": 2}},  # no process of it covers one
        {"headspace": "much"},
    ],
)
def test_each_rule_of_the_first_log_is_asked_of_the_corrected_figures(changes):
    row = correct(make_batch_checked(), agreed=True, **changes)
    assert row.finding
    assert row.recall is not None


def test_pressure_below_the_setting_and_a_gauge_tested_only_later_are_findings():
    batch = make_pressure_batch_out()
    low = correct(batch, psi=batch.setting_psi - 1, agreed=True)
    assert low.finding
    assert low.recall is not None
    other = make_pressure_batch_out(own_gauge=OwnGauge((NOW - timedelta(days=5)).date(), Decimal(0)))
    gone_back = other.started_at - timedelta(days=9)
    row = correct(other, started_at=gone_back, now=SOON, agreed=True)
    assert "before the test of the gauge" in row.finding


def test_within_two_hours_the_jars_are_set_aside_for_their_second_process():
    batch = make_batch_out()
    row = correct(batch, minutes=7, now=SOON, agreed=True)
    assert row.recall is None
    assert row.set_aside is not None
    assert Jar.objects.filter(set_aside=row.set_aside).count() == 4
    again = {"by": batch.made_by, "batch": batch, "situation": "heat-fell", "jars": [1, 2, 3, 4]}
    assert services.jars_open_again(**again, now=SOON) == 4


def test_a_batch_on_somebody_elses_shelf_is_called_back_even_within_two_hours():
    batch = make_batch_out()
    Jar.objects.filter(batch=batch, number=1).update(held_by=make_person())
    assert correct(batch, minutes=7, now=SOON, agreed=True).recall is not None


def test_a_correction_to_good_figures_frees_nothing_until_somebody_else_has_looked():
    batch, teacher = make_batch_checked(), make_person(Role.INSTRUCTOR)
    recall = correct(batch, minutes=7, agreed=True).recall
    close = {"recall": recall, "note": "The timer's picture shows it.", "is_cleared": True, "now": LATER}
    with pytest.raises(ValidationError, match="7 minutes"):
        services.recall_close(by=teacher, **close)
    row = correct(batch, minutes=10, reason="The timer's picture shows 10.", by=batch.made_by)
    assert not row.finding
    assert is_called_back(batch)
    assert not labels_of(batch)
    services.recall_close(by=teacher, **close)
    assert not is_called_back(Batch.objects.get(pk=batch.pk))


def test_who_corrected_the_log_does_not_call_its_jars_sound_whatever_their_office():
    teacher = make_person(Role.INSTRUCTOR)
    batch = make_batch_checked(by=teacher)
    recall = correct(batch, minutes=7, agreed=True).recall
    correct(batch, minutes=10)
    with pytest.raises(ValidationError, match="another instructor"):
        services.recall_close(by=teacher, recall=recall, note="Fine.", is_cleared=True, now=LATER)
    with pytest.raises(IntegrityError), transaction.atomic():
        Recall.objects.filter(pk=recall.pk).update(
            is_cleared=True, closed_at=LATER, closed_by=teacher, closed_note="Fine."
        )


def test_jars_that_a_log_set_aside_are_not_found_sound_while_it_stands():
    batch = make_batch_out()
    aside = correct(batch, minutes=7, now=SOON, agreed=True).set_aside
    teacher = make_person(Role.INSTRUCTOR)
    with pytest.raises(ValidationError, match="7 minutes"):
        services.set_aside_clear(by=teacher, set_aside=aside, note="Looks good.", now=SOON)
    sound = {"is_sound": True, "settled_at": SOON, "settled_by": teacher, "note": "Looks good."}
    with pytest.raises(IntegrityError), transaction.atomic():
        JarsSetAside.objects.filter(pk=aside.pk).update(**sound)


def test_fewer_jars_leave_batch_ledger_and_lids_in_agreement():
    batch = make_batch_checked()
    correct(batch, jars={"half-pint": 3})
    assert list(batch.jars.values_list("number", flat=True)) == [1, 2, 3]
    assert LidStock.objects.get().used == 3
    correct(batch, jars={"half-pint": 2})
    correct(batch, jars={"half-pint": 4})
    assert LidStock.objects.get().used == 4
    assert batch.jars.count() == 4
    assert ledger_audit().is_sound
    batch.refresh_from_db()
    assert batch.state == BatchState.OUT  # the jars that came to it want a look


def test_a_jar_that_somebody_did_something_with_was_filled():
    batch = make_batch_checked()
    services.jar_offer_make(by=batch.made_by, batch=batch, size="half-pint", count=3, token=uuid4())
    assert "At least 3" in refused("jars_half-pint", batch, jars={"half-pint": 2})
    services.jars_throw_away(by=batch.made_by, batch=batch, jars=[4], token=uuid4(), now=LATER)
    assert "At least 4" in refused("jars_half-pint", batch, jars={"half-pint": 3})


def test_jars_moved_by_hand_are_put_right_in_the_ledger_first():
    batch = make_batch_checked()
    jars_move(
        by=batch.made_by,
        reason="given",
        size="half-pint",
        count=4,
        source=kitchen_place(batch.kitchen),
        target=outside_place("given-away"),
        state="full",
        batch_id=batch.pk,
        token=uuid4(),
    )
    assert "jar ledger first" in refused("jars_half-pint", batch, jars={"half-pint": 3})


def test_another_size_is_booked_wherever_the_jars_stand():
    batch = make_batch_checked(pots=2)
    correct(batch, jars={"half-pint": 2, "pint": 2}, agreed=True)
    assert sorted(batch.jars.values_list("size", flat=True)) == ["half-pint", "half-pint", "pint", "pint"]
    assert ledger_audit().is_sound
    assert Movement.objects.filter(batch=batch, size="pint", reason="filled").exists()


def test_another_lot_of_lids_moves_jars_and_lids():
    batch = make_batch_checked()
    correct(batch, lid_code="LID 2")
    assert set(batch.jars.values_list("lid_lot__code", flat=True)) == {"LID 2"}
    assert {one.lot.code: one.used for one in LidStock.objects.select_related("lot")} == {"LID 1": 0, "LID 2": 4}
    assert ledger_audit().is_sound
    assert LidLot.objects.count() == 2


def test_seals_that_were_looked_at_too_early_are_looked_at_again():
    batch = make_batch_checked()
    services.jar_offer_make(by=batch.made_by, batch=batch, size="half-pint", count=3, token=uuid4())
    correct(batch, jars_out_at=NOW + timedelta(hours=6))
    batch.refresh_from_db()
    assert batch.state == BatchState.OUT
    assert len(batch.jars_to_look_at()) == 4
    assert not OfferedJar.objects.filter(is_live=True).exists()
    refused("jars_out_at", batch, jars_out_at=NOW + timedelta(hours=15))


def test_jars_that_stood_for_more_than_a_day_by_the_corrected_hour_are_set_aside_alone():
    batch = make_batch_checked(unsealed={2: "refrigerate", 3: "freeze"})
    row = correct(batch, started_at=NOW - timedelta(hours=20), jars_out_at=NOW - timedelta(hours=11), agreed=True)
    assert list(Jar.objects.filter(set_aside=row.set_aside).values_list("number", flat=True)) == [2, 3]
    assert row.recall is None
    assert labels_of(Batch.objects.for_page().get(pk=batch.pk))


def test_a_second_process_too_late_by_the_corrected_hour_is_a_finding():
    batch = make_batch_checked(unsealed={1: "reprocess"})
    again = NOW + timedelta(hours=20)
    services.jars_reprocess(
        by=batch.made_by, batch=batch, minutes=10, lid_code="LID 3", jars_out_at=again, rims_sound=True, now=again
    )
    row = correct(batch, started_at=NOW - timedelta(hours=9), jars_out_at=NOW - timedelta(hours=8), agreed=True)
    assert "more than 24 hours after" in row.finding
    refused("jars_out_at", batch, jars_out_at=NOW + timedelta(hours=21))


def test_what_cannot_be_true_is_refused():
    batch = make_batch_checked()
    refused("reason", batch, minutes=12, reason=" ")
    refused("minutes", batch, minutes=0)
    refused("jars", batch, jars={})
    refused("jars_half-pint", batch, jars={"half-pint": 40})
    refused("started_at", batch, minutes=300)
    refused("jars_out_at", batch, jars_out_at=LATER + timedelta(days=1))
    refused("altitude", batch, altitude_m=Decimal(100))
    with pytest.raises(ValidationError, match="Nothing differs"):
        correct(batch)


def test_only_who_may_write_the_log_corrects_it_and_only_a_signed_one():
    batch = make_batch_checked()
    with pytest.raises(PermissionDenied):
        correct(batch, minutes=12, by=make_person(Role.ORGANISER))
    cooking = make_batch(by=batch.made_by, kitchen=batch.kitchen)
    with pytest.raises(AlreadyDone):
        services.batch_log_correct(
            by=batch.made_by,
            batch=cooking,
            over=0,
            reason="x",
            token=uuid4(),
            jars={"half-pint": 4},
            started_at=NOW,
            jars_out_at=NOW,
            altitude_m=cooking.altitude_m,
        )


def test_the_second_of_two_corrections_is_told_and_a_form_sent_twice_writes_once():
    batch, token = make_batch_checked(), uuid4()
    row = correct(batch, minutes=12, token=token, over=0)
    assert correct(batch, minutes=12, token=token, over=0) == row
    with pytest.raises(AlreadyDone, match="meanwhile"):
        correct(batch, minutes=13, over=0)


def test_the_page_says_first_what_the_figures_mean_and_keeps_what_was_typed(sign_in):
    mate = make_person(name="Mate")
    by = make_person()
    batch = make_batch_checked(by=by, kitchen=make_kitchen(by, mate))
    client, address = sign_in(mate), reverse("batches:correct", args=[batch.lot_code])
    page = client.get(address)
    form = page.context["form"]
    sent = {name: form[name].value() for name in form.fields if form[name].value() not in (None, "")}
    for name in ("started_at", "jars_out_at"):
        sent[name] = f"{sent[name].astimezone():%Y-%m-%d %H:%M}"
    sent |= {"minutes": 7, "reason": "The timer was set to 7."}
    first = client.post(address, sent)
    assert "is_true" in first.context["form"].errors
    assert first.context["form"]["reason"].value() == sent["reason"]
    assert not SignedLog.objects.exists()
    [agreed] = re.findall(r'name="finding"\s+value="([^"]*)"', first.content.decode())
    done = client.post(address, sent | {"is_true": "on", "finding": agreed}, follow=True)
    assert done.context["signed"][0].signed_by == mate
    assert done.context["recalls"]
    assert "The timer was set to 7." in done.content.decode()
