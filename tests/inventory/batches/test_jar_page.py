"""A jar's own page, where the square on its label leads: may it be eaten, what became of it, who sees it."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse
from django.utils import timezone

from club.members.choices import Role
from inventory.batches import services
from inventory.batches.models import Jar
from inventory.batches.presentation import lid_figures
from inventory.jars.models import Balance, Movement
from inventory.jars.services import ledger_audit
from tests.factories.batches import beans, make_batch_checked, make_batch_out, make_recall
from tests.factories.members import make_kitchen, make_person

pytestmark = pytest.mark.django_db
A_DAY = timedelta(hours=30)


@pytest.fixture
def cook(client):
    cook = make_person()
    client.force_login(cook)
    return cook


@pytest.fixture
def batch(cook):
    return make_batch_checked(by=cook, kitchen=make_kitchen(cook, name="Mill"), out_at=timezone.now() - A_DAY)


def page_of(batch, number=2) -> str:
    return reverse("batches:jar", args=[batch.lot_code, number])


def full(batch) -> int:
    return sum(Balance.objects.there().filter(batch=batch, state="full").values_list("count", flat=True))


def press(client, batch, what, *, number=2, token=None):
    told = {"what": what, "token": token or uuid4()}
    return client.post(reverse("batches:jar-used", args=[batch.lot_code, number]), told, follow=True)


def test_a_sound_jar_s_page_says_until_when_and_how_to_open_it_and_each_press_moves_one_jar(
    client, batch, django_assert_max_num_queries
):
    with django_assert_max_num_queries(30):
        page = client.get(page_of(batch)).content.decode()
    for words in (f"{batch.lot_code} / 2", "Best before", "Before opening", "Opened it", "Gave it away", "4 full jars"):
        assert words in page
    token = uuid4()
    assert "size left: 3" in press(client, batch, "emptied", token=token).content.decode()
    press(client, batch, "emptied", token=token)
    assert full(batch) == 3
    for what in ("given", "chipped", "broken"):
        press(client, batch, what, number=3)
    moved = Movement.objects.filter(batch=batch).exclude(reason__in=["filled", "found"])
    assert sorted(moved.values_list("reason", "target_state")) == [
        ("broken", "full"),
        ("chipped", "chipped"),
        ("emptied", "empty"),
        ("given", "full"),
    ]
    assert moved.get(reason="broken").note == f"{batch.lot_code} / 3"
    page = client.get(page_of(batch)).content.decode()
    assert "Opened it" not in page
    assert "No full jar of this lot" in page
    assert "No full jar of this lot" in press(client, batch, "emptied").content.decode()


def test_a_jar_called_back_or_set_aside_is_not_eaten_or_given_but_may_have_broken(client, batch):
    told = {"by": batch.made_by, "batch": batch, "situation": "siphoned-half"}
    services.jars_set_aside(**told, jars=[1], token=uuid4())
    page = client.get(page_of(batch, 1)).content.decode()
    assert "Do not eat: this jar is set aside" in page
    assert "Opened it" not in page
    assert "set aside because" in press(client, batch, "emptied", number=1).content.decode()
    assert "Opened it" in client.get(page_of(batch)).content.decode()
    make_recall(batch=batch)
    page = client.get(page_of(batch)).content.decode()
    assert "called back" in page
    assert "Best before" not in page
    for what in ("emptied", "given"):
        assert "neither open it nor give it away" in press(client, batch, what).content.decode()
    assert full(batch) == 4
    press(client, batch, "broken")
    assert full(batch) == 3


def test_a_jar_whose_seal_nobody_looked_at_is_not_opened_by_a_press(client, cook):
    batch = make_batch_out(by=cook, out_at=timezone.now() - A_DAY)
    assert "Nobody has looked at its seal yet" in client.get(page_of(batch)).content.decode()
    assert "Write the look at the seals first" in press(client, batch, "emptied").content.decode()
    assert full(batch) == 4
    checked = make_batch_checked(by=cook, out_at=timezone.now() - A_DAY, unsealed={1: "refrigerate"}, broken=(2,))
    for number in (1, 2):
        assert "left the shelf long ago" in press(client, checked, "emptied", number=number).content.decode()
    assert full(checked) == 2


def test_whoever_it_was_handed_to_has_its_page_and_a_stranger_has_none(client, batch):
    friend = make_person()
    client.force_login(friend)
    assert client.get(page_of(batch)).status_code == 404
    assert press(client, batch, "emptied").status_code == 404
    offer = services.jar_offer_make(by=batch.made_by, batch=batch, size="half-pint", count=1, token=uuid4())
    claim = services.jar_claim_make(by=friend, offer=offer, count=1, token=uuid4())
    services.jars_hand_over(by=batch.made_by, claim=claim, seals_firm=True)
    jar = Jar.objects.get(held_by=friend)
    page = client.get(page_of(batch, jar.number)).content.decode()
    assert "1 full jar of this lot" in page
    assert reverse("batches:detail", args=[batch.lot_code]) + '"' not in page
    assert "size left: 0" in press(client, batch, "emptied", number=jar.number).content.decode()
    assert full(batch) == 3
    with pytest.raises(PermissionDenied):
        services.jar_used(by=friend, jar=batch.jars.exclude(pk=jar.pk)[0], what="emptied", token=uuid4())


def test_who_may_trace_sees_it_and_takes_none(client, batch):
    client.force_login(make_person(Role.INSTRUCTOR))
    page = client.get(page_of(batch)).content.decode()
    assert "Trace: where all jars of this lot are" in page
    assert "Opened it" not in page
    assert press(client, batch, "emptied").status_code == 403


def test_a_jar_that_had_come_unsealed_leads_to_its_answer_and_counts_against_its_lids(client, cook):
    batch = make_batch_checked(**beans(by=cook, out_at=timezone.now() - 60 * A_DAY))
    jar = batch.jars.get(number=2)
    there = f"{reverse('batches:batch-wrong', args=[batch.lot_code])}?what=unsealed&jar=2"
    assert there.replace("&", "&amp;") in client.get(page_of(batch)).content.decode()
    page = client.get(there)
    assert "as a suspect jar" in page.content.decode()
    assert "botulism" in page.content.decode()
    assert page.context["act"]["jars"].value() == [2]
    told = {"do": "discard", "jars": [2], "token": uuid4()}
    answer = client.post(there, told, follow=True).content.decode()
    assert "Look at the other jars of this lot" in answer
    jar.refresh_from_db()
    assert (jar.seal, jar.disposal, full(batch)) == ("unsealed", "discard", 3)
    [figures] = lid_figures([jar.lid_lot])
    assert (figures.sealed, figures.unsealed) == (3, 1)
    assert ledger_audit().problems == []
    assert "It had come unsealed" not in client.get(page_of(batch)).content.decode()
    client.post(there.replace("unsealed", "mould"), {**told, "jars": [3], "token": uuid4()})
    assert batch.jars.get(number=3).seal == "sealed"  # another reason says nothing of its lid
