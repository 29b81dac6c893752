"""Jar labels as a PDF: what a label has to say, on whose paper, and none for a jar that is called back."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from club.core.sheets import SHEETS, Sheet
from club.members.models import LabelPaper
from club.members.services import label_paper_set
from tests.factories.batches import make_batch_checked, make_batch_out, make_freezer_revision, make_recall
from tests.factories.members import make_kitchen, make_person
from tests.pdfs import pages_of, text_of_pdf

pytestmark = pytest.mark.django_db
A_DAY = timedelta(hours=30)


def pdf_of(client, batch, **query):
    return client.get(reverse("batches:labels-pdf", args=[batch.lot_code]), query)


@pytest.fixture
def cook():
    return make_person(name="Wanda Quill")


def test_a_jar_s_label_on_paper_says_what_the_page_s_says(client, cook, settings):
    settings.ALLERGEN_LIST, settings.CLUB_NAME = "canada", "Upper Valley Preserving Society of St John"
    assert len(settings.CLUB_NAME) == 42
    batch = make_batch_checked(by=cook, kitchen=make_kitchen(cook, name="Mill"), out_at=timezone.now() - A_DAY)
    label_paper_set(by=cook, sheet=SHEETS["letter-3x10"][1], signed="both", first_free=29)
    client.force_login(cook)
    answer = pdf_of(client, batch)
    assert answer["Content-Type"] == "application/pdf"
    assert len(pages_of(answer.content)) == 2  # two labels were left on the sheet
    text = text_of_pdf(answer.content)
    for part in (batch.title, "Ingredients: plums, sugar, lemon juice", "Contains: sulphites (lemon juice)", "Put up"):
        assert text.count(part) == 4
    assert text.count("Best before") == 4
    assert [f"{batch.lot_code} / {n}" in text for n in (1, 4, 5)] == [True, True, False]
    assert text.count(f"Mill, {settings.CLUB_NAME}") == 4
    assert "Before opening: lid firm" in text


def test_frozen_jars_have_no_date_unlooked_at_ones_are_marked_and_recalled_ones_have_none(client, cook):
    client.force_login(cook)
    frozen = make_batch_out(by=cook, revision=make_freezer_revision(), out_at=timezone.now() - A_DAY)
    text = text_of_pdf(pdf_of(client, frozen).content)
    assert "Keep frozen" in text
    assert "Best before" not in text
    out = make_batch_out(by=cook, out_at=timezone.now() - A_DAY)
    assert pdf_of(client, out).status_code == 302
    assert text_of_pdf(pdf_of(client, out, which="all").content).count("Seal not checked") == 4
    kept = make_batch_checked(by=cook, out_at=timezone.now() - A_DAY)
    make_recall(batch=kept)
    refused = pdf_of(client, kept, which="all")
    assert refused.status_code == 302
    page = client.get(refused.url).content.decode()
    assert "labels.pdf" not in page
    assert "Best before" not in page


def test_the_page_shows_where_the_labels_go_and_remembers_the_next_free_one(
    client, cook, django_assert_max_num_queries
):
    batch = make_batch_checked(by=cook, out_at=timezone.now() - A_DAY)
    client.force_login(cook)
    label_paper_set(by=cook, sheet=SHEETS["a4-2x7"][1], first_free=12)
    address = reverse("batches:labels", args=[batch.lot_code])
    with django_assert_max_num_queries(20):
        preview = client.get(address).context["preview"]
    assert (preview.first, preview.count, preview.sheets) == (12, 4, 2)
    assert batch.title in preview.label
    assert client.get(address, {"first": "3"}).context["preview"].first == 3
    assert client.get(address, {"first": "99"}).context["preview"].first == 12
    printed = reverse("batches:labels-printed", args=[batch.lot_code])
    assert client.post(printed, {"first": "12", "count": "4"}).status_code == 302
    assert LabelPaper.objects.get(person=cook).first_free == 2
    client.post(printed, {"first": "15", "count": "4"})
    client.post(printed, {"first": "x"})
    assert LabelPaper.objects.get(person=cook).first_free == 2


def test_labels_that_are_too_small_are_said_to_be_and_not_printed(client, cook):
    batch = make_batch_checked(by=cook, out_at=timezone.now() - A_DAY)
    client.force_login(cook)
    label_paper_set(by=cook, sheet=Sheet(300, 200))
    answer = pdf_of(client, batch)
    assert answer.status_code == 302
    assert "is too small for all that has to be on it" in client.get(answer.url).content.decode()


def test_a_stranger_has_no_labels_of_it(client, cook):
    batch = make_batch_checked(by=cook, out_at=timezone.now() - A_DAY)
    client.force_login(make_person())
    assert pdf_of(client, batch).status_code == 404
    assert client.post(reverse("batches:labels-printed", args=[batch.lot_code])).status_code == 404
