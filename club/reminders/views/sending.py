from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from club.members.choices import Role
from club.members.models import User
from club.reminders import services
from club.reminders.health import health_at
from club.reminders.models import Reminder
from club.reminders.rules import with_words
from club.reminders.wishes_models import people_bounced

ROWS = 30


@login_not_required
@never_cache
@require_safe
def health(request: HttpRequest) -> HttpResponse:
    """Public, for monitors: 503 only when the database is gone, for then no page can be shown."""
    found = health_at(timezone.now())
    return JsonResponse(found, status=200 if found["database"] == "ok" else 503)


@require_safe
def dead(request: HttpRequest) -> HttpResponse:
    organiser(request)
    page = Paginator(Reminder.objects.dead(), ROWS).get_page(request.GET.get("page"))
    told = {"page": page, "rows": with_words(page.object_list), "bounced": people_bounced()[:ROWS]}
    return render(request, "reminders/dead.html", told)


@require_POST
def resend(request: HttpRequest, pk: int) -> HttpResponse:
    by = organiser(request)
    reminder = get_object_or_404(Reminder, pk=pk)
    if services.reminder_resend(by=by, reminder=reminder, now=timezone.now()):
        messages.success(request, _("It will be tried again within a minute or so."))
    else:
        messages.info(request, _("It is being tried again already."))
    return redirect("reminders:dead")


def organiser(request: HttpRequest) -> User:
    user = request.user
    if not user.is_authenticated or not user.has_role(Role.ORGANISER):
        raise PermissionDenied
    return user
