"""The pages that write, as a browser sends them: what works, and what comes back beside its field."""

from __future__ import annotations

import re
from datetime import timedelta
from html import unescape
from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils import timezone

from inventory.batches.choices import BatchState
from inventory.batches.models import Batch, Jar, SealCheck
from recipes.models import RevisionState
from tests.factories.batches import (
    make_batch,
    make_batch_checked,
    make_batch_out,
    make_freezer_revision,
    make_pressure_batch,
)
from tests.factories.members import make_kitchen, make_person
from tests.factories.recipes import make_revision
from tests.helpers import text_of

pytestmark = pytest.mark.django_db


def ago(**span):
    return timezone.now().replace(second=0, microsecond=0) - timedelta(**span)


def typed(moment):
    return f"{timezone.localtime(moment):%Y-%m-%dT%H:%M}"


@pytest.fixture
def cook():
    return make_person(name="Cook")


# Start


@pytest.fixture
def plan_of(cook):
    """The address of a plan that can be started; a test changes the one thing it is about."""
    asked = {
        "revision": make_revision().pk,
        "kitchen": make_kitchen(cook).pk,
        "pots": "2",
        "jar": "half-pint",
        "pack": "hot",
        "canner": "boiling-water",
    }

    def address(**changes):
        query = {key: str(value) for key, value in {**asked, **changes}.items() if value != ""}
        return reverse("batches:start", query=query)

    return address


def test_the_plan_is_shown_and_started_once_however_often_pressed(cook, plan_of, sign_in):
    client = sign_in(cook)
    page = client.get(plan_of())
    assert "10 minutes" in text_of(page)
    token = page.context["form"]["token"].value()
    for _press in range(2):
        response = client.post(plan_of(), {"token": token, "note": "First plums"})
        assert response.status_code == 302
    batch = Batch.objects.get()
    assert response.url == batch.get_absolute_url()
    assert (batch.made_by, batch.pots, batch.note) == (cook, 2, "First plums")


def test_a_batch_keyed_in_late_starts_when_it_was_cooked(cook, plan_of, sign_in):
    began = ago(days=3)
    response = sign_in(cook).post(plan_of(), {"token": uuid4(), "started_at": typed(began)})
    assert response.status_code == 302
    assert Batch.objects.get().started_at == began


@pytest.mark.parametrize(
    ("typed_time", "said"),
    [
        (lambda: typed(timezone.now() + timedelta(hours=2)), "has not come yet"),
        (lambda: typed(ago(days=31)), "more than 30 days ago"),
        (lambda: "2027-03-14T02:30", "the clocks were put forward"),
        (lambda: "yesterday", "Give a date and a time"),
    ],
)
def test_an_impossible_beginning_is_told_beside_its_field_and_the_rest_is_kept(
    cook, plan_of, sign_in, typed_time, said
):
    response = sign_in(cook).post(plan_of(), {"token": uuid4(), "started_at": typed_time(), "note": "Keep me"})
    assert response.status_code == 200
    assert said in response.context["form"].errors["started_at"][0]
    assert "Keep me" in response.content.decode()
    assert not Batch.objects.exists()


@pytest.mark.parametrize("token", ["", "forged", "1234"])
def test_a_forged_token_starts_nothing(cook, plan_of, sign_in, token):
    response = sign_in(cook).post(plan_of(), {"token": token})
    assert response.status_code == 200
    assert not Batch.objects.exists()


@pytest.mark.parametrize(
    "changes",
    [{"revision": "999999"}, {"revision": "x"}, {"revision": ""}, {"kitchen": "999999"}, {"kitchen": "9" * 30}],
)
def test_a_forged_revision_or_kitchen_is_not_found(cook, plan_of, sign_in, changes):
    client = sign_in(cook)
    assert client.get(plan_of(**changes)).status_code == 404
    assert client.post(plan_of(**changes), {"token": uuid4()}).status_code == 404
    assert client.get(plan_of()).status_code == 200


def test_another_s_kitchen_is_not_found(cook, plan_of, sign_in):
    kitchen = make_kitchen(make_person())
    assert sign_in(cook).post(plan_of(kitchen=kitchen.pk), {"token": uuid4()}).status_code == 404


def test_a_draft_is_not_found_by_a_member(cook, plan_of, sign_in):
    draft = make_revision(state=RevisionState.DRAFT)
    assert sign_in(cook).get(plan_of(revision=draft.pk)).status_code == 404


