"""A thing may ask for a skill before it is handed over."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from club.members import services as members
from club.members.choices import Role, Skill
from inventory.equipment import services
from inventory.equipment.choices import NO_SKILL, Kind
from inventory.equipment.models import Loan
from tests.factories.equipment import NOW, day, make_hold, make_keeper, make_thing
from tests.factories.members import make_person, make_skill

pytestmark = pytest.mark.django_db


def hand_over(thing, person):
    return services.loan_hand_over(
        by=make_keeper(), thing=thing, person=person, due_on=day(2), condition="good", now=NOW
    )


@pytest.fixture
def canner():
    return make_thing(Kind.WEIGHTED_GAUGE)


def test_a_pressure_canner_waits_until_its_borrower_had_the_class(canner):
    person = make_person(name="Ada Plum")
    with pytest.raises(ValidationError, match="Ada Plum has not yet"):
        hand_over(canner, person)
    assert not Loan.objects.exists()
    make_skill(person)
    assert hand_over(canner, person).person == person


def test_another_class_does_not_count(canner):
    person = make_person()
    make_skill(person, Skill.SPREADS)
    with pytest.raises(ValidationError):
        hand_over(canner, person)


def test_an_instructors_waiver_counts_until_it_is_taken_back(canner):
    person, instructor = make_person(), make_person(Role.INSTRUCTOR)
    told = {"person": person, "skill": Skill.PRESSURE, "reason": "Showed it to me."}
    record = members.skill_waive(by=instructor, **told)
    loan = hand_over(canner, person)
    services.loan_return(by=make_keeper(), loan=loan, condition="good", now=NOW)
    members.skill_withdraw(by=instructor, record=record)
    with pytest.raises(ValidationError):
        hand_over(canner, person)


@pytest.mark.parametrize(
    ("kind", "own", "asks"),
    [
        (Kind.WEIGHTED_GAUGE, "", "pressure"),
        (Kind.DIAL_GAUGE, "", "pressure"),
        (Kind.WEIGHTED_GAUGE, NO_SKILL, ""),
        (Kind.BOILING_WATER, "", ""),
        (Kind.CROCK, Skill.FERMENTING, "fermenting"),
    ],
)
def test_a_thing_asks_as_its_kind_does_unless_it_says_otherwise(kind, own, asks):
    assert make_thing(kind, skill_own=own).skill == asks


def test_an_unknown_skill_is_refused_by_name():
    with pytest.raises(ValidationError) as caught:
        make_thing(skill_own="juggling")
    assert "skill_own" in caught.value.message_dict


def test_a_hold_may_come_before_the_class_and_the_page_says_so(client, canner):
    person = make_person()
    client.force_login(person)
    page = client.get(reverse("equipment:hold", args=[canner.code])).content.decode()
    assert "handed to people who learned this here: Pressure canning" in page
    assert make_hold(canner, by=person).person == person
    make_skill(person)
    page = client.get(reverse("equipment:hold", args=[canner.code])).content.decode()
    assert "handed to people who learned" not in page
