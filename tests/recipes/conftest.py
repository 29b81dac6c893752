from __future__ import annotations

from decimal import Decimal
from functools import partial
from itertools import count

import pytest
from django.contrib.auth.models import Group

from club.members.models import Kitchen, User
from recipes.library import is_shipped
from tests.factories.members import set_altitude

_numbers = count(1)


@pytest.fixture
def make_person(db):
    """A person of the club in the given roles, who can be signed in with `client.force_login`."""

    def make(*roles: str, **fields) -> User:
        number = next(_numbers)
        person = User.objects.create_user(f"person-{number}@example.org", name=f"Person {number}", **fields)
        person.groups.set(Group.objects.filter(name__in=roles))
        assert person.groups.count() == len(roles)
        return person

    return make


@pytest.fixture
def member(make_person):
    return make_person("member")


@pytest.fixture
def instructor(make_person):
    return make_person("instructor")


@pytest.fixture
def reviewer(make_person):
    return make_person("instructor")


@pytest.fixture
def make_kitchen(db):
    def make(*people: User, altitude_m: str | None = "1040", **fields) -> Kitchen:
        founder = people[0] if people and not fields.get("is_hall") else None
        named = {"name": f"Kitchen {next(_numbers):05d}", "founded_by": founder}
        kitchen = Kitchen.objects.create(**{**named, **fields})
        kitchen.people.set(people)
        if altitude_m is not None:
            set_altitude(kitchen, Decimal(altitude_m))
        return kitchen

    return make


@pytest.fixture
def ship_from(monkeypatch):
    """The files of a folder count as the library that comes with the site.

    Only what counts as shipped is changed, never where the library lies: a module that is first imported meanwhile
    would else keep this folder for whichever tests come next.
    """

    def ship_from(folder):
        monkeypatch.setattr("recipes.library.is_shipped", partial(is_shipped, folder=folder))

    return ship_from
