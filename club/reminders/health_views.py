from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from club.reminders.health import LATE_S, health_at, is_ticking
from club.reminders.views.sending import organiser


@require_safe
def page(request: HttpRequest) -> HttpResponse:
    """For organisers, in words: what /healthz tells monitors."""
    organiser(request)
    found = health_at(timezone.now())
    late = found["oldest_due_reminder_late_s"] or 0
    told = {"found": found, "is_ticking": is_ticking(found), "late_min": late // 60, "is_late": late > LATE_S}
    return render(request, "reminders/health.html", told)
