"""Every page of the room, by everybody who might ask for it."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from club.members.choices import Role
from inventory.batches.models import Batch
from tests.factories.batches import make_batch, make_batch_checked, make_batch_out
from tests.factories.members import make_kitchen, make_person

pytestmark = pytest.mark.django_db

READ = ["detail", "labels"]
WRITE = {"log": make_batch, "abandon": make_batch, "seals": make_batch_out, "reprocess": None, "put-away": None}


@pytest.fixture
def cook():
    return make_person(name="Cook")


@pytest.fixture
def fellow():
    return make_person(name="Fellow")


def batch_at(page: str, cook, fellow) -> Batch:
    """A batch of the cook, in the kitchen she shares, in the state in which the page does something."""
    make = WRITE.get(page) or make_batch_out
    if page in ("reprocess", "put-away"):
        return make_batch_checked(by=cook, kitchen=make_kitchen(cook, fellow), unsealed={1: "reprocess"})
    return make(by=cook, kitchen=make_kitchen(cook, fellow))


def url(page: str, batch: Batch) -> str:
    return reverse(f"batches:{page}", args=[batch.lot_code])


@pytest.mark.parametrize("page", READ)
def test_who_may_see_a_batch_reads_its_pages(page, cook, fellow, sign_in):
    batch = batch_at(page, cook, fellow)
    for reader in (cook, fellow, make_person(Role.KEEPER), make_person(Role.INSTRUCTOR), make_person(Role.ORGANISER)):
        response = sign_in(reader).get(url(page, batch))
        assert response.status_code == 200
        assert batch.lot_code in response.content.decode()


@pytest.mark.parametrize("page", [*READ, *WRITE])
def test_an_outsider_finds_no_page_of_another_s_batch(page, cook, fellow, sign_in):
    batch = batch_at(page, cook, fellow)
    client = sign_in(make_person())
    assert client.get(url(page, batch)).status_code == (405 if page == "put-away" else 404)
    if page in WRITE:
        assert client.post(url(page, batch), {"disposal_1": "freeze"}).status_code == 404


@pytest.mark.parametrize("page", [page for page in WRITE if page != "put-away"])
def test_the_cook_and_her_kitchen_open_the_pages_to_write(page, cook, fellow, sign_in):
    batch = batch_at(page, cook, fellow)
    for writer in (cook, fellow):
        response = sign_in(writer).get(url(page, batch))
        assert response.status_code == 200
        assert "<form" in response.content.decode()


@pytest.mark.parametrize("page", WRITE)
@pytest.mark.parametrize("role", [Role.KEEPER, Role.INSTRUCTOR, Role.ORGANISER])
def test_to_trace_a_batch_is_not_to_write_in_it(page, role, cook, fellow, sign_in):
    batch = batch_at(page, cook, fellow)
    client = sign_in(make_person(role))
    assert client.post(url(page, batch), {"disposal_1": "freeze"}).status_code == 403
    if page != "put-away":
        assert client.get(url(page, batch)).status_code == 403


@pytest.mark.parametrize("page", [*READ, *WRITE])
def test_nobody_is_sent_to_sign_in(page, cook, fellow):
    response = Client().get(url(page, batch_at(page, cook, fellow)))
    assert response.status_code == 302
    assert response.url.startswith(reverse("account_login"))


@pytest.mark.parametrize("page", ["list", "trace", "lids", "start"])
def test_nobody_sees_the_room(page):
    response = Client().get(reverse(f"batches:{page}"))
    assert response.status_code == 302
    assert response.url.startswith(reverse("account_login"))


@pytest.mark.parametrize("page", [*READ, *WRITE])
def test_a_code_that_is_no_batch_s_is_not_found(page, sign_in):
    path = reverse(f"batches:{page}", args=["26001-333"])
    client = sign_in(make_person(Role.KEEPER))
    response = client.post(path) if page == "put-away" else client.get(path)
    assert response.status_code == 404


def test_a_code_of_letters_that_no_label_has_is_not_found(sign_in):
    assert sign_in(make_person()).get("/batches/26001-AAA/").status_code == 404


@pytest.mark.parametrize("page", READ)
@pytest.mark.parametrize("method", ["post", "put", "delete"])
def test_pages_to_read_take_no_other_method(page, method, cook, fellow, sign_in):
    batch = batch_at(page, cook, fellow)
    assert getattr(sign_in(cook), method)(url(page, batch)).status_code == 405


@pytest.mark.parametrize("page", WRITE)
def test_pages_to_write_take_no_put(page, cook, fellow, sign_in):
    assert sign_in(cook).put(url(page, batch_at(page, cook, fellow))).status_code == 405


@pytest.mark.parametrize("page", ["list", "trace", "lids"])
def test_lists_take_no_post(page, sign_in):
    assert sign_in(make_person(Role.KEEPER)).post(reverse(f"batches:{page}")).status_code == 405


def test_a_code_is_understood_in_small_letters_and_without_its_dash(cook, fellow, sign_in):
    batch = batch_at("detail", cook, fellow)
    assert sign_in(cook).get(f"/batches/{batch.lot_code.lower().replace('-', '')}/").status_code == 200


def test_lid_figures_are_for_those_who_trace(sign_in):
    assert sign_in(make_person()).get(reverse("batches:lids")).status_code == 403
    for role in (Role.KEEPER, Role.INSTRUCTOR, Role.ORGANISER):
        assert sign_in(make_person(role)).get(reverse("batches:lids")).status_code == 200


def test_a_form_without_its_csrf_token_writes_nothing(cook, fellow):
    batch = batch_at("abandon", cook, fellow)
    client = Client(enforce_csrf_checks=True)
    client.force_login(cook)
    assert client.post(url("abandon", batch), {"reason": "x", "token": uuid4()}).status_code == 403
    assert Batch.objects.get().abandoned_reason == ""
