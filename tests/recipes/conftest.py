from __future__ import annotations

from decimal import Decimal
from itertools import count

import pytest
from django.contrib.auth.models import Group

from club.members.models import Kitchen, User
from recipes.library import shipped_library

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
        how = {"altitude_m": Decimal(altitude_m), "altitude_how": "map"} if altitude_m is not None else {}
        founder = people[0] if people and not fields.get("is_hall") else None
        named = {"name": f"Kitchen {next(_numbers):05d}", "founded_by": founder}
        kitchen = Kitchen.objects.create(**{**named, **how, **fields})
        kitchen.people.set(people)
        return kitchen

    return make


@pytest.fixture
def ship_from(monkeypatch):
    """The files of a folder count as the library that comes with the site.

    What recipes are judged by stays the true library. It is read first: a process reads it once, and would else keep
    this folder as that library for whichever tests come next.
    """

    def ship_from(folder):
        shipped_library()
        monkeypatch.setattr("recipes.library.SHIPPED", folder)

    return ship_from
