"""Lay down the demo club of fixtures/demo/club.toml through the rooms' own services, with the clock turned back.

Everything a member could do is done as she would do it, so that the demo cannot hold what the site would refuse.
"""

from __future__ import annotations

import os
import tomllib
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.db import transaction

from club.core.places import FIXTURES
from club.desk.demo_classes import classes_lay_down
from club.desk.demo_freezer import freezer_lay_down
from club.desk.demo_fruit import fruit_lay_down
from club.desk.demo_reminders import wishes_lay_down
from club.desk.demo_season import season_lay_down
from club.desk.demo_things import things_lay_down
from club.members.choices import Role
from club.members.models import Kitchen, User
from club.members.services import kitchen_add, kitchen_invitation_answer, kitchen_invite, member_enrol
from club.run.site import is_loopback
from inventory.batches.models import Batch
from inventory.batches.services.log import batch_log_process, batch_start, seals_record
from recipes.engine.terms import Canner, Pack
from recipes.models import Revision

CLUB_FILE = FIXTURES / "demo" / "club.toml"
# Printed by `up`; the last one is the member whose desk shows the most.
SIGN_INS: tuple[tuple[str, str], ...] = (
    ("marguerite@tallowbench.example", "organiser"),
    ("tobias@tallowbench.example", "keeper"),
    ("ilse@tallowbench.example", "instructor"),
    ("samuel@tallowbench.example", "instructor and keeper"),
    ("petra@tallowbench.example", "member"),
)
PASSWORD = "damson-kettle-42"  # of a demo club that lives on one machine; `up --no-demo` lays none down
STOVE_HOURS = 3  # between the first cut and the jars coming out


@dataclass(frozen=True)
class DemoClub:
    people: Mapping[str, User]
    kitchens: Mapping[str, Kitchen]
    batches: list[Batch]


class DemoRefused(Exception):
    """The demo is laid down on an empty site only."""


def signs_of_others() -> list[str]:
    """The variables by which this is a site for others: the demo's password, printed for all, has no place there."""
    told = {
        "DATABASE_URL": "DATABASE_URL" in os.environ,
        "SMTP_HOST": "SMTP_HOST" in os.environ,
        "BEHIND_PROXY": settings.SECURE_PROXY_SSL_HEADER is not None,
        "SITE_URL": not is_loopback(urlsplit(settings.SITE_URL).hostname or ""),
    }
    return [name for name, is_so in told.items() if is_so]


@transaction.atomic
def demo_lay_down(*, now: datetime) -> DemoClub:
    """Make the people, kitchens and batches. DemoRefused where there are people already."""
    if User.objects.exists():
        raise DemoRefused("There are people here already: the demo club is laid down on an empty site only.")
    told = tomllib.loads(CLUB_FILE.read_text(encoding="utf-8"))
    people = {person["key"]: _person(person) for person in told["person"]}
    organiser = next(user for user in people.values() if user.has_role(Role.ORGANISER))
    kitchens = {kitchen["key"]: _kitchen(kitchen, organiser, people) for kitchen in told["kitchen"]}
    batches = [_batch(batch, people[batch["by"]], kitchens[batch["kitchen"]], now) for batch in told["batch"]]
    things_lay_down(told, people, kitchens, now)
    wishes_lay_down(told, people)
    season_lay_down(told, people, kitchens, now)
    classes_lay_down(told, people, kitchens, now)
    fruit_lay_down(told, people, now)
    freezer_lay_down(told, people, kitchens, now)
    return DemoClub(people, kitchens, batches)


def _person(told: Mapping[str, Any]) -> User:
    return member_enrol(
        email=f"{told['key']}@tallowbench.example",
        name=told["name"],
        password=PASSWORD,
        units=told["units"],
        roles=[Role(role) for role in told["roles"]],
    )


def _kitchen(told: Mapping[str, Any], organiser: User, people: Mapping[str, User]) -> Kitchen:
    owners = [people[key] for key in told.get("people", [])]
    kitchen = kitchen_add(
        by=owners[0] if owners else organiser,
        name=told["name"],
        altitude_text=told.get("altitude", ""),
        altitude_how=told.get("how", ""),
        is_hall=told.get("hall", False),
        power_limit_w=told.get("power_limit_w"),
    )
    for other in owners[1:]:
        kitchen_invite(by=owners[0], kitchen=kitchen, email=other.email)
        kitchen_invitation_answer(by=other, invitation=kitchen.invitations.get(person=other), accept=True)
    return kitchen


def _batch(told: Mapping[str, Any], by: User, kitchen: Kitchen, now: datetime) -> Batch:
    """One batch as far as it has come: on the stove, cooling, or looked at."""
    out_at = now - timedelta(hours=told["out_hours_ago"]) if "out_hours_ago" in told else None
    began = out_at - timedelta(hours=STOVE_HOURS) if out_at else now - timedelta(hours=told["started_hours_ago"])
    batch = batch_start(
        by=by,
        revision=Revision.objects.get(current_of__slug=told["recipe"]),
        kitchen=kitchen,
        token=uuid.uuid4(),
        pots=told["pots"],
        jar=told["jar"],
        pack=Pack(told["pack"]) if "pack" in told else None,
        canner=Canner(told["canner"]) if "canner" in told else None,
        started_at=began,
        now=began,
    )
    if out_at is None:
        return batch
    batch = batch_log_process(
        by=by,
        batch=batch,
        jars=told["filled"],
        jars_out_at=out_at,
        minutes=batch.required_minutes,
        psi=batch.required_psi,
        lid_code=told.get("lids", ""),
        now=out_at,
    )
    if "checked_after_hours" in told:
        _look(told, by, batch, out_at + timedelta(hours=told["checked_after_hours"]))
    return batch


def _look(told: Mapping[str, Any], by: User, batch: Batch, at: datetime) -> None:
    unsealed, broken = told.get("unsealed", []), told.get("broken", [])
    numbers = batch.jars.values_list("number", flat=True)
    results = {n: "unsealed" if n in unsealed else "broken" if n in broken else "sealed" for n in numbers}
    seals_record(
        by=by,
        batch=batch,
        token=uuid.uuid4(),
        results=results,
        disposals=dict.fromkeys(unsealed, told.get("kept", "")),
        now=at,
    )
