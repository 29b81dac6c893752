from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from club.desk.queries import desk_for


@require_safe
def home(request: HttpRequest) -> HttpResponse:
    assert request.user.is_authenticated  # LoginRequiredMiddleware; this only tells the type checker
    return render(request, "desk/home.html", {"desk": desk_for(request.user, now=timezone.now())})
