"""Sessions, series and their stations: made, changed, published, moved, called off."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import Any, TypedDict, Unpack
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.db.models import F, Max, Sum
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from club.classes.choices import SessionState
from club.classes.models import (
    MOST_SEATS,
    PLAN,
    PRICE_LENGTH,
    REASON_LENGTH,
    STATION_NAME_LENGTH,
    TITLE_LENGTH,
    ClassSeries,
    ClassSession,
    SessionGear,
    SignUp,
    Station,
    StationBatch,
)
from club.classes.planning import KEPT, SessionPlan, plan_of
from club.classes.rules import MOST_DAYS, SAFE
from club.classes.services.common import (
    OPEN,
    form_used,
    line_clean,
    planner_check,
    run_check,
    session_lock,
    session_reference,
    text_clean,
)
from club.classes.services.gear import gear_move, gear_release, set_aside
from club.core.clock import Doubled, WallTimeError, at_hour, club_day, moment_near, moment_of, now_or
from club.members.choices import EventKind, Skill
from club.members.models import Kitchen, User
from club.members.services import people_event
from inventory.batches.choices import BatchState
from inventory.equipment.models import Thing, what_test_wants
from inventory.equipment.rules import FURTHEST_AHEAD_DAYS, GAUGE_YEARLY, PARTS_WHOLE
from recipes.engine import EFFICIENCY, MOST_BURNERS, MOST_COOKS
from recipes.engine.quantities import JAR_SIZES
from recipes.engine.stations import HallRefusal
from recipes.engine.terms import Canner, Pack, Refusal, Rule
from recipes.models import Revision, RevisionState
from recipes.presentation import in_words

# Sessions and series: made, and changed as far as it is safe. Hours are moved by session_move.

MOST_PEOPLE = 200
CLOSES = time(18, 0)  # sign-up, on the day before, unless somebody chose otherwise; common practice, no source
A_DAY = timedelta(days=1)
GONE_BY = gettext_lazy("That has gone by. Choose a day to come.")


@dataclass(frozen=True)
class SessionFields:
    """What is written about a session besides its day. Empty sign-up times: from now on, to 18:00 on the day before."""

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
    hours_apart = {"starts", "ends", "signup_opens_at", "signup_closes_at"}
    columns = fields_clean({name: value for name, value in vars(fields).items() if name not in hours_apart})
    people = columns.pop("instructors")
    hours = hours_clean(day, fields.starts, fields.ends, now=moment)
    opens, closes = _signup_times(fields, hours, moment)
    try:
        with transaction.atomic():
            session = ClassSession.objects.create(
                **{**columns, **vars(hours), "signup_opens_at": opens, "signup_closes_at": closes},
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
    team_set(session, people, by=by, now=moment)
    return session


def team_set(session: ClassSession, people: Sequence[User], *, by: User, now: datetime) -> None:
    """Who teaches it from now on; what changes is in the people's ledger."""
    before, after = set(session.instructors.all()), set(people)
    session.instructors.set(people)
    for kind, changed in (
        (EventKind.INSTRUCTOR_NAMED, after - before),
        (EventKind.INSTRUCTOR_DROPPED, before - after),
    ):
        people_event(kind, by=by, people=changed, reference=session_reference(session), now=now)


