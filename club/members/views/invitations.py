"""An invitation: opening it (public), sending it again, withdrawing it."""

from __future__ import annotations

from allauth.account.adapter import get_adapter
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from club.core.http import allow, refusals_on, refusals_told
from club.members import services
from club.members.forms import AcceptForm
from club.members.models import Invitation, User
from club.members.queries import invitation_for_token, was_accepted_by
from club.members.tokens import Closed, InvitationClosed


@login_not_required
@never_cache
@sensitive_post_parameters("password", "password_again")
@require_http_methods(["GET", "POST"])
def invitation(request: HttpRequest, token: str) -> HttpResponse:
    try:
        found = invitation_for_token(token, now=timezone.now())
        if request.user.is_authenticated:
            return render(request, "members/invitation_signed_in.html", {"invitation": found}, status=409)
        return accept(request, token, found)
    except InvitationClosed as closed:
        return closed_page(request, token, closed.reason)


def accept(request: HttpRequest, token: str, found: Invitation) -> HttpResponse:
    form = AcceptForm(request.POST or None, initial={"name": found.name})
    if request.method == "POST" and form.is_valid():
        told = form.cleaned_data
        with refusals_on(form):
            user = services.invitation_accept(
                token=token, name=told["name"], password=told["password"], units=told["units"]
            )
            get_adapter(request).login(request, user)
            messages.success(request, _("Welcome to the club, %(name)s.") % {"name": user.name})
            return redirect("members:kitchen-add")
    return render(request, "members/invitation.html", {"form": form, "invitation": found})


def closed_page(request: HttpRequest, token: str, reason: Closed) -> HttpResponse:
    if isinstance(request.user, User) and reason is Closed.USED and was_accepted_by(token, request.user):
        return redirect("members:kitchen-add")
    # Gone, but for a link that we never made: that was never here.
    status = 404 if reason is Closed.FORGED else 410
    return render(request, "members/invitation_closed.html", {"reason": reason.value}, status=status)


@require_POST
def send_again(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, "members.invite_member")
    found = get_object_or_404(Invitation, pk=pk)
    with refusals_told(request):
        services.invitation_send_again(by=user, invitation=found)
        messages.success(request, _("A new link is on its way to %(email)s.") % {"email": found.email})
    return redirect("members:people")


@require_POST
def withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, "members.invite_member")
    found = get_object_or_404(Invitation, pk=pk)
    with refusals_told(request):
        services.invitation_withdraw(by=user, invitation=found)
        messages.success(request, _("The invitation for %(email)s is withdrawn.") % {"email": found.email})
    return redirect("members:people")
