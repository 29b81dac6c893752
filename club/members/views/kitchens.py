"""Naming a kitchen, and mending what is known of it."""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from club.core.http import refusals_on, refusals_told, signed_in
from club.members import services
from club.members.forms import KitchenForm, KitchenPersonForm
from club.members.models import Kitchen, KitchenInvitation, User


@require_http_methods(["GET", "POST"])
def add(request: HttpRequest) -> HttpResponse:
    user = signed_in(request)
    form = KitchenForm(request.POST or None, by=user)
    if request.method == "POST" and form.is_valid():
        told = form.cleaned_data
        with refusals_on(form):
            kitchen = services.kitchen_add(
                by=user,
                name=told["name"],
                altitude_text=form.altitude_text,
                altitude_how=told["altitude_how"],
                is_hall=told.get("is_hall", False),
                power_limit_w=told.get("power_limit_w"),
                token=told["token"],
            )
            # With the first kitchen a newcomer is done here; the desk says what can be done next.
            return saved(request, kitchen, then="desk:home" if user.kitchens.count() == 1 else "members:me")
    is_first = not user.kitchens.exists()
    return render(request, "members/kitchen_add.html", {"form": form, "is_first": is_first})


@require_http_methods(["GET", "POST"])
def change(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    kitchen = get_object_or_404(Kitchen.objects.usable_by(user), pk=pk)
    if not Kitchen.objects.changeable_by(user).filter(pk=pk).exists():
        raise PermissionDenied
    form = KitchenForm(request.POST or None, by=user, kitchen=kitchen)
    if request.method == "POST" and form.is_valid():
        told = form.cleaned_data
        with refusals_on(form):
            services.kitchen_change(
                by=user,
                kitchen=kitchen,
                name=told["name"],
                altitude_text=form.altitude_text,
                altitude_how=told["altitude_how"],
                power_limit_w=told.get("power_limit_w"),
            )
            return saved(request, kitchen)
    return kitchen_page(request, kitchen, form)


def kitchen_page(
    request: HttpRequest, kitchen: Kitchen, form: KitchenForm, person_form: KitchenPersonForm | None = None
) -> HttpResponse:
    action = reverse("members:kitchen-person-add", args=[kitchen.pk])
    people = [] if kitchen.is_hall else list(User.objects.get_queryset().filter(kitchens=kitchen).in_order())
    others = {person.pk for person in people} - {kitchen.founded_by_id}
    told = {
        "form": form,
        "kitchen": kitchen,
        "people": people,
        "removable": others | {signed_in(request).pk} if len(people) > 1 else set(),
        "invitations": [] if kitchen.is_hall else kitchen.invitations.shown(timezone.now()),
        "person_form": person_form or KitchenPersonForm(action=action),
    }
    return render(request, "members/kitchen_change.html", told)


@require_POST
def person_add(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    kitchen = get_object_or_404(Kitchen.objects.filter(is_hall=False, people=user), pk=pk)
    form = KitchenPersonForm(request.POST, action=request.path)
    if form.is_valid():
        with refusals_on(form):
            services.kitchen_invite(by=user, kitchen=kitchen, email=form.cleaned_data["email"])
            told = {"email": form.cleaned_data["email"], "kitchen": kitchen.name}
            said = _(
                "If a member has the address %(email)s, they are asked now. With a yes they preserve in %(kitchen)s."
            )
            messages.success(request, said % told)
            return redirect("members:kitchen-change", pk=pk)
    return kitchen_page(request, kitchen, KitchenForm(by=user, kitchen=kitchen), form)


@require_POST
def person_remove(request: HttpRequest, pk: int, person_pk: int) -> HttpResponse:
    user = signed_in(request)
    kitchen = get_object_or_404(Kitchen.objects.filter(is_hall=False, people=user), pk=pk)
    person = get_object_or_404(kitchen.people.all(), pk=person_pk)
    with refusals_told(request):
        services.kitchen_person_remove(by=user, kitchen=kitchen, person=person)
        told = {"person": str(person), "kitchen": kitchen.name}
        messages.success(request, _("%(person)s is not of %(kitchen)s any more.") % told)
    return redirect("members:me") if person.pk == user.pk else redirect("members:kitchen-change", pk=pk)


@require_POST
def invitation_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    invitations = KitchenInvitation.objects.filter(kitchen__people=user).select_related("kitchen")
    invitation = get_object_or_404(invitations, pk=pk)
    services.kitchen_invitation_withdraw(by=user, invitation=invitation)
    messages.success(request, _("%(email)s is not asked any more.") % {"email": invitation.email})
    return redirect("members:kitchen-change", pk=invitation.kitchen_id)


@require_POST
def invitation_answer(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    invitation = get_object_or_404(user.kitchen_invitations.select_related("kitchen"), pk=pk)
    accepts = request.POST.get("answer") == "accept"
    if not accepts and request.POST.get("answer") != "decline":
        return redirect("members:me")
    with refusals_told(request):
        services.kitchen_invitation_answer(by=user, invitation=invitation, accept=accepts)
        said = _("You preserve in %(kitchen)s too now.") if accepts else _("You said no to %(kitchen)s.")
        messages.success(request, said % {"kitchen": invitation.kitchen.name})
    return redirect("members:me")


@require_POST
def choose(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    kitchen = get_object_or_404(Kitchen.objects.usable_by(user), pk=pk)
    services.kitchen_choose(by=user, kitchen=kitchen)
    said = _("Recipes and plans show their figures for %(kitchen)s, unless you choose another there.")
    messages.success(request, said % {"kitchen": kitchen.name})
    return redirect("members:me")


def saved(request: HttpRequest, kitchen: Kitchen, then: str = "members:me") -> HttpResponse:
    """Say back what was understood: a slip in the altitude is seen here or never."""
    if kitchen.altitude is None:
        said = _("%(kitchen)s is saved without an altitude. No process time is given for it until it has one.")
        messages.warning(request, said % {"kitchen": kitchen.name})
    else:
        said = _("%(kitchen)s is saved at %(altitude)s.")
        messages.success(request, said % {"kitchen": kitchen.name, "altitude": kitchen.altitude_words})
    return redirect(then)
