"""A draft becomes public when its plan holds; a session is called off with a reason."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from club.classes.models import ClassSession, SessionGear, StationBatch
from club.classes.planning import SessionPlan, plan_of
from club.classes.services.gear import KEPT, gear_release
from club.classes.services.running import OPEN, run_check, session_lock, text_clean
from club.classes.words import SessionState
from club.members.models import User
from inventory.batches.models import BatchState
from inventory.equipment.models import Thing
from inventory.equipment.rules import GAUGE_YEARLY, PARTS_WHOLE
from inventory.equipment.services.common import now_or
from inventory.equipment.standing import what_test_wants
from recipes.engine.stations import HallRefusal
from recipes.engine.terms import Refusal, Rule

REASON_LENGTH = 300
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
    for it is told at once. 3. The state changes only from a draft.
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
    told = " ".join(text_clean(reason, field="reason", longest=REASON_LENGTH, needed=True).split())
    locked = session_lock(session, states=(*OPEN, SessionState.CANCELLED))
    if locked.state == SessionState.CANCELLED:
        return locked
    _cooked_check(locked)
    gear_release(by=by, session=locked, now=moment)
    heard = {"sequence": F("sequence") + 1} if locked.is_published else {}
    ClassSession.objects.filter(pk=locked.pk, state__in=OPEN).update(
        state=SessionState.CANCELLED, cancelled_at=moment, cancel_reason=told, changed_at=moment, **heard
    )
    locked.refresh_from_db()
    return locked


def _cooked_check(session: ClassSession) -> None:
    """A session with jars took place: who came is told so, has a handout, and learned what it teaches."""
    cooked = StationBatch.objects.filter(station__session=session)
    if cooked.exclude(batch__state=BatchState.ABANDONED).exists():
        raise ValidationError(_("Batches were started in this session. Close it, or give up every batch first."))


def plan_check(session: ClassSession) -> None:
    """PlanRefused with every reason why the session cannot be taught as it stands."""
    if refusals := plan_refusals(plan_of(session)):
        raise PlanRefused(refusals)


def publish_refusals(plan: SessionPlan, moment: datetime) -> tuple[HallRefusal, ...]:
    """Everything that keeps a draft from being published now."""
    return (*_open_refusals(plan.session, moment), *plan_refusals(plan))


def plan_refusals(plan: SessionPlan) -> tuple[HallRefusal, ...]:
    """Everything against the plan, the engine's and of the things that are held. One query."""
    return (*plan.hall.refusals, *gear_refusals(plan.session))


def gear_refusals(session: ClassSession) -> list[HallRefusal]:
    """Things held for it that lack a part, or whose test is not good on the day: both were well when they were held."""
    held = SessionGear.objects.filter(session=session, hold__state__in=KEPT).values("hold__thing")
    things = Thing.objects.filter(pk__in=held).with_standing(session.day).order_by("code")
    short = [(thing, parts) for thing in things if (parts := thing.missing_parts)]  # type: ignore[attr-defined]
    unfit = [(thing, wanted) for thing in things if (wanted := what_test_wants(thing, session.day))]
    lacking = [
        HallRefusal(
            (),
            Refusal(
                "part-missing",
                _("%(code)s is held for this session, and a part of it is missing: %(parts)s. Hold another.")
                % {"code": thing.code, "parts": parts},
                PARTS_WHOLE.name,
                PARTS_WHOLE.source,
            ),
        )
        for thing, parts in short
    ]
    return lacking + [
        HallRefusal(
            (),
            Refusal(
                "test-not-good",
                _("%(code)s is held for this session: %(why)s by then. Test it first, or hold another.")
                % {"code": thing.code, "why": why},
                GAUGE_YEARLY.name,
                GAUGE_YEARLY.source,
            ),
        )
        for thing, why in unfit
    ]


def refusal_words(told: HallRefusal) -> str:
    """The refusal with the stations it is about."""
    stations = stations_words(told.stations)
    return f"{stations}: {told.refusal.message}" if stations else told.refusal.message


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
        told = {"least": session.minimum_people, "seats": session.seats_total}
        yield _open_refusal("too-few-seats", text % told)


def _open_refusal(code: str, message: str) -> HallRefusal:
    return HallRefusal((), Refusal(code, message, OPEN_RULE.name, OPEN_RULE.source))
