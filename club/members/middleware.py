"""Who is signed in for how long, who must set up a second factor before anything else, who reads in which units."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from allauth.mfa.adapter import get_adapter
from allauth.mfa.models import Authenticator
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse

from club.core.units import reading_in
from club.members import sessions
from club.members.choices import Role
from club.members.models import User

GetResponse = Callable[[HttpRequest], HttpResponse]


class SessionLimitsMiddleware:
    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if isinstance(request.user, User):
            sessions.keep_or_end(request, request.user)
        return self.get_response(request)


class UnitsMiddleware:
    """Figures of this answer are said in the units of whoever asks. They are looked up once a figure needs them."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        with reading_in(lambda: getattr(request.user, "units", "")):
            return self.get_response(request)


# What somebody without their second factor may open: setting it up, being asked for the password, their own email and
# password. What is open to nobody signed in (signing out, links in mails) stays open too.
BEFORE_THE_SECOND_FACTOR = {"account_reauthenticate", "account_email", "account_change_password"}
SETTING_UP = "mfa_"


class SecondFactorMiddleware:
    """Whoever must have a second factor and has none is led to where it is set up, whatever page they ask for."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: Callable[..., Any], args: Any, kwargs: Any
    ) -> HttpResponse | None:
        if not settings.REQUIRE_SECOND_FACTOR or not isinstance(request.user, User):
            return None
        if not getattr(view, "login_required", True) or not lacks_second_factor(request.user):
            return None
        request.lacks_second_factor = True  # type: ignore[attr-defined]
        name = request.resolver_match.view_name if request.resolver_match else ""
        if name in BEFORE_THE_SECOND_FACTOR or name.startswith(SETTING_UP):
            return None
        if request.headers.get("HX-Request") == "true":
            return HttpResponse(status=204, headers={"HX-Redirect": reverse("mfa_index")})
        return redirect("mfa_index")


def lacks_second_factor(user: User) -> bool:
    """Two queries, and only for those who must have one."""
    must = user.is_staff or user.has_role(Role.ORGANISER, Role.KEEPER)
    return must and not get_adapter().is_mfa_enabled(user, [Authenticator.Type.TOTP, Authenticator.Type.WEBAUTHN])
