"""A person's own page."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from club.members import services
from club.members.forms import ProfileForm
from club.members.models import Kitchen
from club.members.views.asks import refusals_on, signed_in


@require_http_methods(["GET", "POST"])
def me(request: HttpRequest) -> HttpResponse:
    user = signed_in(request)
    form = ProfileForm(request.POST or None, user=user)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            services.profile_change(by=user, **form.cleaned_data)
            messages.success(request, _("Saved."))
            return redirect("members:me")
    kitchens = Kitchen.objects.usable_by(user)
    changeable = set(Kitchen.objects.changeable_by(user).values_list("pk", flat=True))
    told = {"form": form, "kitchens": kitchens, "changeable": changeable, "skills": user.skill_records.standing()}
    return render(request, "members/me.html", told)


@require_POST
def sign_out_everywhere(request: HttpRequest) -> HttpResponse:
    services.sessions_end_everywhere(user=signed_in(request))
    logout(request)
    messages.success(request, _("You are signed out everywhere. Sign in again here."))
    return redirect("account_login")
