"""The card of a household's own canner: kept by its people, and named in their batches."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from uuid import UUID

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from club.core.clock import now_or
from club.core.errors import AlreadyDone, form_reused
from club.members.models import Kitchen, User
from inventory.equipment.choices import CANNER_KINDS, OWN_PREFIX, ThingState
from inventory.equipment.description import ThingFields, cleaned_fields, next_code
from inventory.equipment.models import Thing

CODE_TRIES = 5


def own_canner_add(
    *,
    by: User,
    kitchen: Kitchen,
    kind: str,
    name: str,
    capacity: Mapping[str, int],
    two_layers: Sequence[str] = (),
    token: UUID | None = None,
    now: datetime | None = None,
) -> Thing:
    """A household's canner, under a code of its own ("OWN-07"). The same token again finds the first.

    PermissionDenied for somebody who is not of the household; ValidationError by the names of ThingFields.
    """
    _household_check(by, kitchen)
    if token and (made := Thing.everything.filter(token=token).first()):
        return _same_card(made, kitchen)
    fields = _checked(ThingFields(kind=kind, name=name, capacity=capacity, two_layers=two_layers))
    for left in reversed(range(CODE_TRIES)):
        try:
            with transaction.atomic():
                code = next_code(OWN_PREFIX)
                cleaned = cleaned_fields(replace(fields, code=code))
                return Thing.objects.create(**cleaned, household=kitchen, token=token, created_at=now_or(now))
        except IntegrityError:  # somebody took the code at this moment, or sent this very form
            if token and (made := Thing.everything.filter(token=token).first()):
                return _same_card(made, kitchen)
            if not left:
                raise
        except ValidationError as error:  # the same, seen before it was written
            if not left or set(error.message_dict) != {"code"}:
                raise
    raise AssertionError("unreachable: the last try returns or raises")


def own_canner_change(
    *, by: User, thing: Thing, name: str, capacity: Mapping[str, int], two_layers: Sequence[str] = ()
) -> None:
    """Another name or capacity; the kind stays, for its tests and batches hang on it."""
    _own_check(by, thing)
    fields = ThingFields(code=thing.code, kind=thing.kind, name=name, capacity=capacity, two_layers=two_layers)
    cleaned = cleaned_fields(_checked(fields), thing=thing)
    changed = {name: cleaned[name] for name in ("name", "capacity", "two_layers")}
    Thing.everything.filter(pk=thing.pk).update(**changed)


def own_canner_retire(*, by: User, thing: Thing) -> None:
    """Not used any more: no batch is started in it. Its tests and batches stay. AlreadyDone when it was before."""
    _own_check(by, thing)
    here = Thing.everything.filter(pk=thing.pk).exclude(state=ThingState.RETIRED)
    if here.update(state=ThingState.RETIRED) != 1:
        raise AlreadyDone(_("%(code)s was put aside before.") % {"code": thing.code})


def _checked(fields: ThingFields) -> ThingFields:
    if fields.kind not in CANNER_KINDS:
        raise ValidationError({"kind": _("Choose a kind of canner.")})
    if not fields.capacity:
        raise ValidationError({"capacity": _("Say how many jars of at least one size stand in it.")})
    return fields


def _household_check(by: User, kitchen: Kitchen) -> None:
    if kitchen.is_hall or not kitchen.people.filter(pk=by.pk).exists():
        raise PermissionDenied


def _own_check(by: User, thing: Thing) -> None:
    if thing.household is None:
        raise PermissionDenied
    _household_check(by, thing.household)


def _same_card(made: Thing, kitchen: Kitchen) -> Thing:
    if made.household_id != kitchen.pk:
        raise form_reused()
    return made
