"""A person's inbox on the site."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from club.core.http import signed_in
from club.reminders.inbox import inbox_of, inbox_read_all, reminder_open

ROWS = 30


@require_safe
def inbox(request: HttpRequest) -> HttpResponse:
    page = Paginator(inbox_of(signed_in(request)), ROWS).get_page(request.GET.get("page"))
    return render(request, "reminders/inbox.html", {"page": page})


@require_POST
def open_one(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    path = reminder_open(by=user, reminder=get_object_or_404(inbox_of(user), pk=pk))
    return redirect(path or "reminders:inbox")


@require_POST
def read_all(request: HttpRequest) -> HttpResponse:
    inbox_read_all(by=signed_in(request))
    return redirect("reminders:inbox")