@transaction.atomic
def series_make(
    *, by: User, fields: SessionFields, days: Sequence[date], token: UUID, now: datetime | None = None
) -> ClassSeries:
    """A draft for each of the days, at the same hours on the wall. The same token again finds the series.

    Every day that cannot be is named at once. Raises as session_make; ValidationError on `days`.
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
    columns = fields_clean(dict(changes))
    people = columns.pop("instructors", None)
    changed = {name: value for name, value in columns.items() if getattr(fresh, name) != value}
    is_new_team = people is not None and set(fresh.instructors.all()) != set(people)
    if fresh.state == SessionState.PUBLISHED:
        _safe_check(changed)
    opens, closes = (changed.get(name, getattr(fresh, name)) for name in ("signup_opens_at", "signup_closes_at"))
    signup_check(opens, closes, fresh.starts_at)
    if people is not None and is_new_team:
        team_set(fresh, people, by=by, now=moment)
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
    for name, at in (("starts", starts), ("ends", ends)):
        try:
            moments[name] = moment_of(day, at, zone)
        except WallTimeError as error:
            problems[name] = str(error)
    if problems:
        raise ValidationError(dict(problems))
    if moments["starts"] <= now:
        raise ValidationError({"day": GONE_BY})
    return Hours(day, starts, ends, moments["starts"], moments["ends"])


def fields_clean(fields: dict[str, Any]) -> dict[str, Any]:
    """The fields as they are stored; every one that is wrong is refused at once."""
    problems: dict[str, list[str]] = {}
    clean: dict[str, Any] = {}
    for name, value in fields.items():
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
    usual = at_hour(hours.day - A_DAY, CLOSES)  # 18:00 on the wall on the day before
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


# Stations of a draft: added, changed, taken away. The session's seats are always the sum of theirs.

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
    columns = station_clean(fields)
    if locked.stations.count() >= MOST_STATIONS:
        raise ValidationError(_("A session has at most %(n)s stations.") % {"n": MOST_STATIONS})
    last = locked.stations.aggregate(last=Max("number"))["last"] or 0
    station = Station.objects.create(session=locked, number=last + 1, **columns)
    _count_seats(session, now_or(now))
    return station


@transaction.atomic
def station_change(*, by: User, station: Station, fields: StationFields, now: datetime | None = None) -> Station:
    """Everything about a draft's station but its number. Raises as station_add."""
    run_check(by, station.session)
    session_lock(station.session, states=DRAFT)
    columns = station_clean(fields)
    for name, value in columns.items():
        setattr(station, name, value)
    station.save(update_fields=list(columns))
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
    names = [field.name for field in Station._meta.concrete_fields if field.name not in {"id", "session"}]
    copied = list(source.stations.order_by("number"))
    for station in copied:
        Station.objects.create(**{name: getattr(station, name) for name in names}, session=locked)
    _count_seats(target, now_or(now))
    return len(copied)


def station_clean(fields: StationFields) -> dict[str, Any]:
    """The fields as they are stored; every one that is wrong is refused at once."""
    problems: dict[str, Any] = {}
    name = line_clean(fields.name, field="name", longest=STATION_NAME_LENGTH)
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


def _count_seats(session: ClassSession, moment: datetime) -> None:
    """Of a locked draft. The constraint keeps what is taken within it; a draft has nobody yet."""
    total = Station.objects.filter(session=session).aggregate(sum=Sum("seats"))["sum"] or 0
    ClassSession.objects.filter(pk=session.pk).update(seats_total=total, changed_at=moment)
    session.seats_total, session.changed_at = total, moment


# A draft becomes public when its plan holds; a session is called off with a reason.

OPEN_RULE = Rule(
    "CLASS-OPEN",
    "A session is published while people can still sign up, and with seats for as many as it takes to run.",
    "a rule of this club",
)


class PlanRefused(ValidationError):
    """The session cannot be taught as planned. `refusals` holds every reason; the messages say the same."""

    def __init__(self, refusals: Sequence[HallRefusal]) -> None:
        super().__init__([refusal_words(each) for each in refusals], code="plan-refused")
        self.refusals = tuple(refusals)


