"""The label of a shelf: its square leads to the place, and there a keeper begins a count."""

from __future__ import annotations

import pytest
from django.urls import reverse

from inventory.jars.models import ShelfCount
from inventory.jars.services import kitchen_place
from tests.factories.jars import make_keeper
from tests.factories.members import make_kitchen, make_person
from tests.pdfs import text_of_pdf

pytestmark = pytest.mark.django_db


def test_a_shelf_s_code_leads_to_the_place_and_the_place_to_its_count(client, settings):
    cook = make_person()
    place = kitchen_place(make_kitchen(cook, name="Łukasz's cellar"))
    page, label = (reverse(f"jars:{name}", args=[place.pk]) for name in ("place", "place-label"))
    client.force_login(cook)
    assert text_of_pdf(client.get(label).content) == f"{place} {settings.CLUB_NAME}"
    shown = client.get(page).content.decode()
    assert label in shown
    assert "Count this shelf" not in shown
    client.force_login(make_person())
    assert client.get(label).status_code == 404
    client.force_login(make_keeper())
    assert client.get(reverse("desk:camera"), {"code": f"http://localhost{page}"}).headers["Location"] == page
    assert "Count this shelf" in client.get(page).content.decode()
    began = client.post(reverse("jars:shelf-begin"), {"place": place.key})
    assert began.headers["Location"] == reverse("jars:shelf-count", args=[ShelfCount.objects.get(place=place).pk])
