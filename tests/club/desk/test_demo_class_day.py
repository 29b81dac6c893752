"""The demo's class day goes through the services, so it holds what the site would let happen and nothing else."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError

from club.classes.choices import SessionState
from club.classes.models import CannerLoad, OwnNote, SignUp, StationBatch
from club.reminders import outbox
from club.reminders.models import Reminder
from club.run.demo import class_day_load
from inventory.batches.choices import BatchState
from inventory.batches.models import Batch, Jar, SealCheck
from tests.factories.class_day import make_dial_held
from tests.factories.classes import make_session, make_signup, make_station
from tests.factories.recipes import VEGETABLE, make_revision

pytestmark = [pytest.mark.django_db, pytest.mark.once]  # a server's own database is given no demo


@pytest.fixture
def session():
    session = make_session(seats=2)
    beans = make_revision(base=VEGETABLE)
    make_station(session, revision=beans, jar_size="pint", pack="hot", canner="dial-gauge", seats=2)
    make_dial_held(session)
    make_signup(session, places=2, companion="Her aunt")
    make_signup(session)
    make_signup(session)
    return session


def test_a_past_session_is_held_cooked_and_looked_at(session):
    held = class_day_load(session, now=session.ends_at + timedelta(days=9))
    assert held.state == SessionState.HELD
    assert list(SignUp.objects.order_by("joined_at", "pk").values_list("came", flat=True)) == [2, 1, 0]
    assert set(Batch.objects.values_list("state", flat=True)) == {BatchState.CHECKED}
    assert StationBatch.objects.count() == 2
    assert CannerLoad.objects.count() >= 2
    assert Jar.objects.filter(seal="unsealed").count() == 1
    assert OwnNote.objects.count() == 1
    takers = set(Batch.objects.values_list("made_by", flat=True))
    assert takers == set(SealCheck.objects.values_list("checked_by", flat=True))
    assert session.created_by_id not in takers


def test_seals_whose_hour_has_not_come_wait_for_it(session):
    now = session.ends_at + timedelta(hours=13)
    class_day_load(session, now=now)
    assert set(Batch.objects.values_list("state", flat=True)) == {BatchState.OUT}
    outbox.gather(now)
    due = set(Reminder.objects.filter(rule="seal-check").values_list("person", flat=True))
    assert due == set(Batch.objects.values_list("made_by", flat=True))


def test_a_session_without_sign_ups_has_nothing_to_lay_down(session):
    SignUp.objects.all().delete()
    with pytest.raises(ValidationError, match="call the roll"):
        class_day_load(session, now=session.ends_at + timedelta(days=1))