def test_a_withdrawn_revision_is_refused_with_its_reason(cook, plan_of, sign_in):
    withdrawn = make_revision(state=RevisionState.WITHDRAWN)
    client = sign_in(cook)
    for response in (
        client.get(plan_of(revision=withdrawn.pk)),
        client.post(plan_of(revision=withdrawn.pk), {"token": uuid4()}),
    ):
        assert "another result" in text_of(response)
    assert not Batch.objects.exists()


def test_a_kitchen_without_altitude_shows_no_time_and_no_button(cook, plan_of, sign_in):
    kitchen = make_kitchen(cook, altitude="")
    response = sign_in(cook).get(plan_of(kitchen=kitchen.pk))
    assert "altitude" in text_of(response)
    assert "minutes" not in text_of(response).split("Follow a tested recipe")[0]
    assert 'name="token"' not in response.content.decode()


@pytest.mark.parametrize("changes", [{"pots": "x"}, {"pots": ""}, {"pots": "0"}, {"jar": "bucket"}, {"jars": "3"}])
def test_a_plan_that_cannot_be_understood_starts_nothing(cook, plan_of, sign_in, changes):
    client = sign_in(cook)
    assert client.get(plan_of(**changes)).status_code == 400
    assert client.post(plan_of(**changes), {"token": uuid4()}).status_code == 400
    assert not Batch.objects.exists()


# Log


def good_log(**changes):
    return {
        "jars_out_at": typed(ago(minutes=5)),
        "minutes": "10",
        "jars_half-pint": "4",
        "lid_code": "L-7",
        "lot_2": "without",  # the bottled lemon juice
        "note": "Foamed a little",
        **changes,
    }


def log_url(batch):
    return reverse("batches:log", args=[batch.lot_code])


def test_the_log_form_asks_what_the_batch_needs(cook, sign_in):
    spread = make_batch(by=cook, started_at=ago(hours=3))
    beans = make_pressure_batch(by=cook, started_at=ago(hours=3))
    jam = make_batch(by=cook, revision=make_freezer_revision(), started_at=ago(hours=3))
    fields = [set(sign_in(cook).get(log_url(batch)).context["form"].fields) for batch in (spread, beans, jam)]
    assert "psi" not in fields[0]
    assert {"psi", "minutes", "jars_pint", "lid_code"} <= fields[1]
    assert not {"minutes", "psi", "lid_code"} & fields[2]


def test_the_log_is_written_once_and_the_second_press_is_told_so(cook, sign_in):
    batch, client = make_batch(by=cook, started_at=ago(hours=3)), sign_in(cook)
    assert client.post(log_url(batch), good_log()).status_code == 302
    again = client.post(log_url(batch), good_log(), follow=True)
    assert "nothing was written a second time" in text_of(again)
    assert Jar.objects.count() == 4
    assert Batch.objects.get().state == BatchState.OUT


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"minutes": "9"}, "minutes"),
        ({"minutes": "-1"}, "minutes"),
        ({"minutes": "ten"}, "minutes"),
        ({"minutes": ""}, "minutes"),
        ({"minutes": "99999999999999999999"}, "minutes"),
        ({"jars_half-pint": "99"}, "jars_half-pint"),
        ({"jars_half-pint": "-4"}, "jars_half-pint"),
        ({"jars_half-pint": "1.5"}, "jars_half-pint"),
        ({"jars_half-pint": ""}, "jars_half-pint"),
        ({"lid_code": ""}, "lid_code"),
        ({"lid_code": "x" * 61}, "lid_code"),
        ({"lid_code": "L\0"}, "lid_code"),
        ({"jars_out_at": ""}, "jars_out_at"),
        ({"jars_out_at": "2027-03-14T02:30"}, "jars_out_at"),
    ],
)
def test_a_wrong_figure_comes_back_beside_its_field_with_what_was_typed(cook, sign_in, changes, field):
    batch = make_batch(by=cook, started_at=ago(hours=3))
    response = sign_in(cook).post(log_url(batch), good_log(**changes))
    assert response.status_code == 200
    assert list(response.context["form"].errors) == [field]
    page = response.content.decode()
    assert "invalid-feedback" in page
    assert "Foamed a little" in page
    assert Batch.objects.get().state == BatchState.STARTED
    assert not Jar.objects.exists()


def test_a_time_ahead_of_the_clock_is_refused(cook, sign_in):
    batch = make_batch(by=cook, started_at=ago(hours=3))
    ahead = typed(timezone.now() + timedelta(hours=2))
    response = sign_in(cook).post(log_url(batch), good_log(jars_out_at=ahead))
    assert "has not come yet" in response.context["form"].errors["jars_out_at"][0]
    assert ahead in response.content.decode()


