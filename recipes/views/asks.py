"""What the room's views share."""

from __future__ import annotations

from typing import cast

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest

from club.members.models import User


def signed_in(request: HttpRequest) -> User:
    """The person asking. Only for views behind the sign-in."""
    return cast(User, request.user)


def allow(request: HttpRequest, *permissions: str) -> User:
    """The person asking, who holds one of the permissions."""
    user = signed_in(request)
    if not any(user.has_perm(permission) for permission in permissions):
        raise PermissionDenied
    return user
