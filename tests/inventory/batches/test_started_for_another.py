"""A batch started by one person for another: the jars, the seals and the reminder are hers who takes them home."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from club.members.choices import Role
from club.members.models import User
from inventory.batches import services
from inventory.batches.choices import BatchState
from inventory.batches.models import Batch
from tests.factories.batches import NOW, without_lots
from tests.factories.jars import make_lid_lot
from tests.factories.members import make_kitchen, make_person
from tests.factories.recipes import make_revision

pytestmark = pytest.mark.django_db

OUT = NOW + timedelta(hours=2)
LATER = OUT + timedelta(hours=14)


@pytest.fixture
def asked():
    """The arguments of a start for another that succeeds; a test changes the one thing it is about."""
    return {
        "by": make_person(Role.INSTRUCTOR, name="Ilse Instructor"),
        "for_person": make_person(name="Stella Student"),
        "revision": make_revision(),
        "kitchen": make_kitchen(is_hall=True),
        "token": uuid4(),
        "pots": 1,
        "jar": "half-pint",
        "now": NOW,
    }


def log(batch: Batch, by: User) -> Batch:
    told = {"jars": {"half-pint": 4}, "minutes": 10, "lid_code": "L1", "jars_out_at": OUT, "now": OUT}
    return services.batch_log_process(by=by, batch=batch, lots=without_lots(batch), **told)


def test_the_jars_are_hers_and_the_starter_is_noted(asked):
    batch = services.batch_start(**asked)
    assert (batch.made_by, batch.started_by) == (asked["for_person"], asked["by"])


@pytest.mark.parametrize("for_whom", ["nobody", "herself"])
def test_who_starts_for_herself_is_noted_once(asked, for_whom):
    asked["for_person"] = None if for_whom == "nobody" else asked["by"]
    batch = services.batch_start(**asked)
    assert (batch.made_by, batch.started_by) == (asked["by"], None)
    with pytest.raises(IntegrityError), transaction.atomic():
        Batch.objects.filter(pk=batch.pk).update(started_by=batch.made_by)


@pytest.mark.parametrize(
    ("role", "may"), [(Role.MEMBER, False), (Role.KEEPER, False), (Role.INSTRUCTOR, True), (Role.ORGANISER, True)]
)
def test_to_start_for_another_takes_a_right_of_its_own(asked, role, may):
    asked["by"] = make_person(role)
    if may:
        assert services.batch_start(**asked).made_by == asked["for_person"]
    else:
        with pytest.raises(PermissionDenied):
            services.batch_start(**asked)
        assert not Batch.objects.exists()


def test_both_must_be_able_to_use_the_kitchen(asked):
    asked["kitchen"] = make_kitchen(asked["by"])
    with pytest.raises(PermissionDenied):
        services.batch_start(**asked)
    asked["kitchen"].people.add(asked["for_person"])
    assert services.batch_start(**asked)


def test_nothing_is_started_for_somebody_who_left_the_club(asked):
    User.objects.filter(pk=asked["for_person"].pk).update(is_active=False)
    asked["for_person"].refresh_from_db()
    with pytest.raises(PermissionDenied):
        services.batch_start(**asked)


def test_the_same_start_for_another_twice_is_one_batch_and_her_token_starts_none_for_a_third(asked):
    first = services.batch_start(**asked)
    assert services.batch_start(**asked) == first
    with pytest.raises(ValidationError, match="another batch"):
        services.batch_start(**(asked | {"for_person": make_person()}))


def test_the_starter_logs_the_process_and_leaves_the_seals_to_whose_jars_they_are(asked):
    batch = log(services.batch_start(**asked), asked["by"])
    assert batch.state == BatchState.OUT
    look = {"batch": batch, "token": uuid4(), "results": dict.fromkeys(range(1, 5), "sealed"), "now": LATER}
    with pytest.raises(PermissionDenied):
        services.seals_record(by=asked["by"], **look)
    assert services.seals_record(by=asked["for_person"], **look).checked_by == asked["for_person"]


def test_the_starter_gives_up_what_scorched(asked):
    batch = services.batch_start(**asked)
    given_up = services.batch_abandon(by=asked["by"], batch=batch, reason="Scorched.", now=NOW)
    assert given_up.state == BatchState.ABANDONED


def test_another_instructor_reads_the_batch_and_logs_nothing(asked):
    batch, other = services.batch_start(**asked), make_person(Role.INSTRUCTOR)
    assert Batch.objects.visible_to(other).filter(pk=batch.pk).exists()
    with pytest.raises(PermissionDenied):
        log(batch, other)
    assert log(batch, asked["by"]).state == BatchState.OUT


def test_the_pages_at_the_stove_open_to_the_starter_and_the_seals_do_not(asked, sign_in):
    batch = services.batch_start(**(asked | {"now": timezone.now() - timedelta(hours=3)}))
    starter, student = sign_in(asked["by"]), sign_in(asked["for_person"])

    def status(client, page):
        return client.get(reverse(f"batches:{page}", args=[batch.lot_code])).status_code

    for page in ("log", "abandon"):
        assert (status(starter, page), status(student, page)) == (200, 200)
        assert status(sign_in(make_person(Role.INSTRUCTOR)), page) == 403
        assert status(sign_in(make_person()), page) == 404
    detail = starter.get(batch.get_absolute_url()).content.decode()
    assert reverse("batches:log", args=[batch.lot_code]) in detail
    assert "Stella Student" in detail
    assert "started by" in detail
    Batch.objects.filter(pk=batch.pk).update(
        **{"state": "out", "processed_minutes": 10, "jars_out_at": timezone.now(), "lid_lot": make_lid_lot()}
    )
    assert (status(starter, "seals"), status(student, "seals")) == (403, 200)


def test_a_starter_who_may_not_trace_any_more_still_finds_what_she_started(asked):
    batch = services.batch_start(**asked)
    asked["by"].groups.clear()
    asked["by"].forget_roles()
    assert list(Batch.objects.visible_to(asked["by"])) == [batch]
    assert list(Batch.objects.cared_for_by(asked["by"])) == []
