"""The one gate to what is planned: 404 for who may not see a session, 403 for who sees it and may not run it."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from club.classes.models import ClassSession, Station
from club.classes.queries import PLAN
from club.core.http import signed_in
from club.members.models import User


def planner(request: HttpRequest) -> User:
    user = signed_in(request)
    if not user.has_perm(PLAN):
        raise PermissionDenied
    return user


def session_to_run(user: User, pk: int) -> ClassSession:
    """A session of which this person is an instructor, or which she made."""
    session = get_object_or_404(ClassSession.objects.visible_to(user).select_related("hall", "series"), pk=pk)
    if not ClassSession.objects.run_by(user).filter(pk=pk).exists():
        raise PermissionDenied
    return session


def station_to_run(user: User, pk: int, number: int) -> Station:
    """A station of such a session, by its number in the hall."""
    session = session_to_run(user, pk)
    return get_object_or_404(
        Station.objects.select_related("revision__recipe", "session__hall"), session=session, number=number
    )
