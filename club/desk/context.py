"""What every page may show of the house itself."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.conf import settings
from django.http import HttpRequest

from club.members.models import User
from club.reminders.services import MOST_COUNTED, unread_count


def house(request: HttpRequest) -> dict[str, Any]:
    """`unread` is asked by the page's head alone, once, and only for somebody who is signed in: one query a page."""
    return {"club_name": settings.CLUB_NAME, "unread": partial(unread_for, request)}


def unread_for(request: HttpRequest) -> str:
    """How many reminders wait in the member's inbox: "3", "99+"; "" for none and for nobody."""
    user = getattr(request, "user", None)
    count = unread_count(user) if isinstance(user, User) else 0
    return f"{MOST_COUNTED}+" if count > MOST_COUNTED else str(count or "")
