"""A person's own page."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from club.core.http import refusals_on, signed_in
from club.members import services
from club.members.forms import ProfileForm
from club.members.models import Kitchen, KitchenInvitation, default_kitchen
from club.members.roles import Role


@require_http_methods(["GET", "POST"])
def me(request: HttpRequest) -> HttpResponse:
    user = signed_in(request)
    form = ProfileForm(request.POST or None, user=user)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            services.profile_change(by=user, **form.cleaned_data)
            messages.success(request, _("Saved."))
            return redirect("members:me")
    kitchens = list(Kitchen.objects.usable_by(user))
    # Of those they can use, as Kitchen.objects.changeable_by has it; one question less.
    changeable = {kitchen.pk for kitchen in kitchens if not kitchen.is_hall or user.has_role(Role.ORGANISER)}
    asked = KitchenInvitation.objects.open(timezone.now()).filter(person=user)
    told = {
        "form": form,
        "kitchens": kitchens,
        "default": default_kitchen(user, kitchens),
        "changeable": changeable,
        "invitations": asked.select_related("kitchen", "invited_by"),
        "skills": user.skill_records.standing(),
    }
    return render(request, "members/me.html", told)


@require_POST
def sign_out_everywhere(request: HttpRequest) -> HttpResponse:
    services.sessions_end_everywhere(user=signed_in(request))
    logout(request)
    messages.success(request, _("You are signed out everywhere. Sign in again here."))
    return redirect("account_login")
