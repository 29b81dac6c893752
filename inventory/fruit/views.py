"""Offers, claims, shares and the freezer."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.db.models import Sum
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from club.core.clock import club_day
from club.core.http import picture, refusals_as_messages, refusals_on, signed_in
from club.members.models import User
from inventory.fruit import services
from inventory.fruit.forms import (
    ClaimForm,
    DetailsForm,
    FreezerForm,
    KeepBackForm,
    OfferForm,
    PictureForm,
    TakeBackForm,
    TakeForm,
    claim_initial,
    initial_of,
)
from inventory.fruit.models import RUN, Claim, FreezerItem, Offer, OfferPhoto, Share, season_of_person, season_rows
from inventory.fruit.presentation import offer_context, rounds_for
from inventory.fruit.produce import PRODUCE, produce_choices
from inventory.fruit.rules import AT_BEST, MEASURE_RULES, NO_ADDED_SUGAR, season_of, use_by_source
from inventory.fruit.suggestions import AtHand, Fit, fits, pots_of, produce_named, produce_words, revisions_with

# The form's field for what a service calls otherwise.
FIELDS = {"windows": "day", "each_g": "each"}
OFFERS_PER_PAGE = 30
MOST_OF_MINE = 30
MEMBERS_PER_PAGE = 50
ITEMS_PER_PAGE = 50
MOST_DIGITS = 9  # of a round's number
NOTES: dict[str, Callable[..., None]] = {
    "picked-up": services.share_note_picked_up,
    "missed": services.share_note_missed,
    "give-back": services.share_give_back,
}


def offer_for(user: User, pk: int) -> Offer:
    """404 for what this person may not see, as for what is not there."""
    return get_object_or_404(Offer.objects.visible_to(user).select_related("giver"), pk=pk)


def offer_run_by(user: User, pk: int) -> Offer:
    """For its giver and organisers; 403 for somebody else who may see it."""
    offer = offer_for(user, pk)
    if not offer.is_run_by(user):
        raise PermissionDenied
    return offer


def share_for(user: User, pk: int) -> Share:
    return get_object_or_404(Share.objects.visible_to(user).select_related("offer__giver", "window"), pk=pk)


def claim_for(user: User, pk: int) -> Claim:
    return get_object_or_404(Claim.objects.visible_to(user).select_related("offer"), pk=pk)


# What is offered now, an offer's page and picture, offering


@require_safe
def offer_list(request: HttpRequest) -> HttpResponse:
    user, now = signed_in(request), timezone.now()
    offers = Offer.objects.visible_to(user).claimable(now).for_list(user).spoils_first()
    produce = request.GET.get("produce", "")
    if produce in PRODUCE:
        offers = offers.filter(produce=produce)
    page = Paginator(offers, OFFERS_PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "offers": page.object_list,
        "produce": produce,
        "kinds": produce_choices(),
        "today": club_day(now),
    }
    return render(request, "fruit/list.html", context)


@require_safe
def offer_page(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    offer = offer_for(user, pk)
    context = offer_context(offer, user, timezone.now())
    context["keeps_source"] = use_by_source(offer.produce, offer.frozen_on)
    return render(request, "fruit/offer.html", context)


@require_http_methods(["GET", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    user = signed_in(request)
    today = club_day(timezone.now())
    # Where this person's last offer was: most people have one garden.
    last = Offer.objects.filter(giver=user).order_by("-created_at", "-pk").first()
    place = {"where": last.where, "about_where": last.about_where} if last else {}
    form = OfferForm(request.POST or None, request.FILES or None, by=user, today=today, **place)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form, FIELDS):
            offer = services.offer_make(
                by=user,
                fields=form.offer_fields(),
                token=form.cleaned_data["token"],
                photo=form.cleaned_data["photo"],
            )
            messages.success(request, _("It is offered. Thank you!"))
            return redirect(offer)
    return render(request, "fruit/new.html", {"form": form})


@require_safe
def photo(request: HttpRequest, pk: int) -> HttpResponse:
    """The address carries when the picture was changed, so that it may be kept for a day."""
    found = OfferPhoto.objects.filter(offer=offer_for(signed_in(request), pk)).first()
    if found is None:
        raise Http404
    return picture(found.jpeg, kept_for=86_400)


# What a giver does with an offer: changing what it says, keeping some back, taking it back, its picture


@require_http_methods(["GET", "POST"])
def change(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    offer = offer_run_by(user, pk)
    form = DetailsForm(request.POST or None, offer=offer)
    if request.method == "POST" and form.is_valid():
        with refusals_as_messages(request), refusals_on(form, FIELDS):
            services.offer_change(by=user, offer=offer, **form.cleaned_data)
            messages.success(request, _("Changed."))
        if not form.errors:
            return redirect(offer)
    return render(request, "fruit/form.html", {"offer": offer, "form": form, "heading": _("Change what it says")})


@require_http_methods(["GET", "POST"])
def keep_back(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    offer = offer_run_by(user, pk)
    form = KeepBackForm(request.POST or None, offer=offer, by=user)
    if request.method == "POST" and form.is_valid():
        with refusals_as_messages(request), refusals_on(form, FIELDS):
            services.offer_keep_back(by=user, offer=offer, kept=form.kept())
            messages.success(request, _("Changed."))
        if not form.errors:
            return redirect(offer)
    return render(request, "fruit/form.html", {"offer": offer, "form": form, "heading": _("Keep some back")})


@require_http_methods(["GET", "POST"])
def take_back(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    offer = offer_run_by(user, pk)
    form = TakeBackForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form, FIELDS):
            services.offer_take_back(by=user, offer=offer, reason=form.cleaned_data["reason"])
            messages.success(request, _("The offer is taken back. Those who claimed some are told."))
            return redirect("fruit:mine")
    return render(request, "fruit/form.html", {"offer": offer, "form": form, "heading": _("Take the offer back")})


@require_http_methods(["GET", "POST"])
def photo_change(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    offer = offer_run_by(user, pk)
    form = PictureForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form, FIELDS):
            services.offer_photo_set(by=user, offer=offer, file=form.cleaned_data["photo"])
            return redirect(offer)
    return render(request, "fruit/form.html", {"offer": offer, "form": form, "heading": _("A picture")})


# Claiming, withdrawing, and what is mine: offers, claims and shares


@require_http_methods(["GET", "POST"])
def claim(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    offer = offer_for(user, pk)
    if offer.giver_id == user.pk:
        if request.method == "POST":
            raise PermissionDenied
        messages.info(request, _("This is your own fruit. What you want of it yourself you keep back on its page."))
        return redirect(offer)
    if request.method == "GET" and (refusal := services.claim_refusal(offer, user, timezone.now())):
        messages.info(request, refusal)
        return redirect(offer)
    context = _claim_context(request, offer, user)
    form: ClaimForm = context["form"]
    if request.method == "POST" and form.is_valid():
        with refusals_as_messages(request), refusals_on(form, FIELDS):
            slug = form.cleaned_data["recipe"]
            recipe = next((one.recipe for one in context["pots"] if one.recipe.slug == slug), None)
            services.claim_set(by=user, offer=offer, recipe=recipe, **form.claim_fields())
            messages.success(request, _("Your claim is in."))
        if not form.errors:
            return redirect(offer)
    return render(request, "fruit/claim.html", context)


def _claim_context(request: HttpRequest, offer: Offer, user: User) -> dict[str, Any]:
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
    with refusals_as_messages(request):
        services.claim_withdraw(by=user, claim=found)
        messages.success(request, _("Your claim is withdrawn."))
    return redirect(found.offer)


@require_safe
def mine(request: HttpRequest) -> HttpResponse:
    user = signed_in(request)
    shares = Share.objects.filter(person=user).select_related("offer", "window")
    context = {
        "offers": Offer.objects.filter(giver=user).for_list(user).order_by("-created_at")[:MOST_OF_MINE],
        "claims": Claim.objects.open()
        .filter(person=user, share=None)
        .select_related("offer")
        .order_by("-made_at")[:MOST_OF_MINE],
        "to_fetch": shares.promised().order_by("window__starts_at", "pk")[:MOST_OF_MINE],
        "past": shares.exclude(stage="promised")[:MOST_OF_MINE],
    }
    return render(request, "fruit/mine.html", context)


# Sharing out, how it was shared, what becomes of a share, and the season


@require_POST
def share_out(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    offer = offer_run_by(user, pk)
    with refusals_as_messages(request):
        services.offer_share_out(by=user, offer=offer)
        messages.success(request, _("Shared out. Everybody who claimed is told."))
        return redirect("fruit:result", pk=offer.pk)
    return redirect(offer)


@require_POST
def share_again(request: HttpRequest, pk: int) -> HttpResponse:
    """The page says after which round: two presses are one."""
    user = signed_in(request)
    offer = offer_run_by(user, pk)
    after = request.POST.get("after", "")
    known = int(after) if after.isdecimal() and len(after) <= MOST_DIGITS else -1
    with refusals_as_messages(request):
        services.offer_share_again(by=user, offer=offer, after_round=known)
        messages.success(request, _("What was left is shared out again."))
    return redirect("fruit:result", pk=offer.pk)


@require_safe
def result(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    offer = offer_for(user, pk)
    context = {"offer": offer, "rounds": rounds_for(offer, user), "runs": offer.is_run_by(user)}
    return render(request, "fruit/result.html", context)


@require_POST
def note(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    share = share_for(user, pk)
    noted = NOTES.get(request.POST.get("what", ""))
    if noted is not None:
        with refusals_as_messages(request):
            noted(by=user, share=share)
            messages.success(request, _("Written down."))
    return redirect(share.offer)


@require_safe
def season(request: HttpRequest) -> HttpResponse:
    """Everybody's season to organisers, one's own to everybody."""
    user, now = signed_in(request), timezone.now()
    year = season_of(club_day(now))
    context = {"year": year, "own": season_of_person(user, year)}
    if user.has_perm(RUN):
        context["page"] = Paginator(season_rows(year), MEMBERS_PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "fruit/season.html", context)


# The freezer of a household: what lies there, the oldest first, and what can be made of it


def freezer_item_for(user: User, pk: int) -> FreezerItem:
    """404 for another household's lot, as for what is not there."""
    return get_object_or_404(FreezerItem.objects.visible_to(user).select_related("kitchen", "put_in_by"), pk=pk)


