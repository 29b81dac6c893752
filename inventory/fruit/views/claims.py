"""Claiming, withdrawing, and what is mine: offers, claims and shares."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from club.core.http import signed_in
from club.members.models import User
from inventory.fruit import services
from inventory.fruit.models import Claim, Offer, Share
from inventory.fruit.offer_forms import ClaimForm, claim_initial
from inventory.fruit.suggesting import pots_of
from inventory.fruit.views.offer_asks import claim_for, offer_for, refusals_on

SHOWN = 30


@require_http_methods(["GET", "POST"])
def claim(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    offer = offer_for(user, pk)
    if offer.giver_id == user.pk:
        if request.method == "POST":
            raise PermissionDenied
        messages.info(request, _("This is your own fruit. What you want of it yourself you keep back on its page."))
        return redirect(offer)
    told = _claim_told(request, offer, user)
    form: ClaimForm = told["form"]
    if request.method == "POST" and form.is_valid():
        try:
            with refusals_on(form):
                recipe = next((one.recipe for one in told["pots"] if one.recipe.slug == form.recipe_slug), None)
                services.claim_set(by=user, offer=offer, recipe=recipe, **form.written())
                messages.success(request, _("Your claim is in."))
                return redirect(offer)
        except services.AlreadyDone as done:
            messages.info(request, str(done))
            return redirect(offer)
    return render(request, "fruit/claim.html", told)


def _claim_told(request: HttpRequest, offer: Offer, user: User) -> dict[str, Any]:
    """The form as it stands. The least amount may be what one pot of a recipe takes, chosen by a link: no script."""
    mine = Claim.objects.open().filter(offer=offer, person=user).select_related("recipe").first()
    pots = pots_of(offer)
    asked = request.GET.get("recipe") or (mine.recipe.slug if mine and mine.recipe else "")
    chosen = next((one for one in pots if one.recipe.slug == request.GET.get("recipe")), None)
    initial = claim_initial(offer, user, mine, chosen.units if chosen else None) | {"recipe": asked}
    windows = [one for one in offer.windows.all() if one.ends_at > timezone.now()]
    form = ClaimForm(request.POST or None, offer=offer, by=user, windows=windows, initial=initial)
    return {"offer": offer, "form": form, "claim": mine, "pots": pots, "chosen": chosen}


@require_POST
def withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    found = claim_for(user, pk)
    try:
        services.claim_withdraw(by=user, claim=found)
        messages.success(request, _("Your claim is withdrawn."))
    except services.AlreadyDone as done:
        messages.info(request, str(done))
    return redirect(found.offer)


@require_safe
def mine(request: HttpRequest) -> HttpResponse:
    user = signed_in(request)
    shares = Share.objects.filter(person=user).select_related("offer", "window")
    told = {
        "offers": Offer.objects.filter(giver=user).for_list(user).order_by("-created_at")[:SHOWN],
        "claims": Claim.objects.open()
        .filter(person=user, share=None)
        .select_related("offer")
        .order_by("-made_at")[:SHOWN],
        "to_fetch": shares.promised().order_by("window__starts_at", "pk")[:SHOWN],
        "past": shares.exclude(stage="promised")[:SHOWN],
    }
    return render(request, "fruit/mine.html", told)
