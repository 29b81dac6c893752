"""A mail's own link. Public, as it must work for whoever reads the mail; it does one thing and signs nobody in."""

from __future__ import annotations

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from club.members.models import User
from club.reminders.rules import RULES
from club.reminders.stopping import token_read
from club.reminders.terms import Rule
from club.reminders.wishes import kind_mute


@csrf_exempt  # RFC 8058: the POST comes from a mail program, which has no page of ours to take a token from
@login_not_required
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def stop(request: HttpRequest, token: str) -> HttpResponse:
    """A GET only asks: mail scanners open every link. The answer to a POST is no redirect, as RFC 8058 wants it."""
    found = _meant(token)
    if found is None:
        return render(request, "reminders/stop_unknown.html", status=404)
    person, rule = found
    if request.method == "POST":
        kind_mute(person=person, kind=rule.name)
    return render(request, "reminders/stop.html", {"kind": rule.title, "is_done": request.method == "POST"})


def _meant(token: str) -> tuple[User, Rule] | None:
    person_id, kind = token_read(token) or (0, "")
    person, rule = User.objects.filter(pk=person_id).first(), RULES.get(kind)
    return (person, rule) if person is not None and rule is not None and rule.may_mute else None
