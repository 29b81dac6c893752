"""Numbers that no column can hold are found nowhere, and break no database."""

from __future__ import annotations

import pytest

from club.members.models import Kitchen, User
from tests.factories.members import make_kitchen, make_person

pytestmark = pytest.mark.django_db
BEYOND = (2**63, -(2**63) - 1, 10**30)


@pytest.mark.parametrize("number", BEYOND)
def test_a_list_with_such_a_number_finds_the_others(number):
    one, other = make_person(), make_person()
    assert set(User.objects.filter(pk__in=[number, one.pk])) == {one}
    assert set(User.objects.exclude(pk__in=[number, one.pk])) == {other}
    assert not User.objects.filter(pk__in=[number]).exists()


@pytest.mark.parametrize("number", BEYOND)
def test_a_key_of_another_table_may_be_such_a_number(number):
    person = make_person()
    kitchen = make_kitchen(person)
    assert not Kitchen.objects.filter(people=number).exists()
    assert not Kitchen.objects.filter(people__in=[number]).exists()
    assert Kitchen.objects.get(people__in=[number, person.pk]) == kitchen
    assert Kitchen.objects.get(people__in=User.objects.filter(pk__in=[number, person.pk])) == kitchen


def test_a_long_list_finds_the_same_rows():
    one, other = make_person(), make_person()
    others = [2**40 + step for step in range(100)]
    assert set(User.objects.filter(pk__in=[*others, one.pk, one.pk, BEYOND[0]])) == {one}
    assert set(User.objects.exclude(pk__in=[*others, one.pk, BEYOND[0]])) == {other}
    kitchen = make_kitchen(one)
    assert Kitchen.objects.get(people__in=[*others, one.pk, BEYOND[0]]) == kitchen
    assert not User.objects.filter(pk__in=[2**70 + step for step in range(100)]).exists()
