from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from club.desk.queries import desk_for
from inventory.batches.tracing import to_answer


@require_safe
def home(request: HttpRequest) -> HttpResponse:
    assert request.user.is_authenticated  # LoginRequiredMiddleware; this only tells the type checker
    told = {"desk": desk_for(request.user, now=timezone.now()), "recalls": to_answer(request.user)}
    return render(request, "desk/home.html", told)