@transaction.atomic
def session_publish(*, by: User, session: ClassSession, now: datetime | None = None) -> ClassSession:
    """Everybody sees it and can sign up. Publishing twice is the same as once.

    1. The row is locked, so that no station changes in the meantime. 2. Every refusal of the plan and of what is held
    for it is named at once. 3. The state changes only from a draft.
    PermissionDenied, PlanRefused, ValidationError when it was cancelled or held.
    """
    run_check(by, session)
    moment = now_or(now)
    locked = session_lock(session)
    if locked.state == SessionState.PUBLISHED:
        return locked
    if refusals := publish_refusals(plan_of(locked), moment):
        raise PlanRefused(refusals)
    ClassSession.objects.filter(pk=locked.pk, state=SessionState.DRAFT).update(
        state=SessionState.PUBLISHED, published_at=moment, changed_at=moment
    )
    locked.refresh_from_db()
    return locked


@transaction.atomic
def session_cancel(*, by: User, session: ClassSession, reason: str, now: datetime | None = None) -> ClassSession:
    """Call it off, and let go of everything kept for it. Twice is the same as once.

    Calendars hear of it where it was published. PermissionDenied; ValidationError (reason), when it was held, or when
    something was cooked in it.
    """
    run_check(by, session)
    moment = now_or(now)
    reason = " ".join(text_clean(reason, field="reason", longest=REASON_LENGTH, needed=True).split())
    locked = session_lock(session, states=(*OPEN, SessionState.CANCELLED))
    if locked.state == SessionState.CANCELLED:
        return locked
    _cooked_check(locked)
    gear_release(by=by, session=locked, now=moment)
    heard = {"sequence": F("sequence") + 1} if locked.is_published else {}
    ClassSession.objects.filter(pk=locked.pk, state__in=OPEN).update(
        state=SessionState.CANCELLED, cancelled_at=moment, cancel_reason=reason, changed_at=moment, **heard
    )
    locked.refresh_from_db()
    return locked


def _cooked_check(session: ClassSession) -> None:
    """A session with jars took place: who came is told so, has a handout, and learned what it teaches."""
    cooked = StationBatch.objects.filter(station__session=session)
    if cooked.exclude(batch__state=BatchState.ABANDONED).exists():
        raise ValidationError(_("Batches were started in this session. Close it, or give up every batch first."))


def publish_refusals(plan: SessionPlan, moment: datetime) -> tuple[HallRefusal, ...]:
    """Everything that keeps a draft from being published now."""
    return (*_open_refusals(plan.session, moment), *plan_refusals(plan))


def plan_refusals(plan: SessionPlan) -> tuple[HallRefusal, ...]:
    """Everything against the plan, the engine's and of the things that are held. One query."""
    return (*plan.hall.refusals, *gear_refusals(plan.session))


def gear_refusals(session: ClassSession) -> list[HallRefusal]:
    """Things held for it that lack a part, or whose test is not good on the day: both were well when they were held."""
    held = SessionGear.objects.filter(session=session, hold__state__in=KEPT).values("hold__thing")
    things = Thing.objects.filter(pk__in=held).with_status(session.day).order_by("code")
    short = [(thing, parts) for thing in things if (parts := thing.missing_parts)]  # type: ignore[attr-defined]
    unfit = [(thing, wanted) for thing in things if (wanted := what_test_wants(thing, session.day))]
    lacking = [
        HallRefusal(
            (),
            Refusal(
                "part-missing",
                PARTS_WHOLE.name,
                own_words=_("%(code)s is held for this session, and a part of it is missing: %(parts)s. Hold another.")
                % {"code": thing.code, "parts": parts},
                own_source=PARTS_WHOLE.source,
            ),
        )
        for thing, parts in short
    ]
    return lacking + [
        HallRefusal(
            (),
            Refusal(
                "test-not-good",
                GAUGE_YEARLY.name,
                own_words=_("%(code)s is held for this session: %(why)s by then. Test it first, or hold another.")
                % {"code": thing.code, "why": why},
                own_source=GAUGE_YEARLY.source,
            ),
        )
        for thing, why in unfit
    ]


def refusal_words(hall_refusal: HallRefusal) -> str:
    """The refusal with the stations it is about."""
    stations = stations_words(hall_refusal.stations)
    words = in_words(hall_refusal.refusal)
    return f"{stations}: {words}" if stations else words


