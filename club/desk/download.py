"""Everything of one member's, in one file: as JSON, as a page to read, and with their pictures."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile

from django.apps import AppConfig, apps
from django.conf import settings
from django.core.serializers.json import DjangoJSONEncoder
from django.db import transaction
from django.db.models import BinaryField, Field, ForeignKey, Model
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.translation import gettext

from club.members.choices import EventKind
from club.members.models import User
from club.members.services import person_event

# A row is somebody's own where it names them like this; under another name (`noted_by`, ...) they only wrote it down
# about something or somebody else.
OWN_NAMES = {
    "accepted_by",
    "added_by",
    "author",
    "founded_by",
    "giver",
    "held_by",
    "made_by",
    "member",
    "person",
    "put_in_by",
    "user",
}
# Rows that are somebody's own by the row they belong to.
BELONGING = {
    "batches.CameOut": "batch__made_by",
    "batches.ContainerUse": "jar__batch__made_by",
    "batches.Jar": "batch__made_by",
    "batches.JarsSetAside": "batch__made_by",
    "batches.SignedLog": "batch__made_by",
    "batches.Stage": "batch__made_by",
    "batches.StageCheck": "stage__batch__made_by",
    "batches.StageReading": "batch__made_by",
    "classes.OwnNote": "signup__person",
    "fruit.FreezerTaking": "item__put_in_by",
    "fruit.OfferPhoto": "offer__giver",
}
PACKAGES = {"club", "inventory", "recipes"}
ADDRESSES = "allauth.account"
# What signs in, or opens a page to whoever has it, is not for a file that lies about.
SECRET = {"password", "token", "nonce", "session_epoch", "session_key", "auth_hash", "lease", "key"}


@dataclass(frozen=True)
class Table:
    name: str
    title: str
    heads: list[str]
    rows: list[list[Any]]


def rooms() -> list[AppConfig]:
    """The apps whose tables are the club's own, and the one that keeps email addresses."""
    every = apps.get_app_configs()
    return [one for one in every if one.name.split(".")[0] in PACKAGES or one.name == ADDRESSES]


def own_relations() -> Iterator[tuple[type[Model], ForeignKey[Any, Any]]]:
    """Every column of the club's tables that names a person as the one whose row it is."""
    for room in rooms():
        for model in room.get_models():
            for field in model._meta.concrete_fields:
                if isinstance(field, ForeignKey) and field.related_model is User and field.name in OWN_NAMES:
                    yield model, field


def tables_of(person: User, pictures: dict[str, bytes]) -> Iterator[Table]:
    """A table for each kind of row that is theirs; `pictures` is filled with what a row calls by name."""
    yield _table(User, User.objects.filter(pk=person.pk), pictures)
    kitchens = [[one.name, one.altitude_words] for one in person.kitchens.all()]
    yield Table("kitchens", gettext("kitchens"), ["name", "altitude"], kitchens)
    for model, field in own_relations():
        found = model._base_manager.filter(**{field.name: person})
        table = _table(model, found, pictures, but=field.name)
        if table.rows:
            yield table
    for label, owner in BELONGING.items():
        model = apps.get_model(label)
        table = _table(model, model._base_manager.filter(**{owner: person}), pictures)
        if table.rows:
            yield table


def _table(model: type[Model], rows: Any, pictures: dict[str, bytes], but: str = "") -> Table:
    columns = [one for one in model._meta.concrete_fields if one.name not in SECRET | {but}]
    people = [one.name for one in columns if isinstance(one, ForeignKey) and one.related_model is User]
    name = model._meta.label_lower
    cells = [
        [_cell(name, row, column, pictures) for column in columns]
        for row in rows.select_related(*people).order_by("pk")
    ]
    return Table(name, str(model._meta.verbose_name_plural), [one.name for one in columns], cells)


def _cell(table: str, row: Model, column: Field[Any, Any], pictures: dict[str, bytes]) -> Any:
    if isinstance(column, BinaryField):
        name = f"pictures/{table}-{row.pk}.jpg"
        pictures[name] = bytes(getattr(row, column.attname))
        return name
    if isinstance(column, ForeignKey) and column.related_model is User:
        other = getattr(row, column.name)
        return None if other is None else str(other)
    return getattr(row, column.attname)


@transaction.atomic
def everything_of(*, by: User, now: datetime | None = None) -> bytes:
    """A ZIP file of one's own: `everything.json`, `everything.html`, `pictures/`. It is noted that it was made."""
    moment = now or timezone.now()
    pictures: dict[str, bytes] = {}
    tables = list(tables_of(by, pictures))
    told = {
        "club": settings.CLUB_NAME,
        "person": str(by),
        "made_at": moment,
        "tables": {one.name: [dict(zip(one.heads, row, strict=True)) for row in one.rows] for one in tables},
    }
    page = render_to_string(
        "desk/everything.html", {"club": settings.CLUB_NAME, "person": by, "tables": tables, "now": moment}
    )
    made = BytesIO()
    with ZipFile(made, "w", ZIP_DEFLATED) as file:
        file.writestr("everything.json", json.dumps(told, cls=DjangoJSONEncoder, ensure_ascii=False, indent=1))
        file.writestr("everything.html", re.sub(r"\n\s*\n+", "\n", page))
        for name, content in pictures.items():
            file.writestr(name, content)
    person_event(EventKind.EXPORTED, by=by, person=by, reference="everything.zip", now=moment)
    return made.getvalue()
