from __future__ import annotations

from datetime import UTC, datetime, timedelta
from fractions import Fraction
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction

from club.members.models import Kitchen, User
from inventory.batches import services
from inventory.batches.choices import BatchState
from inventory.batches.models import Batch
from inventory.batches.rules import OwnGauge
from inventory.batches.services import log
from recipes.engine.quantities import parse_amount
from recipes.engine.terms import Canner, Pack
from recipes.models import RevisionState
from tests.factories.batches import NOW, make_batch, make_batch_out, make_freezer_revision, make_pressure_batch
from tests.factories.members import make_kitchen, make_person, set_altitude
from tests.factories.recipes import VEGETABLE, make_revision

pytestmark = pytest.mark.django_db


@pytest.fixture
def asked():
    """The arguments of a start that succeeds; a test changes the one thing it is about."""
    by = make_person()
    return {
        "by": by,
        "revision": make_revision(),
        "kitchen": make_kitchen(by),
        "token": uuid4(),
        "pots": 2,
        "jar": "half-pint",
        "now": NOW,
    }


def test_a_batch_keeps_the_plan_as_it_stood(asked):
    batch = services.batch_start(**asked)
    assert batch.state == BatchState.STARTED
    assert (batch.pots, batch.required_minutes, batch.required_psi) == (2, 10, None)
    assert (batch.canner, batch.pack, batch.jar_size) == ("boiling-water", "hot", "half-pint")
    assert batch.plan["process"]["minutes"] == 10
    assert batch.plan["pots"] == 2
    set_altitude(asked["kitchen"], 3000)
    kept = Batch.objects.get(pk=batch.pk)
    assert kept.altitude_m == 1040
    assert kept.required_minutes == 10


def test_a_pressure_batch_keeps_minutes_and_pressure():
    batch = make_pressure_batch()
    assert (batch.required_minutes, batch.required_psi) == (20, 12)
    assert (batch.canner, batch.jar_size) == ("dial-gauge", "pint")


def test_a_smaller_jar_has_the_larger_tested_jar_as_its_bound():
    by = make_person()
    batch = make_batch(by=by, jar="quarter-pint")
    assert batch.jar_size == "half-pint"


def test_fruit_at_hand_scales_the_pot_exactly(asked):
    batch = services.batch_start(**(asked | {"pots": None, "fruit": parse_amount("2 cups")}))
    assert batch.pots == 1
    assert batch.printed_pots == Fraction(1, 2)


def test_a_freezer_recipe_needs_no_process():
    batch = make_batch(revision=make_freezer_revision())
    assert batch.is_cold_kind
    assert (batch.canner, batch.pack, batch.required_minutes) == ("", "", None)


def test_the_lot_code_is_of_the_club_s_day_not_of_utc(asked, settings):
    # 15 September 03:00 UTC is still the evening of the 14th, day 257, in the club's zone.
    asked["now"] = datetime(2026, 9, 15, 3, 0, tzinfo=UTC)
    assert services.batch_start(**asked).lot_code.startswith("26257-")


def test_the_same_form_sent_twice_starts_one_batch(asked):
    first = services.batch_start(**asked)
    assert services.batch_start(**asked) == first
    assert Batch.objects.count() == 1


def test_a_form_sent_twice_finds_its_batch_even_after_the_revision_was_withdrawn(asked):
    first = services.batch_start(**asked)
    asked["revision"].state = RevisionState.WITHDRAWN
    asked["revision"].withdrawn_at, asked["revision"].withdrawn_reason = NOW, "Wrong."
    asked["revision"].save()
    assert services.batch_start(**asked) == first


def test_somebody_else_s_token_gives_nothing_away(asked):
    services.batch_start(**asked)
    thief = make_person()
    with pytest.raises(ValidationError, match="another batch"):
        services.batch_start(**(asked | {"by": thief, "kitchen": make_kitchen(thief)}))
    assert Batch.objects.count() == 1


def test_a_used_token_does_not_start_another_recipe(asked):
    services.batch_start(**asked)
    with pytest.raises(ValidationError, match="another batch"):
        services.batch_start(**(asked | {"revision": make_revision()}))


@pytest.mark.parametrize("state", [RevisionState.DRAFT, RevisionState.IN_REVIEW, RevisionState.WITHDRAWN])
def test_only_a_published_revision_is_started(asked, state):
    with pytest.raises(ValidationError) as refused:
        services.batch_start(**(asked | {"revision": make_revision(state=state)}))
    assert list(refused.value.message_dict) == ["revision"]
    assert not Batch.objects.exists()


def test_a_revision_withdrawn_since_the_page_was_opened_is_refused_with_the_reason(asked):
    stale = asked["revision"]
    type(stale).objects.filter(pk=stale.pk).update(
        state=RevisionState.WITHDRAWN, withdrawn_at=NOW, withdrawn_reason="Too little acid."
    )
    with pytest.raises(ValidationError, match="Too little acid"):
        services.batch_start(**asked)


def test_a_kitchen_without_altitude_starts_nothing(asked):
    kitchen = make_kitchen(asked["by"], altitude="")
    for revision in (asked["revision"], make_freezer_revision()):
        with pytest.raises(ValidationError) as refused:
            services.batch_start(**(asked | {"kitchen": kitchen, "revision": revision}))
        assert list(refused.value.message_dict) == ["kitchen"]