@require_safe
def freezer(request: HttpRequest) -> HttpResponse:
    items = FreezerItem.objects.visible_to(signed_in(request)).there()
    page = Paginator(items.oldest_first(), ITEMS_PER_PAGE).get_page(request.GET.get("page"))
    today = club_day()
    context = {
        "page": page,
        "rows": [(item, item.shelf_life, item.age_on(today)) for item in page],
        "total": items.aggregate(grams=Sum("grams_left"))["grams"] or 0,
        "at_best": AT_BEST,
    }
    return render(request, "fruit/freezer.html", context)


@require_http_methods(["GET", "POST"])
def freezer_add(request: HttpRequest) -> HttpResponse:
    user = signed_in(request)
    form = FreezerForm(request.POST or None, user=user, initial={"frozen_on": club_day()})
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            item = services.freezer_item_add(by=user, fields=form.item_fields(), token=form.cleaned_data["token"])
            messages.success(request, _("On the list: %(what)s.") % {"what": item.what})
            return redirect("fruit:freezer")
    return render(request, "fruit/freezer_form.html", {"form": form, "words": produce_words()})


@require_safe
def freezer_item(request: HttpRequest, pk: int) -> HttpResponse:
    item = freezer_item_for(signed_in(request), pk)
    return _item_page(request, item, TakeForm(item=item))


