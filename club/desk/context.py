"""What every page may show of the house itself."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.utils.safestring import SafeString

from club.desk.navigation import rooms_html
from club.members.choices import Role
from club.members.models import User
from club.reminders.services import MOST_COUNTED, unread_and_roles


def house(request: HttpRequest) -> dict[str, Any]:
    """`unread` and `rooms` are asked by the page's head alone, and only for somebody who is signed in: one query a page
    for both.
    """
    return {
        "club_name": settings.CLUB_NAME,
        "unread": partial(unread_for, request),
        "rooms": partial(rooms_for, request),
    }


def unread_for(request: HttpRequest) -> str:
    """How many reminders wait in the member's inbox: "3", "99+"; "" for none and for nobody."""
    user = getattr(request, "user", None)
    count = _read_once(user) if isinstance(user, User) else 0
    return f"{MOST_COUNTED}+" if count > MOST_COUNTED else str(count or "")


def rooms_for(request: HttpRequest) -> SafeString:
    """The rooms in the head, and for those who run the club their own group."""
    user = request.user
    assert isinstance(user, User)  # the head asks for nobody else
    _read_once(user)
    roles = frozenset(Role) if user.is_superuser else user.role_names
    return rooms_html(request.resolver_match.view_name if request.resolver_match else "", roles)


def _read_once(user: User) -> int:
    """What wants a look in the inbox; the roles are read beside it, so that the head never asks twice."""
    if "_unread" not in user.__dict__:
        user.__dict__["_unread"], roles = unread_and_roles(user)
        user.__dict__.setdefault("role_names", roles)
    unread: int = user.__dict__["_unread"]
    return unread
