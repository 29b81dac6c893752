"""The people's ledger in words, and since when a person holds which role."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.utils.functional import Promise

from club.members.choices import LABELS, EventKind, Role
from club.members.models import PersonEvent, User


def reference_words(event: PersonEvent) -> str | Promise:
    """A role by its name; everything else stands as it was written."""
    if event.kind in (EventKind.ROLE_GIVEN, EventKind.ROLE_TAKEN) and event.reference in set(Role):
        return LABELS[Role(event.reference)]
    return event.reference


@dataclass
class RoleTerm:
    """A role, since when and by whom, and until when if it was taken. Empty: from before the ledger was kept."""

    label: Promise
    given_at: datetime | None = None
    given_by: User | None = None
    taken_at: datetime | None = None
    taken_by: User | None = None


def role_terms(person: User) -> list[RoleTerm]:
    """The roles a person holds and held, in the order in which they were given, as the ledger has it."""
    told = PersonEvent.objects.about(person).filter(kind__in=[EventKind.ROLE_GIVEN, EventKind.ROLE_TAKEN])
    ended: list[RoleTerm] = []
    running: dict[str, RoleTerm] = {}
    for event in told.select_related("by").order_by("pk"):
        if event.reference not in set(Role):
            continue
        if event.kind == EventKind.ROLE_GIVEN:
            running[event.reference] = RoleTerm(LABELS[Role(event.reference)], event.at, event.by)
            continue
        term = running.pop(event.reference, None) or RoleTerm(LABELS[Role(event.reference)])
        term.taken_at, term.taken_by = event.at, event.by
        ended.append(term)
    held = [running.get(role.value) or RoleTerm(LABELS[role]) for role in Role if role.value in person.role_names]
    return [*ended, *held]