def _item_page(request: HttpRequest, item: FreezerItem, form: TakeForm) -> HttpResponse:
    context = {
        "item": item,
        "form": form,
        "age": item.age_on(club_day()),
        "takings": item.takings.select_related("by")[:ITEMS_PER_PAGE],
        "fits": [(fit, fit.query(item.kitchen_id)) for fit in _fits(item)],
        "measure_rules": MEASURE_RULES,
        "no_sugar": NO_ADDED_SUGAR,
    }
    return render(request, "fruit/freezer_item.html", context)


def _fits(item: FreezerItem) -> list[Fit]:
    """The recipes for what is left of a lot; none for fruit with sugar, which no recipe measures."""
    if item.with_sugar or not item.grams_left:
        return []
    produce = item.produce or produce_named(item.what)  # a recipe for it may have come since
    at_hand = AtHand(produce, item.grams_left, item.state, is_frozen=True)
    return fits(at_hand, revisions_with([produce] if produce else []), item.kitchen.altitude)


@require_POST
def freezer_take(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    item = freezer_item_for(user, pk)
    form = TakeForm(request.POST, item=item)
    if form.is_valid():
        with refusals_on(form):
            taking = services.freezer_item_take(by=user, item=item, **form.taking_fields())
            messages.success(request, _("%(n)s g taken out.") % {"n": taking.grams})
            return redirect("fruit:freezer")
    return _item_page(request, item, form)


@require_http_methods(["GET", "POST"])
def freezer_change(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    item = freezer_item_for(user, pk)
    form = FreezerForm(request.POST or None, user=user, initial=initial_of(item), submit=_("Save it"))
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            services.freezer_item_change(by=user, item=item, fields=form.item_fields())
            messages.success(request, _("Written down."))
            return redirect(item)
    return render(request, "fruit/freezer_form.html", {"form": form, "item": item, "words": produce_words()})
