"""The rooms as the head of every page names them: what people come for, and what those who run the club do."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.functional import Promise
from django.utils.safestring import SafeString
from django.utils.translation import get_language
from django.utils.translation import gettext_lazy as _

from club.members.choices import Role

KEEPER, INSTRUCTOR, ORGANISER = (frozenset({role}) for role in (Role.KEEPER, Role.INSTRUCTOR, Role.ORGANISER))
STAFF = KEEPER | INSTRUCTOR | ORGANISER


@dataclass(frozen=True)
class Room:
    """A place of the head. `views` are the beginnings of the names of its pages: the longest that fits wins, of
    two as long the later room's.

    `icon` is one of Heroicons; doors of the club's own group have none.
    """

    key: str
    label: Promise
    address: str
    views: tuple[str, ...] = ()
    icon: str = ""
    roles: frozenset[Role] = frozenset()


# The first four, and "More", are at the foot of a phone.
ROOMS = (
    Room("today", _("Today"), "desk:home", ("desk:home",), "sun"),
    Room("recipes", _("Recipes"), "recipes:list", ("recipes:",), "book-open"),
    Room("batches", _("Batches"), "batches:list", ("batches:",), "beaker"),
    Room(
        "pantry",
        _("Pantry"),
        "desk:pantry",
        ("desk:pantry", "desk:make", "desk:season", "fruit:freezer", "jars:place", "jars:move", "jars:home"),
        "archive-box",
    ),
    Room("equipment", _("Equipment"), "equipment:list", ("equipment:",), "wrench-screwdriver"),
    Room("classes", _("Classes"), "classes:list", ("classes:",), "academic-cap"),
    Room(
        "sharing",
        _("Sharing"),
        "desk:sharing",
        ("desk:sharing", "fruit:", "batches:jar-", "jars:order"),
        "gift",
    ),
    Room(
        "me",
        _("Me"),
        "members:me",
        (
            "members:me",
            "members:my-",
            "members:kitchen",
            "members:browser",
            "desk:privacy",
            "desk:my-",
            "desk:leave",
            "reminders:",
            "calendar:",
        ),
        "user-circle",
    ),
)
AT_THE_FOOT = 4

# What those who run the club have besides, in the order of how often it is wanted.
DOORS = (
    Room("counter", _("Counter"), "equipment:counter", ("equipment:counter",), roles=KEEPER),
    Room(
        "jar-store",
        _("Jar store"),
        "jars:home",
        ("jars:", "jars:home", "jars:place", "jars:move"),
        roles=KEEPER,
    ),
    Room("lids", _("Lids"), "jars:lids", ("jars:lids",), roles=KEEPER),
    Room("supplies", _("Supplies"), "jars:supplies", ("jars:suppl", "jars:spoil"), roles=KEEPER),
    Room("recalls", _("Recalls"), "batches:recalls", ("batches:recall",), roles=STAFF),
    Room("drafts", _("Drafts and reviews"), "recipes:drafts", ("recipes:draft",), roles=INSTRUCTOR),
    Room("skills", _("What members learned"), "members:skills", ("members:skill",), roles=INSTRUCTOR),
    Room("people", _("People and invitations"), "members:people", ("members:",), roles=ORGANISER),
    Room("street", _("The door to the street"), "members:street", ("members:street", "members:join"), roles=ORGANISER),
    Room(
        "season",
        _("What the club orders"),
        "desk:season-club",
        ("desk:season-club",),
        roles=KEEPER | ORGANISER,
    ),
    Room("lids-record", _("How the lids have done"), "batches:lids", ("batches:lids",), roles=STAFF),
    Room(
        "mail",
        _("Mail that could not be sent"),
        "reminders:dead",
        ("reminders:dead",),
        roles=ORGANISER,
    ),
    Room("audit", _("The nightly audit"), "reminders:audit", ("reminders:audit",), roles=ORGANISER),
)


@dataclass(frozen=True)
class Link:
    """One line of the head, as its template shows it."""

    label: Promise
    url: str
    icon: str
    is_here: bool


def here_among(rooms: tuple[Room, ...], view: str) -> str:
    """The key of the room that a page belongs to; "" where none of these claims it."""
    claims = [
        (len(start), place, room.key)
        for place, room in enumerate(rooms)
        for start in room.views
        if view.startswith(start)
    ]
    return max(claims)[2] if claims else ""


def doors_for(roles: frozenset[str]) -> tuple[Room, ...]:
    return tuple(door for door in DOORS if door.roles & roles)


def rooms_html(view: str, roles: frozenset[str]) -> SafeString:
    """The head's rooms for somebody of these roles who looks at a page of this name ("recipes:list")."""
    doors = doors_for(roles)
    return _drawn(get_language() or "", tuple(door.key for door in doors), here_among(ROOMS + doors, view))


@lru_cache(maxsize=512)  # a few roles, rooms and languages
def _drawn(language: str, doors: tuple[str, ...], here: str) -> SafeString:
    """The same for everybody of the same roles in the same room, so it is drawn once."""
    rooms = list(_links(ROOMS, here))
    context = {
        "foot": rooms[:AT_THE_FOOT],
        "rest": rooms[AT_THE_FOOT:],
        "doors": list(_links(tuple(door for door in DOORS if door.key in doors), here)),
    }
    return render_to_string("parts/rooms.html", context)


def _links(rooms: tuple[Room, ...], here: str) -> Iterator[Link]:
    for room in rooms:
        yield Link(room.label, reverse(room.address), room.icon, room.key == here)
