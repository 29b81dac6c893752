"""Sessions and series: made, and changed as far as it is safe. Hours are moved in `moving`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any, TypedDict, Unpack
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from club.classes.models import ClassSeries, ClassSession
from club.classes.queries import PLAN
from club.classes.services.gear import set_aside
from club.classes.services.running import (
    form_used,
    line_clean,
    planner_check,
    run_check,
    session_lock,
    text_clean,
)
from club.classes.words import SessionState
from club.core.clock import WallTimeError, moment_near, moment_of
from club.members.choices import Skill
from club.members.models import Kitchen, User
from inventory.equipment.queries import club_day
from inventory.equipment.rules import FURTHEST_AHEAD_DAYS
from inventory.equipment.services.common import now_or

TITLE_LENGTH, PRICE_LENGTH = 120, 200
MOST_PEOPLE = 200
MOST_DAYS = 30  # of one series
CLOSES = time(18, 0)  # sign-up, on the day before, unless told otherwise; common practice, no source
A_DAY = timedelta(days=1)
GONE_BY = gettext_lazy("That has gone by. Choose a day to come.")
# After publishing only these change, besides the hours (session_move): the rest is what people signed up for.
SAFE = frozenset({"title", "about", "what_to_bring", "instructors"})


@dataclass(frozen=True)
class SessionFields:
    """What is told of a session besides its day. Empty sign-up times: from now on, to 18:00 on the day before."""

    title: str
    hall: Kitchen
    starts: time
    ends: time
    instructors: Sequence[User]
    about: str = ""
    what_to_bring: str = ""
    price_note: str = ""
    skill: str = ""
    minimum_people: int = 1
    signup_opens_at: datetime | None = None
    signup_closes_at: datetime | None = None


class SessionChanges(TypedDict, total=False):
    """What `session_change` takes; a field left out stays as it is."""

    title: str
    hall: Kitchen
    instructors: Sequence[User]
    about: str
    what_to_bring: str
    price_note: str
    skill: str
    minimum_people: int
    signup_opens_at: datetime
    signup_closes_at: datetime


@dataclass(frozen=True)
class Hours:
    """A day's hours on the wall and the two moments that they are."""

    day: date
    starts: time
    ends: time
    starts_at: datetime
    ends_at: datetime


@transaction.atomic
def session_make(
    *,
    by: User,
    fields: SessionFields,
    day: date,
    token: UUID,
    series: ClassSeries | None = None,
    now: datetime | None = None,
) -> ClassSession:
    """A draft without stations. The same token again finds the session made the first time.

    PermissionDenied; ValidationError by field (title, hall, day, starts, ends, instructors, ...).
    """
    planner_check(by)
    moment = now_or(now)
    if made := ClassSession.objects.filter(token=token, created_by=by).first():
        return made
    told = fields_clean(vars_of(fields))
    people = told.pop("instructors")
    hours = hours_clean(day, fields.starts, fields.ends, now=moment)
    opens, closes = _signup_times(fields, hours, moment)
    try:
        with transaction.atomic():
            session = ClassSession.objects.create(
                **{**told, **vars(hours), "signup_opens_at": opens, "signup_closes_at": closes},
                token=token,
                series=series,
                zone=settings.TIME_ZONE,
                created_by=by,
                created_at=moment,
                changed_at=moment,
            )
    except IntegrityError:  # the same press twice at once, or a token of somebody else's
        if made := ClassSession.objects.filter(token=token, created_by=by).first():
            return made
        raise form_used() from None
    session.instructors.set(people)
    return session


@transaction.atomic
def series_make(
    *, by: User, fields: SessionFields, days: Sequence[date], token: UUID, now: datetime | None = None
) -> ClassSeries:
    """A draft for each of the days, at the same hours on the wall. The same token again finds the series.

    Every day that cannot be is told at once. Raises as session_make; ValidationError on `days`.
    """
    planner_check(by)
    moment = now_or(now)
    if made := ClassSeries.objects.filter(token=token, created_by=by).first():
        return made
    chosen = sorted(set(days))
    if not 1 <= len(chosen) <= MOST_DAYS:
        raise ValidationError({"days": _("A series has from 1 to %(n)s days.") % {"n": MOST_DAYS}})
    _all_hours_check(chosen, fields, moment)
    title = line_clean(fields.title, field="title", longest=TITLE_LENGTH, needed=True)
    try:
        with transaction.atomic():
            series = ClassSeries.objects.create(title=title, token=token, created_by=by, created_at=moment)
    except IntegrityError:
        if made := ClassSeries.objects.filter(token=token, created_by=by).first():
            return made
        raise form_used() from None
    for day in chosen:
        session_make(by=by, fields=fields, day=day, token=uuid5(token, day.isoformat()), series=series, now=moment)
    return series


@transaction.atomic
def session_change(
    *, by: User, session: ClassSession, now: datetime | None = None, **changes: Unpack[SessionChanges]
) -> ClassSession:
    """A draft changes freely; what is published, in its title, notes, what to bring and instructors only.

    Each change of a published session counts `sequence` up, for calendars. PermissionDenied; ValidationError by field.
    """
    run_check(by, session)
    moment = now_or(now)
    fresh = session_lock(session)
    told = fields_clean(dict(changes))
    people = told.pop("instructors", None)
    changed = {name: value for name, value in told.items() if getattr(fresh, name) != value}
    is_new_team = people is not None and set(fresh.instructors.all()) != set(people)
    if fresh.state == SessionState.PUBLISHED:
        _safe_check(changed)
    opens, closes = (changed.get(name, getattr(fresh, name)) for name in ("signup_opens_at", "signup_closes_at"))
    signup_check(opens, closes, fresh.starts_at)
    if people is not None and is_new_team:
        fresh.instructors.set(people)
    if changed or is_new_team:
        session_write(fresh, changed, moment)
    fresh.refresh_from_db()
    if "hall" in changed and fresh.set_aside.exists():
        set_aside(fresh, moment)  # jars that stand in the other hall are no use in this one
    return fresh


