"""What a request meets before a view, and an answer after it: the limit on its body, headers, the sign-in page under
htmx, and the cookie of messages.
"""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.contrib.messages.storage.cookie import CookieStorage
from django.contrib.messages.storage.fallback import FallbackStorage
from django.contrib.messages.storage.session import SessionStorage
from django.http import HttpRequest, HttpResponse
from django.shortcuts import resolve_url
from django.template.loader import render_to_string

# What pages ask a browser for; keys for signing in are for this site alone.
_NEVER = (
    "accelerometer",
    "display-capture",
    "geolocation",
    "gyroscope",
    "magnetometer",
    "microphone",
    "midi",
    "payment",
    "usb",
)


def permissions(*, camera: bool = False) -> str:
    """The header Permissions-Policy; with `camera` for the page that reads codes."""
    return ", ".join(
        [
            *(f"{name}=()" for name in _NEVER),
            "camera=(self)" if camera else "camera=()",
            "publickey-credentials-create=(self)",
            "publickey-credentials-get=(self)",
        ]
    )


# After these nothing of the member is left on the device. An end that nobody asked for, such as after idle days, lets
# presses be that are still to be sent.
SIGNS_OUT = ("account_logout", "members:sign-out-everywhere")


class ResponseHeadersMiddleware:
    """What a signed-in person was shown stays in no cache, so that whoever has the browser next cannot go back to it.

    A view that says itself how long its answer may be kept, such as a picture's, has its way.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Permissions-Policy", permissions())
        if getattr(request.resolver_match, "view_name", "") in SIGNS_OUT and request.method == "POST":
            # With the cook's pages and presses that a phone keeps, and the worker that keeps them.
            response.headers["Clear-Site-Data"] = '"storage"'
        user = getattr(request, "user", None)  # nobody was asked where a body was refused before
        if user is not None and user.is_authenticated:
            response.headers.setdefault("Cache-Control", "no-store, private")
        return response


class _MessageCookie(CookieStorage):
    cookie_name = f"{settings.COOKIE_PREFIX}messages"


class MessageStorage(FallbackStorage):
    """Django's, under a cookie name that goes by the rule of the others."""

    storage_classes = (_MessageCookie, SessionStorage)


class BodyLimitMiddleware:
    """A body longer than the site takes is refused by what its head says, before it is read.

    One that does not say how long it is (sent in chunks) is refused whole: no browser sends a form so.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if "HTTP_TRANSFER_ENCODING" in request.META:
            return HttpResponse(render_to_string("411.html"), status=411)
        size = request.META.get("CONTENT_LENGTH") or "0"
        if not (size.isascii() and size.isdecimal() and len(size) < 19 and int(size) <= settings.MOST_BODY_BYTES):
            return HttpResponse(render_to_string("413.html"), status=413)
        return self.get_response(request)


class HtmxSignInMiddleware:
    """An htmx request that meets the sign-in page must leave the page it is on, not paint it into a corner."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        sign_in = resolve_url(settings.LOGIN_URL)
        to_sign_in = response.status_code == 302 and response.headers.get("Location", "").startswith(sign_in)
        if to_sign_in and request.headers.get("HX-Request") == "true":
            return HttpResponse(status=204, headers={"HX-Redirect": sign_in})
        return response
