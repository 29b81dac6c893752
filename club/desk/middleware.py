"""What a request meets on its way that belongs to no room."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import resolve_url


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
