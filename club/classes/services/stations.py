"""Stations of a draft: added, changed, taken away. The session's seats are always the sum of theirs."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.db.models import Max, Sum
from django.utils.translation import gettext as _

from club.classes.models import ClassSession, Station
from club.classes.models.stations import MOST_SEATS
from club.classes.services.running import line_clean, run_check, session_lock
from club.classes.words import SessionState
from club.members.models import User
from inventory.equipment.services.common import now_or
from recipes.engine.heat import EFFICIENCY
from recipes.engine.loads import SEVEN_QUART
from recipes.engine.terms import Canner, Pack
from recipes.engine.timeline import MOST_BURNERS, MOST_COOKS
from recipes.engine.units import JAR_SIZES
from recipes.models import Revision, RevisionState

NAME_LENGTH = 60
MOST_STATIONS = 12  # in one hall; common practice, no source
MOST_POTS, MOST_CANNERS, MOST_JARS_AT_ONCE = 6, 4, 99  # at one stove; common practice, no source
STRONGEST_W = 50_000  # of one burner, as the engine has it
DRAFT = (SessionState.DRAFT,)


@dataclass(frozen=True)
class StationFields:
    """One station. `burners_w` is the power of each burner in watts; `capacity` how many jars of a size stand in the
    canner at once, empty for the usual one of seven quarts."""

    revision: Revision
    burners_w: tuple[int, ...]
    pots: int = 1
    jar_size: str = ""
    pack: str = ""
    canner: str = ""
    canners: int = 1
    capacity: dict[str, int] = field(default_factory=dict)
    stove: str = "electric"
    cooks: int = 2
    seats: int = 2
    name: str = ""


@transaction.atomic
def station_add(*, by: User, session: ClassSession, fields: StationFields, now: datetime | None = None) -> Station:
    """One more station, with the next number. PermissionDenied; ValidationError by field, or once it is published."""
    run_check(by, session)
    locked = session_lock(session, states=DRAFT)
    told = station_clean(fields)
    if locked.stations.count() >= MOST_STATIONS:
        raise ValidationError(_("A session has at most %(n)s stations.") % {"n": MOST_STATIONS})
    last = locked.stations.aggregate(last=Max("number"))["last"] or 0
    station = Station.objects.create(session=locked, number=last + 1, **told)
    _count_seats(session, now_or(now))
    return station


@transaction.atomic
def station_change(*, by: User, station: Station, fields: StationFields, now: datetime | None = None) -> Station:
    """Everything about a draft's station but its number. Raises as station_add."""
    run_check(by, station.session)
    session_lock(station.session, states=DRAFT)
    told = station_clean(fields)
    for name, value in told.items():
        setattr(station, name, value)
    station.save(update_fields=list(told))
    _count_seats(station.session, now_or(now))
    return station


@transaction.atomic
def station_remove(*, by: User, station: Station, now: datetime | None = None) -> None:
    """Take it away; the others are numbered anew, so that the hall counts from one. Twice is the same as once."""
    run_check(by, station.session)
    session = session_lock(station.session, states=DRAFT)
    Station.objects.filter(pk=station.pk).delete()
    for number, left in enumerate(session.stations.order_by("number"), 1):
        Station.objects.filter(pk=left.pk).update(number=number)
    _count_seats(station.session, now_or(now))


@transaction.atomic
def stations_copy(*, by: User, source: ClassSession, target: ClassSession, now: datetime | None = None) -> int:
    """The stations of another session, as a draft without stations takes them; how many. Raises as station_add."""
    if not ClassSession.objects.visible_to(by).filter(pk=source.pk).exists():
        raise PermissionDenied
    run_check(by, target)
    locked = session_lock(target, states=DRAFT)
    if locked.stations.exists():
        raise ValidationError(_("There are stations here already. Take them away first."))
    copied = list(source.stations.order_by("number"))
    for station in copied:
        Station.objects.create(**_copy_of(station), session=locked)
    _count_seats(target, now_or(now))
    return len(copied)


def station_clean(fields: StationFields) -> dict[str, Any]:
    """The fields as they are stored; every one that is wrong is told at once."""
    problems: dict[str, Any] = {}
    name = line_clean(fields.name, field="name", longest=NAME_LENGTH)
    if fields.revision.state != RevisionState.PUBLISHED:
        problems["revision"] = _("Only a published recipe is cooked in a class.")
    for key, most in (
        ("pots", MOST_POTS),
        ("canners", MOST_CANNERS),
        ("cooks", MOST_COOKS),
        ("seats", MOST_SEATS),
    ):
        if not 1 <= getattr(fields, key) <= most:
            problems[key] = _("From 1 to %(n)s.") % {"n": most}
    known = {"jar_size": JAR_SIZES, "pack": tuple(Pack), "canner": tuple(Canner), "stove": tuple(EFFICIENCY)}
    for key, values in known.items():
        if (value := getattr(fields, key)) not in values and (value or key == "stove"):
            problems[key] = _("Choose one of the list.")
    if not 1 <= len(fields.burners_w) <= MOST_BURNERS or not all(0 < w <= STRONGEST_W for w in fields.burners_w):
        text = _("Give the watts of 1 to %(n)s burners, such as 2000, 1800. They are on the plate of the stove.")
        problems["burners_w"] = text % {"n": MOST_BURNERS}
    if not all(size in JAR_SIZES and 1 <= n <= MOST_JARS_AT_ONCE for size, n in fields.capacity.items()):
        problems["capacity"] = _("Say how many jars of each size go in, such as half-pint=12, pint=9.")
    if problems:
        raise ValidationError(problems)
    return {**vars(fields), "name": name, "burners_w": list(fields.burners_w), "capacity": dict(fields.capacity)}


def usual_capacity() -> dict[str, int]:
    """The canner of seven quarts."""
    return {jar.size: jar.count for jar in SEVEN_QUART.jars}


def _copy_of(station: Station) -> dict[str, Any]:
    skipped = {"id", "session"}
    return {f.name: getattr(station, f.name) for f in Station._meta.concrete_fields if f.name not in skipped}


def _count_seats(session: ClassSession, moment: datetime) -> None:
    """Of a locked draft. The constraint keeps what is taken within it; a draft has nobody yet."""
    total = Station.objects.filter(session=session).aggregate(sum=Sum("seats"))["sum"] or 0
    ClassSession.objects.filter(pk=session.pk).update(seats_total=total, changed_at=moment)
    session.seats_total, session.changed_at = total, moment