def test_a_size_that_was_smuggled_in_is_not_counted(cook, sign_in):
    batch = make_batch(by=cook, started_at=ago(hours=3))
    assert sign_in(cook).post(log_url(batch), good_log(jars_quart="3")).status_code == 302
    assert set(Jar.objects.values_list("size", flat=True)) == {"half-pint"}


def test_a_freezer_batch_is_logged_without_a_process(cook, sign_in):
    batch = make_batch(by=cook, revision=make_freezer_revision(), started_at=ago(hours=3))
    response = sign_in(cook).post(
        log_url(batch), {"jars_out_at": typed(ago(minutes=5)), "jars_half-pint": "4"}, follow=True
    )
    assert "no seals to look at" in text_of(response)
    assert Batch.objects.get().state == BatchState.FROZEN


def test_a_batch_is_given_up_on_its_page(cook, sign_in):
    batch, client = make_batch(by=cook), sign_in(cook)
    url = reverse("batches:abandon", args=[batch.lot_code])
    assert client.post(url, {"reason": " "}).context["form"].errors
    assert Batch.objects.get().state == BatchState.STARTED
    assert "Scorched" in text_of(client.post(url, {"reason": "Scorched"}, follow=True))
    assert "not on the stove any more" in text_of(client.post(url, {"reason": "Again"}, follow=True))
    assert Batch.objects.get().abandoned_reason == "Scorched"


# Seals


def seals_url(batch):
    return reverse("batches:seals", args=[batch.lot_code])


def test_all_sealed_is_one_tick_and_one_press(cook, sign_in):
    batch, client = make_batch_out(by=cook, out_at=ago(hours=13)), sign_in(cook)
    token = client.get(seals_url(batch)).context["form"]["token"].value()
    for _press in range(2):
        response = client.post(seals_url(batch), {"token": token, "all_sealed": "on"}, follow=True)
        assert "The seals are recorded" in text_of(response)
    assert SealCheck.objects.get().sealed == 4
    assert Batch.objects.get().state == BatchState.CHECKED


def test_the_tick_speaks_for_every_jar_that_is_not_marked_by_itself(cook, sign_in):
    batch, client = make_batch_out(by=cook, out_at=ago(hours=13)), sign_in(cook)
    assert "All 4 are sealed, but for any marked below" in text_of(client.get(seals_url(batch)))
    told = {"token": str(uuid4()), "all_sealed": "on", "jar_3": "unsealed"}
    asked = client.post(seals_url(batch), told)
    assert list(asked.context["form"].errors) == ["disposal_3"]  # the marked jar is still asked what was done with it
    assert not SealCheck.objects.exists()
    assert client.post(seals_url(batch), {**told, "disposal_3": "refrigerate"}).status_code == 302
    assert [jar.seal for jar in Jar.objects.all()] == ["sealed", "sealed", "unsealed", "sealed"]


def test_a_look_that_says_nothing_is_told_once_and_not_for_every_jar(cook, sign_in):
    batch = make_batch_out(by=cook, out_at=ago(hours=13))
    response = sign_in(cook).post(seals_url(batch), {"token": uuid4()})
    assert list(response.context["form"].errors) == ["all_sealed"]
    assert "Tick that all are sealed, or mark the jars" in text_of(response)
    assert not SealCheck.objects.exists()


def test_each_jar_is_marked_and_an_unsealed_one_asks_what_was_done(cook, sign_in):
    batch, client = make_batch_out(by=cook, out_at=ago(hours=13)), sign_in(cook)
    told = {"token": str(uuid4()), "jar_1": "sealed", "jar_2": "unsealed", "jar_3": "broken", "jar_4": "sealed"}
    first = client.post(seals_url(batch), told)
    assert list(first.context["form"].errors) == ["disposal_2"]
    assert re.search(r'<input[^>]*name="jar_3"[^>]*value="broken"[^>]*checked', first.content.decode())
    assert not SealCheck.objects.exists()
    assert client.post(seals_url(batch), {**told, "disposal_2": "refrigerate"}).status_code == 302
    assert [jar.disposal for jar in Jar.objects.all()] == ["shelf", "refrigerate", "discard", "shelf"]


