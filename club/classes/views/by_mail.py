"""The page behind the link in a mail: one sign-up, and a button. It signs nobody in; opening it changes nothing."""

from __future__ import annotations

from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from club.classes.models import SignUp
from club.classes.services import seats, waiting
from club.classes.tokens import signup_for_token
from club.core.errors import AlreadyDone


@login_not_required
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def by_mail(request: HttpRequest, token: str) -> HttpResponse:
    signup = signup_for_token(token)
    if signup is None:
        raise Http404
    refused = ""
    if request.method == "POST":
        refused = _answered(signup, request.POST.get("answer", ""))
        if not refused:
            return redirect("classes:by-mail", token)
        signup.refresh_from_db(fields=["state", "offer_until"])
    told = {"signup": signup, "session": signup.session, "refused": refused}
    told["has_begun"] = signup.session.starts_at <= timezone.now()
    return render(request, "classes/by_mail.html", told, status=409 if refused else 200)


def _answered(signup: SignUp, answer: str) -> str:
    """Do what was asked in the name of whoever the mail went to; why not, in words, where it is refused."""
    try:
        if answer == "take":
            waiting.seat_accept(by=signup.person, signup=signup)
        elif answer == "leave":
            seats.signup_cancel(by=signup.person, signup=signup)
        else:
            return _("Press one of the buttons.")
    except ValidationError as error:
        return " ".join(error.messages)
    except AlreadyDone as done:
        return str(done)
    return ""