def stations_words(numbers: Sequence[int]) -> str:
    """ "Station 1", "Stations 1, 2"; "" for the whole session."""
    if not numbers:
        return ""
    text = ngettext("Station %(numbers)s", "Stations %(numbers)s", len(numbers))
    return text % {"numbers": ", ".join(map(str, numbers))}


def _open_refusals(session: ClassSession, moment: datetime) -> Iterator[HallRefusal]:
    """Why nobody could come to it, however good the plan is."""
    if session.starts_at <= moment:
        yield _open_refusal("gone-by", _("Its day has gone by. Move it to a day to come."))
    elif session.signup_closes_at <= moment:
        yield _open_refusal("sign-up-closed", _("Sign-up would be closed already. Let it close later."))
    if 0 < session.seats_total < session.minimum_people:
        text = _("It asks for %(least)s people and has %(seats)s seats. Add seats, or run with fewer.")
        params = {"least": session.minimum_people, "seats": session.seats_total}
        yield _open_refusal("too-few-seats", text % params)


def _open_refusal(code: str, message: str) -> HallRefusal:
    return HallRefusal((), Refusal(code, OPEN_RULE.name, own_words=message, own_source=OPEN_RULE.source))


# A session moved to other hours, with everything that is kept for it: all of it, or nothing.


@transaction.atomic
def session_move(
    *, by: User, session: ClassSession, day: date, starts: time, ends: time, now: datetime | None = None
) -> ClassSession:
    """Other hours on the wall. In one transaction: the hours, the end of sign-up, and the holds.

    1. Each time comes just once that day, and is still to come. 2. Sign-up closes as long before the day as it did, at
    the same hour on the wall. 3. The holds move to the day, or Taken says which thing is taken, and when it is free.
    4. A published session must still be doable in its new hours: else PlanRefused. 5. Who came to it came on its day:
    after that it is not moved, and where nobody came the roll is called anew. Of any refusal nothing is changed.
    Raises PermissionDenied, ValidationError (day, starts, ends, signup_closes_at), Taken, PlanRefused.
    """
    run_check(by, session)
    moment = now_or(now)
    locked = session_lock(session)
    hours = hours_clean(day, starts, ends, now=moment)
    if (locked.day, locked.starts, locked.ends) == (day, starts, ends):
        return locked
    _roll_anew(locked)
    is_other_day = locked.day != day
    closes = _signup_closes(locked, hours)
    signup_check(locked.signup_opens_at, closes, hours.starts_at)
    session_write(locked, {**vars(hours), "signup_closes_at": closes, "moved_at": moment}, moment)
    moved = ClassSession.objects.select_related("hall").get(pk=session.pk)
    if is_other_day:
        gear_move(by=by, session=moved, now=moment)
    if moved.is_published and (refusals := plan_refusals(plan_of(moved))):
        raise PlanRefused(refusals)
    return moved


def _roll_anew(session: ClassSession) -> None:
    """A roll that is kept would say on the other day who came, and so who learned something, before anybody did."""
    if SignUp.objects.came().filter(session=session).exists():
        raise ValidationError(_("People came to it already, so it stays on its day. Plan a new one for the other day."))
    SignUp.objects.filter(session=session, came=0).seated().update(came=None)


def _signup_closes(session: ClassSession, hours: Hours) -> datetime:
    """The same hour on the wall, as many days before; a sign-up that ended when the session began still does."""
    if session.signup_closes_at == session.starts_at:
        return hours.starts_at
    zone = ZoneInfo(settings.TIME_ZONE)
    wall = session.signup_closes_at.astimezone(zone)
    day, which = hours.day - (session.day - wall.date()), Doubled.SECOND if wall.fold else Doubled.FIRST
    closes = moment_near(day, wall.time(), zone, doubled=which)
    return min(closes, hours.starts_at)
