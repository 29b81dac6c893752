"""The organisers' pages: who is in the club, who is invited, who holds which role."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from club.core.http import allow, refusals_on, refusals_told
from club.members import services
from club.members.forms import InviteForm, RolesForm
from club.members.models import Invitation, User

PER_PAGE = 50


@require_safe
def people(request: HttpRequest) -> HttpResponse:
    allow(request, "members.invite_member")
    return people_page(request, InviteForm(action=reverse("members:invite")))


@require_http_methods(["GET", "POST"])
def invite(request: HttpRequest) -> HttpResponse:
    user = allow(request, "members.invite_member")
    form = InviteForm(request.POST or None, action=reverse("members:invite"))
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            invitation = services.invitation_send(by=user, **form.cleaned_data)
            messages.success(request, _("An invitation is on its way to %(email)s.") % {"email": invitation.email})
            return redirect("members:people")
    return people_page(request, form)


def people_page(request: HttpRequest, form: InviteForm) -> HttpResponse:
    everybody = User.objects.get_queryset().with_roles().in_order()
    told = {
        "form": form,
        "page": Paginator(everybody, PER_PAGE).get_page(request.GET.get("page")),
        "invitations": Invitation.objects.unsettled().select_related("invited_by")[:PER_PAGE],
        "now": timezone.now(),
    }
    return render(request, "members/people.html", told)


@require_http_methods(["GET", "POST"])
def person(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, "members.grant_role")
    found = get_object_or_404(User.objects.get_queryset().with_roles(), pk=pk)
    # No box ticked is a POST without a field, and still an answer: hence not `request.POST or None`.
    form = RolesForm(request.POST if request.method == "POST" else None, person=found)
    if form.is_valid():
        with refusals_on(form):
            services.roles_change(by=user, person=found, roles=form.cleaned_data["roles"])
            messages.success(request, _("Saved."))
            return redirect("members:person", pk=pk)
    return render(request, "members/person.html", {"form": form, "person": found, "is_self": found.pk == user.pk})


@require_POST
def end(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, "members.grant_role")
    found = get_object_or_404(User, pk=pk)
    with refusals_told(request):
        services.member_deactivate(by=user, person=found)
        messages.success(request, _("The membership of %(name)s has ended.") % {"name": str(found)})
    return redirect("members:person", pk=pk)


@require_POST
def start_again(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, "members.grant_role")
    found = get_object_or_404(User, pk=pk)
    with refusals_told(request):
        services.member_reactivate(by=user, person=found)
        messages.success(request, _("%(name)s is a member again.") % {"name": str(found)})
    return redirect("members:person", pk=pk)