def test_a_disposal_left_over_from_a_change_of_mind_is_not_taken(cook, sign_in):
    batch = make_batch_out(by=cook, out_at=ago(hours=13))
    told = {"token": uuid4(), **{f"jar_{n}": "sealed" for n in range(1, 5)}, "disposal_2": "freeze"}
    assert sign_in(cook).post(seals_url(batch), told).status_code == 302
    assert set(Jar.objects.values_list("disposal", flat=True)) == {"shelf"}


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"jar_4": ""}, "jar_4"),
        ({"jar_4": "perhaps"}, "jar_4"),
        ({"jar_4": "unsealed", "disposal_4": "shelf"}, "disposal_4"),
        ({"token": "forged"}, "token"),
        ({"token": ""}, "token"),
        ({"checked_at": "2027-03-14T02:30"}, "checked_at"),
        ({"checked_at": "2020-01-01T10:00"}, "checked_at"),
        ({"note": "x" * 301}, "note"),
    ],
)
def test_a_look_with_something_wrong_is_told_beside_it(cook, sign_in, changes, field):
    batch = make_batch_out(by=cook, out_at=ago(hours=13))
    told = {"token": uuid4(), **{f"jar_{n}": "sealed" for n in range(1, 5)}, **changes}
    response = sign_in(cook).post(seals_url(batch), told)
    assert response.status_code == 200
    assert field in response.context["form"].errors
    assert response.context["form"].errors[field][0] in unescape(response.content.decode())
    assert not SealCheck.objects.exists()


def test_before_12_hours_the_page_warns_and_an_early_look_keeps_the_batch_due(cook, sign_in):
    batch, client = make_batch_out(by=cook, out_at=ago(hours=5)), sign_in(cook)
    page = client.get(seals_url(batch))
    assert "seals may still be drawing down" in text_of(page)
    assert "disposal_1" not in page.content.decode()
    response = client.post(seals_url(batch), {"token": uuid4(), "all_sealed": "on"}, follow=True)
    assert "early look" in text_of(response)
    assert Batch.objects.get().state == BatchState.OUT


def test_after_24_hours_the_page_says_that_reprocessing_lapsed(cook, sign_in):
    batch, client = make_batch_out(by=cook, out_at=ago(hours=25)), sign_in(cook)
    assert "Reprocessing lapsed" in text_of(client.get(seals_url(batch)))
    told = {"token": uuid4(), **{f"jar_{n}": "sealed" for n in range(1, 5)}, "jar_1": "unsealed"}
    refused = client.post(seals_url(batch), {**told, "disposal_1": "reprocess"})
    assert list(refused.context["form"].errors) == ["disposal_1"]
    assert client.post(seals_url(batch), {**told, "disposal_1": "discard"}).status_code == 302


def test_within_24_hours_the_page_says_until_what_hour(cook, sign_in):
    batch = make_batch_out(by=cook, out_at=ago(hours=13))
    until = timezone.localtime(batch.jars_out_at + timedelta(hours=24))
    assert f"{until:%H:%M} {until.tzname()}" in text_of(sign_in(cook).get(seals_url(batch)))


def test_a_batch_without_seals_to_look_at_sends_back_to_its_page(cook, sign_in):
    for batch in (make_batch(by=cook), make_batch_checked(by=cook, out_at=ago(hours=30))):
        response = sign_in(cook).get(seals_url(batch), follow=True)
        assert response.redirect_chain == [(batch.get_absolute_url(), 302)]


# Reprocess


@pytest.fixture
def waiting(cook):
    return make_batch_checked(by=cook, out_at=ago(hours=18), unsealed={1: "reprocess", 2: "reprocess"})


def test_a_reprocess_is_written_once(cook, waiting, sign_in):
    url, client = reverse("batches:reprocess", args=[waiting.lot_code]), sign_in(cook)
    told = {"minutes": "10", "lid_code": "NEW", "rims_sound": "on", "jars_out_at": typed(ago(minutes=10))}
    refused = client.post(url, {**told, "minutes": "9", "rims_sound": ""})
    assert set(refused.context["form"].errors) == {"minutes", "rims_sound"}
    assert "look at the seals from" in text_of(client.post(url, told, follow=True))
    assert "No jar of this batch waits" in text_of(client.post(url, told, follow=True))
    assert Jar.objects.to_look_at().count() == 2


def test_waiting_jars_are_put_away_otherwise(cook, waiting, sign_in):
    url, client = reverse("batches:put-away", args=[waiting.lot_code]), sign_in(cook)
    nothing = client.post(url, {})
    assert "Choose for at least one jar" in text_of(nothing)
    assert client.post(url, {"disposal_1": "shelf"}).context["away"].errors
    assert client.post(url, {"disposal_1": "freeze"}).status_code == 302
    assert [jar.disposal for jar in Jar.objects.all()] == ["freeze", "reprocess", "shelf", "shelf"]
