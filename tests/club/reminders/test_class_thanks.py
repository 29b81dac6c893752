"""Thanks after a session: to each who came, once, with the way to the handout."""

from __future__ import annotations

from datetime import timedelta

import pytest

from club.classes.models import SignUp
from club.classes.services import day
from club.reminders import outbox
from club.reminders.models import Reminder
from club.reminders.services import RULES, with_titles
from tests.factories.class_day import NOON, make_called, make_cooking, make_held, runner_of
from tests.factories.classes import make_session
from tests.factories.members import make_kitchen

pytestmark = pytest.mark.django_db

RULE = RULES["class-thanks"]


def thanked(now=NOON) -> list[str]:
    outbox.gather(now)
    return sorted(Reminder.objects.filter(rule="class-thanks").values_list("person__email", flat=True))


def test_each_who_came_is_thanked_once_and_who_did_not_come_is_not():
    cooking = make_cooking()
    came = cooking.station.taker.signup
    make_called(cooking.station.session, came=0)
    assert thanked() == []
    make_held(cooking)
    assert thanked() == thanked(NOON + timedelta(hours=3)) == [came.person.email]


def test_nobody_is_thanked_a_week_later():
    make_held(make_cooking())
    assert thanked(NOON + timedelta(days=7)) == []
    assert len(thanked(NOON + timedelta(days=7, seconds=-1))) == 1


def test_who_left_the_club_or_was_struck_off_the_roll_is_not_thanked():
    session = make_session()
    leaver, struck = make_called(session), make_called(session)
    day.session_close(by=runner_of(session), session=session, now=NOON)
    assert len(thanked()) == 2
    leaver.person.is_active = False
    leaver.person.save()
    SignUp.objects.filter(pk=struck.pk).update(came=0)
    for reminder in Reminder.objects.filter(rule="class-thanks").select_related("person"):
        assert not RULE.still_due(reminder, NOON)


def test_the_letter_leads_to_her_handout_and_tells_no_kitchen():
    cooking = make_cooking(title="Plums & pears")
    signup = cooking.station.taker.signup
    make_kitchen(signup.person, name="Secret Lane")
    make_held(cooking)
    thanked()
    reminder = Reminder.objects.get(rule="class-thanks")
    assert RULE.still_due(reminder, NOON)
    told = RULE.message(reminder, NOON)
    assert told.subject == "Thank you for coming: Plums & pears"
    assert told.link == f"https://club.example.test/classes/handouts/{signup.pk}/"
    assert f"lot code {cooking.batch.lot_code} are yours" in told.text
    assert "Secret Lane" not in told.text + told.html


def test_the_list_of_reminders_names_the_session():
    make_held(make_cooking(title="Plums in a morning"))
    thanked()
    [(_row, words)] = with_titles(Reminder.objects.filter(rule="class-thanks"))
    assert words == "thank you, and the handout, Plums in a morning"
