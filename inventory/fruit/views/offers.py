"""What is offered now, an offer's page and picture, offering."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_http_methods, require_safe

from club.core.clock import club_day
from club.core.http import signed_in
from club.members.models import User
from inventory.fruit import services
from inventory.fruit.models import Offer, OfferPhoto
from inventory.fruit.offer_forms import OfferForm
from inventory.fruit.offer_page import offer_told
from inventory.fruit.produce import PRODUCE, produce_choices
from inventory.fruit.rules import use_by_source
from inventory.fruit.views.offer_asks import offer_for, refusals_on

PER_PAGE = 30


@require_safe
def offer_list(request: HttpRequest) -> HttpResponse:
    user, now = signed_in(request), timezone.now()
    offers = Offer.objects.visible_to(user).claimable(now).for_list(user).spoils_first()
    produce = request.GET.get("produce", "")
    if produce in PRODUCE:
        offers = offers.filter(produce=produce)
    page = Paginator(offers, PER_PAGE).get_page(request.GET.get("page"))
    told = {"page": page, "offers": page.object_list, "produce": produce, "kinds": produce_choices()}
    return render(request, "fruit/list.html", told | {"today": club_day(now)})


@require_safe
def offer_page(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    offer = offer_for(user, pk)
    told = offer_told(offer, user, timezone.now()) | {"keeps_source": use_by_source(offer.produce, offer.frozen_on)}
    return render(request, "fruit/offer.html", told)


@require_http_methods(["GET", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    user = signed_in(request)
    today = club_day(timezone.now())
    form = OfferForm(request.POST or None, request.FILES or None, by=user, today=today, **_places_before(user))
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            told = {"token": form.cleaned_data["token"], "photo": form.cleaned_data["photo"]}
            offer = services.offer_make(by=user, fields=form.fields_told(), **told)
            messages.success(request, _("It is offered. Thank you!"))
            return redirect(offer)
    return render(request, "fruit/new.html", {"form": form})


def _places_before(user: User) -> dict[str, str]:
    """Where this person's last offer was: most people have one garden."""
    last = Offer.objects.filter(giver=user).order_by("-created_at", "-pk").first()
    return {"where": last.where, "about_where": last.about_where} if last else {}


@require_safe
@cache_control(private=True, max_age=86_400)
def photo(request: HttpRequest, pk: int) -> HttpResponse:
    """The address carries when the picture was changed, so that it may be kept for a day."""
    found = OfferPhoto.objects.filter(offer=offer_for(signed_in(request), pk)).first()
    if found is None:
        raise Http404
    return HttpResponse(bytes(found.jpeg), content_type="image/jpeg")
