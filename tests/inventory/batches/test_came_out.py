"""How a batch came out: notes that the next plan shows to the same household, and pictures."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, transaction
from django.urls import reverse

from club.core.errors import AlreadyDone
from club.members.choices import Role
from inventory.batches import services
from inventory.batches.models import BatchPhoto, CameOut
from tests.factories.batches import make_batch, make_batch_checked
from tests.factories.members import make_kitchen, make_person
from tests.permissions.world import picture

pytestmark = pytest.mark.django_db


def note(batch, **said) -> CameOut | None:
    return services.came_out_note(**{"by": batch.made_by, "batch": batch, "set_how": "soft", **said})


def add(batch, **changes) -> BatchPhoto:
    told = {"by": batch.made_by, "batch": batch, "file": picture(), "caption": "Six jars", "token": uuid4()}
    return services.batch_photo_add(**told | changes)


def test_the_next_plan_of_the_recipe_shows_it_to_the_same_household_alone(sign_in):
    by, mate, stranger = make_person(), make_person(), make_person(Role.INSTRUCTOR)
    batch = make_batch_checked(by=by, kitchen=make_kitchen(by, mate))
    note(batch, note="Boil it two minutes longer.")
    plan = reverse("recipes:plan", args=[batch.revision.recipe.slug])
    for person, shown in ((by, True), (mate, True), (stranger, False)):
        page = sign_in(person).get(plan)
        assert [row.batch.lot_code for row in page.context["came_out"]] == [batch.lot_code] * shown
        assert ("Boil it two minutes longer." in page.content.decode()) is shown


def test_it_is_written_anew_and_taken_away_by_saying_nothing():
    batch = make_batch_checked()
    note(batch)
    note(batch, set_how="right", texture="hard")
    assert CameOut.objects.get().words == "set: as it should be; to the bite: too hard or tough"
    assert note(batch, set_how="") is None
    assert not CameOut.objects.exists()
    with pytest.raises(IntegrityError), transaction.atomic():
        CameOut.objects.create(batch=batch, noted_by=batch.made_by)


def test_only_the_household_says_how_it_came_out_and_only_once_it_is_out():
    batch = make_batch_checked()
    for wrong in ({"set_how": "runny"}, {"texture": "?"}, {"note": "x" * 501}):
        with pytest.raises(ValidationError):
            note(batch, **wrong)
    with pytest.raises(PermissionDenied):
        note(batch, by=make_person(Role.ORGANISER))
    with pytest.raises(AlreadyDone):
        note(make_batch())


def test_a_picture_is_written_anew_bounded_in_number_and_removed():
    batch = make_batch_checked()
    token = uuid4()
    photo = add(batch, is_fault=True, token=token)
    assert bytes(photo.jpeg).startswith(b"\xff\xd8")
    assert add(batch, is_fault=True, token=token) == photo
    for wrong in ({"caption": " "}, {"file": SimpleUploadedFile("a.txt", b"no picture")}):
        with pytest.raises(ValidationError):
            add(batch, **wrong)
    with pytest.raises(PermissionDenied):
        add(batch, by=make_person(Role.INSTRUCTOR))
    rows = [BatchPhoto(batch=batch, token=uuid4(), jpeg=b"", caption="x", added_by=batch.made_by) for _n in range(11)]
    BatchPhoto.objects.bulk_create(rows)
    with pytest.raises(ValidationError, match="12 pictures"):
        add(batch)
    with pytest.raises(PermissionDenied):
        services.batch_photo_remove(by=make_person(), photo=photo)
    services.batch_photo_remove(by=batch.made_by, photo=photo)
    with pytest.raises(AlreadyDone):
        services.batch_photo_remove(by=batch.made_by, photo=photo)


def test_what_somebody_noted_and_pictured_goes_with_their_name():
    batch = make_batch_checked()
    note(batch)
    add(batch)
    services.person_forget(person=batch.made_by)
    assert not CameOut.objects.exists()
    assert not BatchPhoto.objects.exists()


def test_the_page_takes_a_picture_and_a_note_and_the_batch_shows_both(sign_in):
    batch = make_batch_checked()
    client, address = sign_in(batch.made_by), reverse("batches:came-out", args=[batch.lot_code])
    form = client.get(address).context["photo_form"]
    sent = {"token": form["token"].value(), "caption": "A cracked jar", "is_fault": "on"}
    add_at = reverse("batches:photo-add", args=[batch.lot_code])
    client.post(add_at, sent | {"photo": SimpleUploadedFile("jar.png", picture().read(), "image/png")})
    photo = BatchPhoto.objects.get()
    assert photo.is_fault
    client.post(address, {"set_how": "firm", "texture": "", "note": ""})
    page = client.get(batch.get_absolute_url()).content.decode()
    shown = reverse("batches:photo", args=[batch.lot_code, photo.pk])
    assert shown in page
    assert "too firm" in page
    assert client.get(shown)["Content-Type"] == "image/jpeg"
    client.post(reverse("batches:photo-remove", args=[batch.lot_code, photo.pk]))
    assert not BatchPhoto.objects.exists()
