"""One feed for each person under a private address, and a single class as a file."""

from __future__ import annotations

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from club.classes.models import ClassSession
from club.core.http import signed_in
from club.members.models import CalendarAddress
from club.members.services import calendar_address_close, calendar_address_renew
from club.reminders.calendar_entries import Entry, entries_for, session_entry
from club.reminders.calendar_text import calendar_text


@require_safe
def mine(request: HttpRequest) -> HttpResponse:
    address = CalendarAddress.objects.filter(person=signed_in(request)).first()
    url = settings.SITE_URL + reverse("calendar:feed", args=[address.token]) if address else ""
    return render(request, "reminders/calendar.html", {"address": address, "url": url})


@require_POST
def renew(request: HttpRequest) -> HttpResponse:
    calendar_address_renew(by=signed_in(request))
    messages.success(request, _("This is your address now. One that you had before shows nothing any more."))
    return redirect("calendar:mine")


@require_POST
def close(request: HttpRequest) -> HttpResponse:
    if calendar_address_close(by=signed_in(request)):
        messages.success(request, _("The address is closed."))
    return redirect("calendar:mine")


@login_not_required
@never_cache
@require_safe
def feed(request: HttpRequest, token: str) -> HttpResponse:
    """Public: a calendar program cannot sign in. Who knows the address reads it, so it is long, and can be changed."""
    address = CalendarAddress.objects.filter(token=token, person__is_active=True).select_related("person").first()
    if address is None:
        raise Http404
    return _answer(entries_for(address.person, timezone.now()), name=settings.CLUB_NAME)


@require_safe
def session(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(ClassSession.objects.visible_to(signed_in(request)).select_related("hall"), pk=pk)
    answer = _answer([session_entry(found)], name=found.title)
    answer["Content-Disposition"] = f'attachment; filename="class-{found.pk}.ics"'
    return answer


def _answer(entries: list[Entry], *, name: str) -> HttpResponse:
    answer = HttpResponse(calendar_text(entries, name=name), content_type="text/calendar; charset=utf-8")
    answer["X-Robots-Tag"] = "noindex"
    return answer
