"""What a request meets before a view: the limit on its body, and the sign-in page under htmx."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import resolve_url
from django.template.loader import render_to_string


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
