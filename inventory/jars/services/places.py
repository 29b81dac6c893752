"""Places come to be when something is first moved there."""

from __future__ import annotations

from club.members.models import Kitchen, User
from inventory.jars.models import Place
from inventory.jars.words import OUTSIDE, PlaceKind


def kitchen_place(kitchen: Kitchen) -> Place:
    return Place.objects.get_or_create(kitchen=kitchen, defaults={"kind": PlaceKind.KITCHEN})[0]


def person_place(person: User) -> Place:
    return Place.objects.get_or_create(person=person, defaults={"kind": PlaceKind.MEMBER})[0]


def store_place() -> Place:
    return Place.objects.get_or_create(kind=PlaceKind.STORE)[0]


def outside_place(kind: str) -> Place:
    """The account of jars bought, given away or broken. ValueError for another kind."""
    if kind not in OUTSIDE:
        raise ValueError(f"{kind} is no outside account")
    return Place.objects.get_or_create(kind=kind)[0]
