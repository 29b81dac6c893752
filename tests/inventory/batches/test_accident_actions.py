"""What is done after an accident: set aside, opened for a second process, thrown away, called back."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from club.members.choices import Role
from inventory.batches import services
from inventory.batches.choices import BatchState, Disposal, Seal
from inventory.batches.models import Batch, Jar, JarsSetAside, Recall
from inventory.batches.presentation import labels_of
from inventory.batches.services import AlreadyDone
from inventory.jars.models import Balance
from inventory.jars.services import ledger_audit
from tests.factories.batches import (
    NOW,
    make_batch,
    make_batch_checked,
    make_batch_out,
    make_freezer_revision,
    make_pressure_batch_out,
    make_recall,
)
from tests.factories.members import make_kitchen, make_person
from tests.helpers import text_of

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)


def ago(**span):
    return timezone.now() - timedelta(**span)


@pytest.fixture
def cook():
    return make_person(name="Cook")


@pytest.fixture
def instructor():
    return make_person(Role.INSTRUCTOR, name="Ira Steward")


def aside(batch, jars, *, by=None, situation="siphoned-half", token=None, now=None):
    return services.jars_set_aside(
        by=by or batch.made_by, batch=batch, situation=situation, jars=jars, token=token or uuid4(), now=now
    )


def fates(batch):
    return list(Jar.objects.filter(batch=batch).order_by("number").values_list("seal", "disposal"))


# Set aside


def test_a_jar_set_aside_has_no_label_and_is_not_offered_or_handed_over(cook):
    batch = make_batch_checked(by=cook, out_at=NOW)
    aside(batch, [2], now=NOW + 20 * HOUR)
    assert [jar.number for jar in Jar.objects.filter(batch=batch).to_give().order_by("number")] == [1, 3, 4]
    assert [label.number for label in labels_of(batch)] == [1, 3, 4]
    with pytest.raises(ValidationError, match="3 jars of this size"):
        services.jar_offer_make(by=cook, batch=batch, size="half-pint", count=4, token=uuid4())


def test_an_offer_of_it_ends_with_it(cook):
    batch = make_batch_checked(by=cook, out_at=NOW)
    offer = services.jar_offer_make(by=cook, batch=batch, size="half-pint", count=4, token=uuid4())
    aside(batch, [1, 2])
    assert offer.jars.filter(is_live=True).count() == 2
    with pytest.raises(ValidationError, match="2 jars can still be had"):
        services.jar_claim_make(by=make_person(), offer=offer, count=3, token=uuid4())


def test_the_database_lets_nobody_hand_on_a_jar_that_is_set_aside(cook):
    batch = make_batch_checked(by=cook, out_at=NOW)
    aside(batch, [1])
    with pytest.raises(IntegrityError), transaction.atomic():
        Jar.objects.filter(batch=batch, number=1).update(held_by=make_person())


def test_setting_aside_twice_with_one_form_is_once_and_again_is_done_before(cook):
    batch, token = make_batch_checked(by=cook, out_at=NOW), uuid4()
    first = aside(batch, [1], token=token)
    assert aside(batch, [1], token=token) == first
    with pytest.raises(AlreadyDone):
        aside(batch, [1])
    assert JarsSetAside.objects.count() == 1
    with pytest.raises(ValidationError, match="used for something else"):
        aside(make_batch_checked(by=cook, out_at=NOW), [1], token=token)


@pytest.mark.parametrize("jars", [[], [9], [1, 9]])
def test_a_jar_that_is_not_there_is_said_beside_the_field_and_nothing_is_written(jars, cook):
    batch = make_batch_checked(by=cook, out_at=NOW)
    with pytest.raises(ValidationError) as refused:
        aside(batch, jars)
    assert set(refused.value.message_dict) == {"jars"}
    assert not JarsSetAside.objects.exists()
    assert not Jar.objects.filter(set_aside__isnull=False).exists()


def test_an_unknown_situation_is_refused(cook):
    with pytest.raises(ValidationError) as refused:
        aside(make_batch_checked(by=cook, out_at=NOW), [1], situation="nonsense")
    assert set(refused.value.message_dict) == {"situation"}


def test_who_may_not_write_in_the_batch_does_nothing(cook):
    batch, stranger = make_batch_checked(by=cook, out_at=NOW), make_person()
    for act in (
        lambda: aside(batch, [1], by=stranger),
        lambda: services.jars_throw_away(by=stranger, batch=batch, jars=[1], token=uuid4()),
        lambda: services.jars_open_again(by=stranger, batch=batch, situation="heat-fell", jars=[1]),
    ):
        with pytest.raises(PermissionDenied):
            act()


def test_jars_found_sound_are_free_again_and_only_who_may_trace_says_so(cook, instructor):
    batch = make_batch_checked(by=cook, out_at=NOW)
    row = aside(batch, [1, 2], now=NOW + 15 * HOUR)
    with pytest.raises(PermissionDenied):
        services.set_aside_clear(by=cook, set_aside=row, note="They look fine.")
    with pytest.raises(ValidationError) as refused:
        services.set_aside_clear(by=instructor, set_aside=row, note="  ")
    assert set(refused.value.message_dict) == {"note"}
    services.set_aside_clear(by=instructor, set_aside=row, note="The gauge was tested again.")
    assert Jar.objects.filter(batch=batch).to_give().count() == 4
    with pytest.raises(AlreadyDone):
        services.set_aside_clear(by=instructor, set_aside=row, note="Again.")


# Thrown away


def test_jars_are_thrown_away_before_their_look_and_the_ledger_follows(cook):
    batch = make_batch_out(by=cook, out_at=NOW)
    count = services.jars_throw_away(by=cook, batch=batch, jars=[1, 2, 3, 4], token=uuid4(), now=NOW + 3 * HOUR)
    assert count == 4
    assert fates(batch) == [(Seal.UNCHECKED, Disposal.DISCARD)] * 4
    assert Batch.objects.get(pk=batch.pk).state == BatchState.CHECKED
    assert (
        sum(row.count for row in Balance.objects.filter(batch=batch, state="full", place__kitchen=batch.kitchen)) == 0
    )
    assert ledger_audit().problems == []


def test_what_is_left_is_still_looked_at(cook):
    batch = make_batch_out(by=cook, out_at=NOW)
    services.jars_throw_away(by=cook, batch=batch, jars=[1], token=uuid4(), now=NOW + HOUR)
    assert Batch.objects.get(pk=batch.pk).state == BatchState.OUT
    assert Jar.objects.filter(batch=batch).to_look_at().count() == 3


def test_thrown_away_twice_is_once(cook):
    batch, token = make_batch_checked(by=cook, out_at=NOW), uuid4()
    services.jars_throw_away(by=cook, batch=batch, jars=[1], token=token)
    with pytest.raises(AlreadyDone):
        services.jars_throw_away(by=cook, batch=batch, jars=[1], token=token)
    assert ledger_audit().problems == []


def test_what_was_set_aside_and_is_thrown_away_is_settled(cook):
    batch = make_batch_checked(by=cook, out_at=NOW)
    row = aside(batch, [1, 2], now=NOW + 15 * HOUR)
    services.jars_throw_away(by=cook, batch=batch, jars=[1], token=uuid4(), now=NOW + 16 * HOUR)
    assert JarsSetAside.objects.get(pk=row.pk).settled_at is None
    services.jars_throw_away(by=cook, batch=batch, jars=[2], token=uuid4(), now=NOW + 17 * HOUR)
    settled = JarsSetAside.objects.get(pk=row.pk)
    assert (settled.settled_by, settled.is_sound) == (cook, False)


def test_jars_of_a_freezer_batch_are_thrown_away_too(cook):
    batch = make_batch_out(by=cook, out_at=NOW, revision=make_freezer_revision())
    services.jars_throw_away(by=cook, batch=batch, jars=[1], token=uuid4(), now=NOW + HOUR)
    assert fates(batch)[0] == (Seal.NONE, Disposal.DISCARD)
    assert Batch.objects.get(pk=batch.pk).state == BatchState.FROZEN


# Opened to be processed again


def reopen(batch, *, jars=(1, 2, 3, 4), situation="heat-fell", after=HOUR):
    return services.jars_open_again(
        by=batch.made_by, batch=batch, situation=situation, jars=jars, now=batch.jars_out_at + after
    )


def again(batch, *, out_after, minutes=20, psi=12, lid_code="LID 2"):
    out_at = batch.jars_out_at + out_after
    return services.jars_reprocess(
        by=batch.made_by,
        batch=batch,
        minutes=minutes,
        psi=psi,
        lid_code=lid_code,
        jars_out_at=out_at,
        rims_sound=True,
        now=out_at,
    )


def test_within_two_hours_the_jars_are_opened_and_processed_again(cook):
    batch = make_pressure_batch_out(by=cook, out_at=NOW)
    assert reopen(batch) == 4
    assert fates(batch) == [(Seal.OPENED, Disposal.REPROCESS)] * 4
    batch = Batch.objects.get(pk=batch.pk)
    assert (batch.state, batch.reprocess_by) == (BatchState.CHECKED, NOW + 2 * HOUR)
    batch = again(batch, out_after=3 * HOUR)
    assert batch.state == BatchState.OUT
    assert fates(batch) == [(Seal.UNCHECKED, "")] * 4
    # A lid that was taken off did not fail.
    assert not Jar.objects.filter(batch=batch, failed_lid_lot__isnull=False).exists()


def test_what_went_into_the_canner_too_late_is_not_written_down_as_done(cook):
    batch = make_pressure_batch_out(by=cook, out_at=NOW)
    reopen(batch)
    with pytest.raises(ValidationError) as refused:
        again(Batch.objects.get(pk=batch.pk), out_after=6 * HOUR)
    assert set(refused.value.message_dict) == {"jars_out_at"}
    assert Batch.objects.get(pk=batch.pk).reprocessed_out_at is None


@pytest.mark.parametrize("after", [2 * HOUR, 12 * HOUR, 30 * HOUR])
def test_after_two_hours_nothing_is_opened(after, cook):
    batch = make_pressure_batch_out(by=cook, out_at=NOW)
    with pytest.raises(ValidationError, match="not processed again"):
        reopen(batch, after=after)
    assert fates(batch) == [(Seal.UNCHECKED, "")] * 4


@pytest.mark.parametrize("situation", ["unsealed", "mould", "siphoned-half", "gauge-low", "pickles-soft"])
def test_only_where_the_published_answer_says_so(situation, cook):
    batch = make_pressure_batch_out(by=cook, out_at=NOW)
    with pytest.raises(ValidationError, match="not processed again"):
        reopen(batch, situation=situation)


def test_called_back_jars_are_not_opened(cook):
    batch = make_pressure_batch_out(by=cook, out_at=NOW)
    make_recall(batch=batch)
    with pytest.raises(ValidationError, match="called back"):
        reopen(batch)


def test_opened_twice_is_once(cook):
    batch = make_pressure_batch_out(by=cook, out_at=NOW)
    reopen(batch)
    with pytest.raises(AlreadyDone):
        reopen(batch)


def test_with_other_jars_to_look_at_the_reprocess_is_written_down_after_them(cook):
    batch = make_pressure_batch_out(by=cook, out_at=NOW)
    reopen(batch, jars=[1], situation="headspace-much")
    batch = Batch.objects.get(pk=batch.pk)
    assert batch.state == BatchState.OUT
    with pytest.raises(ValidationError, match="First record the seals"):
        again(batch, out_after=3 * HOUR)
    results = dict.fromkeys([2, 3, 4], "sealed")
    services.seals_record(by=cook, batch=batch, token=uuid4(), results=results, now=NOW + 14 * HOUR)
    assert again(Batch.objects.get(pk=batch.pk), out_after=3 * HOUR).state == BatchState.OUT


def test_an_opened_jar_is_put_away_but_never_frozen(cook):
    batch = make_pressure_batch_out(by=cook, out_at=NOW)
    reopen(batch)
    with pytest.raises(ValidationError) as refused:
        services.jars_put_away(by=cook, batch=batch, disposals={1: "freeze"}, now=NOW + HOUR)
    assert set(refused.value.message_dict) == {"disposal_1"}
    services.jars_put_away(by=cook, batch=batch, disposals={1: "refrigerate", 2: "discard"}, now=NOW + HOUR)
    assert fates(batch)[:2] == [(Seal.OPENED, "refrigerate"), (Seal.OPENED, "discard")]
    with pytest.raises(IntegrityError), transaction.atomic():
        Jar.objects.filter(batch=batch, number=3).update(disposal="freeze")


def test_what_is_opened_again_is_set_aside_no_longer(cook):
    batch = make_pressure_batch_out(by=cook, out_at=NOW)
    row = aside(batch, [1, 2, 3, 4], situation="heat-fell", now=NOW + HOUR / 2)
    reopen(batch, jars=[1, 2])
    assert JarsSetAside.objects.get(pk=row.pk).settled_at is None
    reopen(batch, jars=[3, 4])
    assert JarsSetAside.objects.get(pk=row.pk).settled_by == cook
    assert not Jar.objects.filter(batch=batch, set_aside__isnull=False).exists()


# Food that stood is not saved


@pytest.mark.parametrize("disposal", ["refrigerate", "freeze"])
@pytest.mark.parametrize("make", [make_batch_out, make_pressure_batch_out])
def test_a_jar_found_unsealed_after_a_day_is_only_thrown_away(disposal, make, cook):
    batch = make(by=cook, out_at=NOW)
    results = {1: "unsealed", 2: "sealed", 3: "sealed", 4: "sealed"}
    look = {"by": cook, "batch": batch, "token": uuid4(), "results": results, "now": NOW + 30 * HOUR}
    with pytest.raises(ValidationError) as refused:
        services.seals_record(**look, disposals={1: disposal})
    assert set(refused.value.message_dict) == {"disposal_1"}
    assert fates(batch)[0] == (Seal.UNCHECKED, "")
    # Looked at in time and written down later, it may be.
    services.seals_record(**look, disposals={1: disposal}, checked_at=NOW + 23 * HOUR)
    assert fates(batch)[0] == (Seal.UNSEALED, disposal)


def test_a_jar_that_waited_too_long_is_thrown_away_unless_it_was_put_away_in_time(cook):
    batch = make_batch_checked(by=cook, out_at=NOW, unsealed={1: "reprocess"})
    put = {"by": cook, "batch": batch, "now": NOW + 30 * HOUR}
    with pytest.raises(ValidationError) as refused:
        services.jars_put_away(**put, disposals={1: "freeze"})
    assert set(refused.value.message_dict) == {"disposal_1"}
    with pytest.raises(ValidationError) as refused:
        services.jars_put_away(**put, disposals={1: "freeze"}, put_away_at=NOW + 99 * HOUR)
    assert set(refused.value.message_dict) == {"put_away_at"}
    assert services.jars_put_away(**put, disposals={1: "freeze"}, put_away_at=NOW + 20 * HOUR) == 1


def test_what_was_cold_in_time_may_still_be_frozen_later(cook):
    batch = make_batch_checked(by=cook, out_at=NOW, unsealed={1: "refrigerate"})
    assert services.jars_put_away(by=cook, batch=batch, disposals={1: "freeze"}, now=NOW + 40 * HOUR) == 1


# The page


def of(batch, what=""):
    address = reverse("batches:batch-wrong", args=[batch.lot_code])
    return f"{address}?what={what}" if what else address


def test_the_page_sets_aside_what_was_marked(cook, sign_in):
    batch = make_batch_checked(by=cook, out_at=ago(hours=20))
    client = sign_in(cook)
    page = client.get(of(batch, "siphoned-half"))
    token = page.context["act"]["token"].value()
    done = client.post(of(batch, "siphoned-half"), {"do": "aside", "jars": ["2"], "token": token}, follow=True)
    assert done.redirect_chain[-1][0] == batch.get_absolute_url()
    assert "jar 2 is set aside" in text_of(done)
    assert "They are sound after all" not in text_of(done)
    # The same form again changes nothing and says nothing false.
    client.post(of(batch, "siphoned-half"), {"do": "aside", "jars": ["2"], "token": token})
    assert JarsSetAside.objects.count() == 1


def test_a_whole_load_is_marked_to_begin_with_and_single_jars_are_not(cook, sign_in):
    client = sign_in(cook)
    batch = make_pressure_batch_out(by=cook, out_at=ago(hours=5))
    assert client.get(of(batch, "heat-fell")).context["act"]["jars"].initial == [1, 2, 3, 4]
    assert client.get(of(batch, "mould")).context["act"]["jars"].initial == []


def test_a_refused_press_keeps_what_was_typed(cook, sign_in):
    batch = make_batch_checked(by=cook, out_at=ago(hours=20))
    page = sign_in(cook).post(of(batch, "mould"), {"do": "discard", "token": str(uuid4())})
    assert page.status_code == 200
    assert "jars" in page.context["act"].errors


def test_the_page_throws_away_and_the_jar_is_not_offered_again(cook, sign_in):
    batch = make_batch_checked(by=cook, out_at=ago(hours=20))
    client = sign_in(cook)
    client.post(of(batch, "mould"), {"do": "discard", "jars": ["1", "3"], "token": str(uuid4())})
    assert [jar.number for jar in client.get(of(batch, "mould")).context["jars"]] == [2, 4]


def test_the_page_starts_a_reprocess_where_it_may_and_not_later(cook, sign_in):
    batch = make_pressure_batch_out(by=cook, out_at=ago(hours=1))
    client = sign_in(cook)
    assert client.get(of(batch, "heat-fell")).context["may_reopen"]
    done = client.post(of(batch, "heat-fell"), {"do": "reprocess", "jars": ["1", "2", "3", "4"], "token": str(uuid4())})
    assert done.url == reverse("batches:reprocess", args=[batch.lot_code])
    assert "freeze" not in dict(client.get(done.url).context["away"].fields["disposal_1"].choices)
    late = make_pressure_batch_out(by=cook, out_at=ago(hours=3))
    assert not client.get(of(late, "heat-fell")).context["may_reopen"]
    page = client.post(of(late, "heat-fell"), {"do": "reprocess", "jars": ["1"], "token": str(uuid4())})
    assert page.context["act"].non_field_errors()


def test_the_page_leads_to_a_recall_that_is_looked_at_before_it_opens(cook, sign_in):
    batch = make_batch_checked(by=cook, out_at=ago(days=3))
    client = sign_in(cook)
    form = client.get(f"{reverse('batches:recall-new')}?{client.get(of(batch, 'mould')).context['recall']}").context[
        "form"
    ]
    typed = {name: form[name].value() for name in ("token", "kind", "code", "reason")}
    seen = client.post(reverse("batches:recall-new"), typed).context["form"]["seen"].value()
    assert not Recall.objects.exists()
    client.post(reverse("batches:recall-new"), {**typed, "seen": seen, "confirmed": "on"})
    recall = Recall.objects.get()
    assert (recall.batch, recall.opened_by) == (batch, cook)
    assert "mould" in recall.reason
    assert client.get(of(batch, "mould")).context["is_called_back"]


def test_who_may_trace_may_call_back_but_not_write_in_the_batch(cook, instructor, sign_in):
    batch = make_batch_checked(by=cook, out_at=ago(days=3))
    client = sign_in(instructor)
    page = client.get(of(batch, "mould"))
    assert page.context["may_recall"]
    assert not page.context["may_write"]
    assert client.post(of(batch, "mould"), {"do": "discard", "jars": ["1"], "token": str(uuid4())}).status_code == 403


def test_a_stranger_finds_no_page_and_presses_nothing(cook, sign_in):
    batch = make_batch_checked(by=cook, out_at=ago(days=3))
    client = sign_in(make_person())
    typed = {"do": "discard", "jars": ["1"], "token": str(uuid4())}
    assert client.post(of(batch, "mould"), typed).status_code == 404
    row = aside(batch, [1])
    assert client.get(reverse("batches:set-aside", args=[batch.lot_code, row.pk])).status_code == 404


def test_a_press_without_a_situation_does_nothing(cook, sign_in):
    batch = make_batch_checked(by=cook, out_at=ago(days=3))
    sign_in(cook).post(of(batch), {"do": "discard", "jars": ["1"], "token": str(uuid4())})
    assert fates(batch)[0] == (Seal.SEALED, Disposal.SHELF)


def test_on_the_stove_there_is_nothing_to_mark(cook, sign_in):
    page = sign_in(cook).get(of(make_batch(by=cook), "heat-fell"))
    assert page.context["jars"] == []
    assert "Give this batch up" in text_of(page)


def test_an_instructor_clears_and_the_maker_does_not(cook, instructor, sign_in):
    batch = make_batch_checked(by=cook, out_at=ago(hours=20))
    row = aside(batch, [1])
    address = reverse("batches:set-aside", args=[batch.lot_code, row.pk])
    assert sign_in(cook).get(address).status_code == 403
    client = sign_in(instructor)
    assert "They are sound after all" in text_of(client.get(batch.get_absolute_url()))
    assert client.post(address, {"note": ""}).context["form"].errors
    assert client.post(address, {"note": "Weighed: less than half was lost."}).status_code == 302
    assert client.get(address).status_code == 200
    assert Jar.objects.filter(set_aside=row).count() == 0


def test_a_batch_without_a_good_jar_is_not_to_be_labelled(cook, sign_in):
    batch = make_batch_checked(by=cook, out_at=ago(hours=20))
    client = sign_in(cook)
    assert not client.get(batch.get_absolute_url()).context["is_none_good"]
    aside(batch, [1, 2])
    services.jars_throw_away(by=cook, batch=batch, jars=[3, 4], token=uuid4())
    page = client.get(batch.get_absolute_url())
    assert page.context["is_none_good"]
    assert "keep them cool" not in text_of(page)


def test_thirty_jars_cost_no_more_queries_than_four(cook, sign_in, django_assert_max_num_queries):
    kitchen = make_kitchen(cook)
    for jars in (4, 30):
        batch = make_batch_out(by=cook, kitchen=kitchen, out_at=ago(hours=5), jars={"half-pint": jars}, pots=5)
        client = sign_in(cook)
        with django_assert_max_num_queries(18):
            assert len(client.get(of(batch, "heat-fell")).context["jars"]) == jars
