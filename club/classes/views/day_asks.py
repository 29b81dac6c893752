"""The gates of the day's pages: a session for who runs it, what belongs to it, and a handout."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied
from django.db.models import Q
from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from club.classes.models import ClassSession, SessionPhoto, SignUp, Station, StationBatch
from club.classes.words import SessionState
from inventory.equipment.views.asks import signed_in

SHOWN_WITH_A_HANDOUT = (
    "person",
    "session__hall",
    "session__report",
    "own_note",
    "station__cooking__batch__revision__recipe",
    "station__cooking__batch__kitchen",
    "station__cooking__batch__made_by",
)


def run_session(request: HttpRequest, pk: int) -> ClassSession:
    """404 for a session that is not there for this person, 403 for one that others run."""
    user = signed_in(request)
    seen = ClassSession.objects.visible_to(user).exclude(state=SessionState.DRAFT)
    session = get_object_or_404(seen.select_related("hall"), pk=pk)
    if not ClassSession.objects.run_by(user).filter(pk=pk).exists():
        raise PermissionDenied
    return session


def signup_of(session: ClassSession, pk: int) -> SignUp:
    return get_object_or_404(SignUp.objects.filter(session=session).select_related("person", "session"), pk=pk)


def station_of(session: ClassSession, pk: int) -> Station:
    return get_object_or_404(Station.objects.filter(session=session), pk=pk)


def cooking_of(session: ClassSession, pk: int) -> StationBatch:
    cooking = StationBatch.objects.select_related("batch", "station__session")
    return get_object_or_404(cooking, station=station_of(session, pk))


def handout_signup(request: HttpRequest, pk: int) -> SignUp:
    """404 for anybody but the student herself and the session's instructors."""
    signups = SignUp.objects.handouts_for(signed_in(request))
    return get_object_or_404(signups.select_related(*SHOWN_WITH_A_HANDOUT), pk=pk)


def photo_for(request: HttpRequest, pk: int) -> SessionPhoto:
    """For those who were there and who run the session; 404 for others."""
    user = signed_in(request)
    was_there = Q(session__in=SignUp.objects.came().of(user).values("session"))
    runs = Q(session__in=ClassSession.objects.run_by(user).values("pk"))
    return get_object_or_404(SessionPhoto.objects.filter(was_there | runs), pk=pk)