def session_write(session: ClassSession, changed: dict[str, Any], moment: datetime) -> None:
    """Write what changed of a locked session; of a published one calendars hear."""
    heard = {"sequence": F("sequence") + 1} if session.state == SessionState.PUBLISHED else {}
    ClassSession.objects.filter(pk=session.pk).update(**changed, **heard, changed_at=moment)


def hours_clean(day: date, starts: time, ends: time, *, now: datetime) -> Hours:
    """Still to come, on one day, at times that the clock shows just once. ValidationError (day, starts, ends)."""
    if ends <= starts:
        raise ValidationError({"ends": _("The end comes before the beginning. A session is on one day.")})
    if day > club_day(now) + FURTHEST_AHEAD_DAYS * A_DAY:
        raise ValidationError({"day": _("At most %(n)s days ahead.") % {"n": FURTHEST_AHEAD_DAYS}})
    if day < club_day(now):
        raise ValidationError({"day": GONE_BY})
    zone = ZoneInfo(settings.TIME_ZONE)
    moments: dict[str, datetime] = {}
    problems: dict[str, str] = {}
    for field, at in (("starts", starts), ("ends", ends)):
        try:
            moments[field] = moment_of(day, at, zone)
        except WallTimeError as error:
            problems[field] = str(error)
    if problems:
        raise ValidationError(dict(problems))
    if moments["starts"] <= now:
        raise ValidationError({"day": GONE_BY})
    return Hours(day, starts, ends, moments["starts"], moments["ends"])


def signup_closes_usual(hours: Hours) -> datetime:
    """18:00 on the wall on the day before."""
    return moment_near(hours.day - A_DAY, CLOSES, ZoneInfo(settings.TIME_ZONE))


def vars_of(fields: SessionFields) -> dict[str, Any]:
    told = dict(vars(fields))
    for name in ("starts", "ends", "signup_opens_at", "signup_closes_at"):
        del told[name]
    return told


def fields_clean(told: dict[str, Any]) -> dict[str, Any]:
    """The fields as they are stored; every one that is wrong is told at once."""
    problems: dict[str, list[str]] = {}
    clean: dict[str, Any] = {}
    for name, value in told.items():
        try:
            clean[name] = _CLEANERS[name](value) if name in _CLEANERS else value
        except ValidationError as error:
            problems |= error.message_dict
    if problems:
        raise ValidationError(problems)
    return clean


def _hall(hall: Kitchen) -> Kitchen:
    if not hall.is_hall:
        raise ValidationError({"hall": _("A class is held in a hall of the club.")})
    return hall


def _instructors(people: Sequence[User]) -> list[User]:
    wanted = list(dict.fromkeys(people))
    if not wanted:
        raise ValidationError({"instructors": _("Say who teaches it.")})
    if unfit := [person for person in wanted if not (person.is_active and person.has_perm(PLAN))]:
        text = _("%(names)s cannot teach a class: an organiser makes people instructors.")
        raise ValidationError({"instructors": text % {"names": ", ".join(str(person) for person in unfit)}})
    return wanted


def _skill(skill: str) -> str:
    if skill not in ("", *Skill.values):
        raise ValidationError({"skill": _("Choose one of the skills taught here, or none.")})
    return skill


def _minimum(people: int) -> int:
    if not 1 <= people <= MOST_PEOPLE:
        raise ValidationError({"minimum_people": _("From 1 to %(n)s people.") % {"n": MOST_PEOPLE}})
    return people


_CLEANERS: dict[str, Any] = {
    "title": lambda text: line_clean(text, field="title", longest=TITLE_LENGTH, needed=True),
    "hall": _hall,
    "instructors": _instructors,
    "about": lambda text: text_clean(text, field="about"),
    "what_to_bring": lambda text: text_clean(text, field="what_to_bring"),
    "price_note": lambda text: line_clean(text, field="price_note", longest=PRICE_LENGTH),
    "skill": _skill,
    "minimum_people": _minimum,
}


def _signup_times(fields: SessionFields, hours: Hours, now: datetime) -> tuple[datetime, datetime]:
    opens = fields.signup_opens_at or now
    usual = signup_closes_usual(hours)
    closes = fields.signup_closes_at or (usual if usual > opens else hours.starts_at)
    signup_check(opens, closes, hours.starts_at)
    return opens, closes


def signup_check(opens: datetime, closes: datetime, starts: datetime) -> None:
    if closes <= opens:
        raise ValidationError({"signup_closes_at": _("Sign-up closes after it opens.")})
    if closes > starts:
        raise ValidationError({"signup_closes_at": _("Sign-up closes before the session begins.")})


def _safe_check(changed: dict[str, Any]) -> None:
    if kept := sorted(set(changed) - SAFE):
        text = _("This stays as it was published: people have signed up for it. Cancel the session if it must change.")
        raise ValidationError(dict.fromkeys(kept, text))


def _all_hours_check(days: Sequence[date], fields: SessionFields, now: datetime) -> None:
    problems: list[str] = []
    for day in days:
        try:
            hours_clean(day, fields.starts, fields.ends, now=now)
        except ValidationError as error:
            problems += [f"{day.isoformat()}: {sentence}" for sentence in error.messages]
    if problems:
        raise ValidationError({"days": problems})
