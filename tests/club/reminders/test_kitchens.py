"""Asked into a kitchen, and a kitchen of another altitude: told to those it is about, through the outbox."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from club.members import services as members
from club.members.models import Kitchen, KitchenAltitude
from club.reminders.models import Reminder
from club.reminders.outbox import gather
from club.reminders.services import RULES, with_titles
from tests.factories.members import make_kitchen, make_organiser, make_person

pytestmark = pytest.mark.django_db

ASKED, ALTITUDE = RULES["kitchen-invitation"], RULES["kitchen-altitude"]


@pytest.fixture
def ada():
    return make_person(name="Ada Plum")


@pytest.fixture
def bo():
    return make_person(name="Bo Plum")


@pytest.fixture
def kitchen(ada):
    return make_kitchen(ada)


def gathered(rule: str, now=None) -> list[str]:
    gather(now or timezone.now())
    return sorted(Reminder.objects.filter(rule=rule).values_list("person__name", flat=True))


def change(by, kitchen, altitude: str) -> None:
    looked = kitchen.altitudes.exclude(altitude_m=None).last()
    wanted = {"altitude_text": altitude, "altitude_how": "map", "looked_at": looked and looked.pk}
    members.kitchen_change(by=by, kitchen=kitchen, name=kitchen.name, **wanted)


def text_of(rule) -> str:
    reminder = Reminder.objects.filter(rule=rule.name).latest("pk")
    return rule.message(reminder, timezone.now()).text


def test_whoever_is_asked_is_told_once_and_not_after_an_answer(ada, bo, kitchen):
    members.kitchen_invite(by=ada, kitchen=kitchen, email=bo.email)
    members.kitchen_invite(by=ada, kitchen=kitchen, email="nobody@example.test")
    assert gathered(ASKED.name) == ["Bo Plum"]
    members.kitchen_invite(by=ada, kitchen=kitchen, email=bo.email)
    assert gathered(ASKED.name) == ["Bo Plum"]
    reminder = Reminder.objects.get(rule=ASKED.name)
    assert ASKED.still_due(reminder, timezone.now())
    told = text_of(ASKED)
    assert f"Ada Plum ({ada.email})" in told
    assert "“Plum Lane”" in told
    assert "/people/me/" in told
    assert [words for _one, words in with_titles([reminder])] == ["you are asked into a kitchen, Plum Lane"]
    members.kitchen_invitation_answer(by=bo, invitation=kitchen.invitations.get(person=bo), accept=False)
    assert not ASKED.still_due(reminder, timezone.now())


def test_what_was_taken_back_or_is_over_is_not_told(ada, bo, kitchen):
    members.kitchen_invite(by=ada, kitchen=kitchen, email=bo.email)
    gathered(ASKED.name)
    reminder = Reminder.objects.get(rule=ASKED.name)
    assert not ASKED.still_due(reminder, timezone.now() + timedelta(days=31))
    members.kitchen_invitation_withdraw(by=ada, invitation=kitchen.invitations.get())
    assert not ASKED.still_due(reminder, timezone.now())


def test_a_new_name_and_a_new_keeper_are_told_to_the_others_of_the_household(ada, bo, kitchen):
    kitchen.people.add(bo)
    members.kitchen_change(by=ada, kitchen=kitchen, name="Plum Row")
    assert gathered("household-change") == ["Bo Plum"]
    assert "Before: Plum Lane. Now: Plum Row." in text_of(RULES["household-change"])
    members.household_hand_on(by=ada, kitchen=kitchen, person=bo)
    assert gathered("household-change") == ["Bo Plum", "Bo Plum"]
    assert "Before: Ada Plum. Now: Bo Plum." in text_of(RULES["household-change"])


def test_another_altitude_is_told_to_all_of_the_household_and_to_nobody_else(ada, bo, kitchen):
    kitchen.people.add(bo)
    members.kitchen_invite(by=ada, kitchen=kitchen, email=make_person(name="Pending").email)
    change(bo, kitchen, "10 m")
    assert gathered(ALTITUDE.name) == ["Ada Plum", "Bo Plum"]
    told = text_of(ALTITUDE)
    assert "Bo Plum changed the altitude of Plum Lane" in told
    assert "from 1,040 m (3,412.1 ft) to 10 m (32.9 ft)" in told
    assert f"/people/kitchens/{kitchen.pk}/" in told
    (_reminder, words), *_rest = with_titles(Reminder.objects.filter(rule=ALTITUDE.name))
    assert words == "a kitchen's altitude was changed, Plum Lane"


def test_a_kitchen_saved_with_the_altitude_that_it_has_tells_nobody(ada, kitchen):
    members.kitchen_change(by=ada, kitchen=kitchen, name="New name", altitude_text="1040 m", altitude_how="map")
    assert gathered(ALTITUDE.name) == []


def test_an_altitude_taken_away_is_a_change_as_well(ada, kitchen):
    members.kitchen_change(by=ada, kitchen=kitchen, name="Plum Lane")
    assert gathered(ALTITUDE.name) == ["Ada Plum"]
    assert "to unknown" in text_of(ALTITUDE)


def test_the_form_sent_twice_with_another_altitude_is_a_change(ada):
    from uuid import uuid4

    token = uuid4()
    for altitude in ("1040 m", "1400 m"):
        members.kitchen_add(by=ada, name="Plum Lane", altitude_text=altitude, altitude_how="map", token=token)
    assert [row.altitude_m for row in KitchenAltitude.objects.all()] == [1040, 1400]
    assert gathered(ALTITUDE.name) == ["Ada Plum"]
    assert "from 1,040 m (3,412.1 ft) to 1,400 m" in text_of(ALTITUDE)


def test_the_altitude_that_a_kitchen_begins_with_is_no_change(ada):
    members.kitchen_add(by=ada, name="Plum Lane", altitude_text="1040 m", altitude_how="map")
    assert gathered(ALTITUDE.name) == []


def test_the_last_change_is_told_and_only_to_who_is_there_still(ada, bo, kitchen):
    kitchen.people.add(bo)
    change(ada, kitchen, "10 m")
    gathered(ALTITUDE.name)
    first = Reminder.objects.get(rule=ALTITUDE.name, person=bo)
    change(ada, Kitchen.objects.get(), "1500 m")
    assert not ALTITUDE.still_due(first, timezone.now())
    gathered(ALTITUDE.name)
    last = Reminder.objects.filter(rule=ALTITUDE.name, person=bo).latest("pk")
    assert ALTITUDE.still_due(last, timezone.now())
    members.household_leave(by=bo, kitchen=kitchen)
    assert not ALTITUDE.still_due(last, timezone.now())


def test_nobody_who_left_the_club_is_told_and_nobody_after_two_weeks(ada, bo, kitchen):
    kitchen.people.add(bo)
    change(ada, kitchen, "10 m")
    members.member_deactivate(by=make_organiser(), person=bo)
    assert gathered(ALTITUDE.name, timezone.now() + timedelta(days=15)) == []
    assert gathered(ALTITUDE.name, timezone.now() + timedelta(days=13)) == ["Ada Plum"]


def test_it_cannot_be_muted():
    assert (ALTITUDE.may_mute, ASKED.may_mute) == (False, True)


@pytest.mark.parametrize("rows", [1, 30])
def test_thirty_of_each_are_asked_in_as_many_queries_as_one(ada, bo, django_assert_num_queries, rows):
    for _ in range(rows):
        kitchen = make_kitchen(ada)
        change(ada, kitchen, "10 m")
        kitchen.invitations.create(email=bo.email, person=bo, invited_by=ada, invited_at=timezone.now())
    now = timezone.now()
    with django_assert_num_queries(3):
        assert len([*ASKED.due(now), *ALTITUDE.due(now)]) == 2 * rows