def test_an_altitude_mended_since_the_page_was_opened_counts(asked):
    stale = Kitchen.objects.get(pk=asked["kitchen"].pk)
    set_altitude(asked["kitchen"], 1900)  # above 6,000 ft
    assert services.batch_start(**(asked | {"kitchen": stale})).required_minutes == 15


def test_another_s_kitchen_is_refused_and_a_hall_is_everybody_s(asked):
    with pytest.raises(PermissionDenied):
        services.batch_start(**(asked | {"kitchen": make_kitchen(make_person())}))
    hall = make_kitchen(is_hall=True)
    assert services.batch_start(**(asked | {"kitchen": hall})).kitchen == hall


def test_somebody_without_the_right_starts_nothing(asked):
    outsider = User.objects.create_user("outsider@example.test", name="Out")
    asked["kitchen"].people.add(outsider)
    with pytest.raises(PermissionDenied):
        services.batch_start(**(asked | {"by": outsider}))
    assert services.batch_start(**asked)


def test_the_plan_s_refusals_are_not_stepped_over(asked):
    quart = asked | {"jar": "quart"}  # tested up to pints only
    with pytest.raises(ValidationError) as refused:
        services.batch_start(**quart)
    assert refused.value.messages
    assert not Batch.objects.exists()


def test_a_plan_from_nothing_is_refused(asked):
    with pytest.raises(ValidationError):
        services.batch_start(**(asked | {"pots": None}))


def test_above_the_dial_table_nothing_is_started(asked):
    kitchen = make_kitchen(name="High", altitude="2600 m")
    kitchen.people.add(asked["by"])
    beans = asked | {"revision": make_revision(base=VEGETABLE), "kitchen": kitchen, "jar": "pint", "pack": Pack.HOT}
    with pytest.raises(ValidationError):
        services.batch_start(**(beans | {"canner": Canner.DIAL_GAUGE}))
    weighted = beans | {"canner": Canner.WEIGHTED_GAUGE, "own_gauge": OwnGauge()}
    assert services.batch_start(**weighted).required_psi == 15


@pytest.mark.parametrize("off", [timedelta(minutes=5), -timedelta(days=30, seconds=1)])
def test_a_beginning_ahead_of_the_clock_or_too_long_ago_is_refused(asked, off):
    with pytest.raises(ValidationError) as refused:
        services.batch_start(**(asked | {"started_at": NOW + off}))
    assert list(refused.value.message_dict) == ["started_at"]


def test_a_batch_may_be_keyed_in_up_to_30_days_late(asked):
    began = NOW - timedelta(days=30)
    batch = services.batch_start(**(asked | {"started_at": began}))
    assert batch.started_at == began
    assert batch.created_at == NOW


def test_two_batches_that_draw_the_same_letters_get_different_codes(asked, monkeypatch):
    drawn = iter([7, 7, 7, 8])
    monkeypatch.setattr(log.secrets, "randbelow", lambda _most: next(drawn))
    first = services.batch_start(**asked)
    second = services.batch_start(**(asked | {"token": uuid4()}))
    assert first.lot_code != second.lot_code
    assert next(drawn, None) is None


def test_a_day_without_a_free_code_fails_aloud_and_writes_nothing(asked, monkeypatch):
    monkeypatch.setattr(log.secrets, "randbelow", lambda _most: 7)
    services.batch_start(**asked)
    with pytest.raises(IntegrityError), transaction.atomic():
        services.batch_start(**(asked | {"token": uuid4()}))
    assert Batch.objects.count() == 1


def test_a_batch_on_the_stove_is_given_up_with_a_reason():
    batch = make_batch()
    given_up = services.batch_abandon(by=batch.made_by, batch=batch, reason=" Scorched \n badly. ", now=NOW)
    assert given_up.state == BatchState.ABANDONED
    assert (given_up.abandoned_reason, given_up.abandoned_at) == ("Scorched badly.", NOW)


@pytest.mark.parametrize("reason", ["", "   ", "x" * 201])
def test_giving_up_needs_a_short_reason(reason):
    batch = make_batch()
    with pytest.raises(ValidationError) as refused:
        services.batch_abandon(by=batch.made_by, batch=batch, reason=reason)
    assert list(refused.value.message_dict) == ["reason"]
    assert Batch.objects.get().state == BatchState.STARTED


def test_what_is_out_of_the_canner_is_not_given_up():
    batch = make_batch_out()
    with pytest.raises(services.AlreadyDone):
        services.batch_abandon(by=batch.made_by, batch=batch, reason="Late.")
    assert Batch.objects.get().state == BatchState.OUT


def test_giving_up_another_s_batch_is_refused():
    batch = make_batch()
    with pytest.raises(PermissionDenied):
        services.batch_abandon(by=make_person(), batch=batch, reason="Mine now.")


def test_fruit_weighed_more_finely_than_can_be_kept_is_refused(asked):
    # On PostgreSQL the exact scale would not fit its column; SQLite would keep whatever length.
    del asked["pots"]
    fruit = parse_amount("3 1/9999999999999999999999999999999999999999999999999 cups")
    with pytest.raises(ValidationError, match="rounder figure"):
        services.batch_start(**asked, fruit=fruit)
    assert not Batch.objects.exists()
