"""What a browser's session carries beside who is signed in: since when, when it was last seen, on whose device."""

from __future__ import annotations

import logging
from datetime import timedelta

from allauth.account.adapter import get_adapter
from django.conf import settings
from django.contrib.auth import logout
from django.db import DatabaseError, transaction
from django.http import HttpRequest
from django.utils import timezone

from club.members.models import BROWSER_LENGTH, BrowserSession, User

log = logging.getLogger(__name__)

BEGAN, SEEN, SHARED = "began_at", "seen_at", "shared_device"
# Written down no oftener than this, so that a page is not a write.
SEEN_EVERY = timedelta(minutes=1)


def begin(request: HttpRequest, user: User) -> None:
    """Somebody has just signed in, or a session from before such notes was met."""
    now = timezone.now()
    request.session[BEGAN] = request.session[SEEN] = now.timestamp()
    if request.session.session_key is None:
        request.session.save()
    BrowserSession.objects.update_or_create(
        session_key=request.session.session_key,
        defaults={
            "person": user,
            "auth_hash": user.get_session_auth_hash(),
            "began_at": now,
            "seen_at": now,
            "browser": request.META.get("HTTP_USER_AGENT", "")[:BROWSER_LENGTH],
            "network": get_adapter().get_client_ip(request) if "REMOTE_ADDR" in request.META else "",
            "is_shared": bool(request.session.get(SHARED)),
        },
    )


def renew(request: HttpRequest) -> None:
    """Whoever has just said their password again goes on under a new key: an older one that was overheard is void."""
    old = request.session.session_key
    request.session.cycle_key()
    BrowserSession.objects.filter(session_key=old).update(session_key=request.session.session_key)


def keep_or_end(request: HttpRequest, user: User) -> None:
    """A session that is not over is noted as seen; one that was idle too long, or lasted too long, signs nobody in."""
    now, began, seen = timezone.now().timestamp(), request.session.get(BEGAN), request.session.get(SEEN)
    if began is not None and seen is not None:
        if now - seen > idle_limit(request).total_seconds() or now - began > settings.SESSION_LONGEST_DAYS * 86_400:
            logout(request)
            return
        if now - seen < SEEN_EVERY.total_seconds():
            return
    try:
        with transaction.atomic():
            if began is None or seen is None:
                begin(request, user)
            else:
                request.session[SEEN] = now
                BrowserSession.objects.filter(session_key=request.session.session_key).update(seen_at=timezone.now())
            request.session.save()
    except DatabaseError:
        log.warning("A session could not be noted as seen; its page is shown all the same", exc_info=True)
        request.session.modified = False


def idle_limit(request: HttpRequest) -> timedelta:
    if request.session.get(SHARED):
        return timedelta(minutes=settings.SHARED_DEVICE_MINUTES)
    return timedelta(days=settings.SESSION_IDLE_DAYS)
