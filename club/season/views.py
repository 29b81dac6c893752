"""The season's pages: a household's own, and the sums for whoever runs the club's orders."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.db.models import Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from club.core.clock import club_day
from club.core.http import refusals_as_messages, refusals_on, signed_in
from club.members.models import Kitchen, User, kitchen_words
from club.season import services
from club.season.forms import HarvestWeeksForm, HouseholdForm, RegionForm, TargetForm, UseForm
from club.season.models import (
    MOST_AT_ONCE,
    SET_HARVEST,
    ClubSummary,
    HouseholdSeason,
    YearlyTarget,
    households_counted,
    households_of,
)
from club.season.presentation import (
    ClubSums,
    club_season,
    club_sums,
    harvest_rows,
    month_words,
    pantry_svg,
    season_of,
    year_of,
)
from inventory.jars.models import RUN, Balance, LidStock
from inventory.jars.services import store_place

HOUSEHOLDS_A_PAGE = 50


def household_for(user: User, pk: int) -> Kitchen:
    """The kitchen whose season this is; 404 for another household's, as for what is not there."""
    return get_object_or_404(households_of(user), pk=pk)


@require_safe
def mine(request: HttpRequest) -> HttpResponse:
    """To one's own season; with several kitchens, or none, a page that says so."""
    user = signed_in(request)
    kitchens = list(households_of(user))
    if len(kitchens) == 1:
        return redirect("desk:season", kitchens[0].pk)
    return render(request, "season/choose.html", {"kitchens": kitchen_words(kitchens), "runs": user.has_perm(RUN)})


@require_safe
def season(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    return render(request, "season/season.html", _season_context(user, household_for(user, pk)))


def _season_context(user: User, kitchen: Kitchen) -> dict[str, Any]:
    now = timezone.now()
    made = season_of(kitchen, now=now, frozen=services.frozen_grams(kitchen), units=user.units)
    months = made.shelf(now)
    # Safe: every text in the picture is escaped where it is drawn.
    picture = mark_safe(pantry_svg(months, title=_("Full jars by month")))
    year = year_of(made, services.Harvests(), club_day(now))
    return {
        "kitchen": kitchen,
        "season": made,
        "year": year,
        "rows": [(row, year.by_key.get(row.target.pk)) for row in made.rows],
        "shopping": made.shopping(user.units),
        "picture": picture,
        "months": [(month_words(month), month) for month in months],
        "settings": HouseholdForm(household=made.reading.household),
        "shelf": [(row, uuid4()) for row in made.shelf_rows],
        "others": households_of(user).exclude(pk=kitchen.pk),
        "runs": user.has_perm(RUN),
    }


@require_http_methods(["GET", "POST"])
def target(request: HttpRequest, pk: int) -> HttpResponse:
    """One more target, or the number of one changed. `?recipe=&jar_size=&jars=` fills the form in."""
    user = signed_in(request)
    kitchen = household_for(user, pk)
    form = TargetForm(request.POST or None, initial=request.GET.dict())
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            services.target_set(by=user, kitchen=kitchen, **form.target())
            return redirect("desk:season", kitchen.pk)
    return render(request, "season/target.html", {"form": form, "kitchen": kitchen})


@require_POST
def target_learn(request: HttpRequest, pk: int) -> HttpResponse:
    """One press: the target becomes what the last twelve months really took."""
    user = signed_in(request)
    one = get_object_or_404(YearlyTarget.objects.visible_to(user).select_related("kitchen", "recipe"), pk=pk)
    row = next(row for row in season_of(one.kitchen, now=timezone.now()).rows if row.target.pk == one.pk)
    if row.learned:
        services.target_recount(by=user, target=one, jars=row.learned)
        messages.success(request, _("%(what)s: %(n)s jars a year.") % {"what": one.title, "n": row.learned})
    return redirect("desk:season", one.kitchen_id)


@require_POST
def target_remove(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    one = get_object_or_404(YearlyTarget.objects.visible_to(user).select_related("kitchen"), pk=pk)
    services.target_remove(by=user, target=one)
    return redirect("desk:season", one.kitchen_id)


@require_POST
def settings(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    kitchen = household_for(user, pk)
    form = HouseholdForm(request.POST, household=HouseholdSeason.objects.of(kitchen))
    if form.is_valid():
        with refusals_on(form):
            services.household_set(by=user, kitchen=kitchen, **form.settings())
            return redirect("desk:season", kitchen.pk)
    return render(request, "season/season.html", {**_season_context(user, kitchen), "settings": form}, status=422)


@require_POST
def used(request: HttpRequest, pk: int) -> HttpResponse:
    """So many jars were opened or given away: one press."""
    user = signed_in(request)
    kitchen = household_for(user, pk)
    form = UseForm(request.POST)
    if form.is_valid():
        data = form.cleaned_data
        with refusals_as_messages(request):
            services.jars_used(
                by=user,
                kitchen=kitchen,
                what=data["what"],
                recipe_id=data["recipe"],
                food=data["food"],
                size=data["size"],
                count=data["count"],
                token=data["token"],
            )
            messages.success(request, _("Written down, the oldest jars first."))
    else:  # the page has no place beside each field
        for sentences in form.errors.values():
            for sentence in sentences:
                messages.error(request, str(sentence))
    if request.POST.get("back") == "pantry":
        return redirect("desk:pantry")
    return redirect("desk:season", kitchen.pk)


@require_safe
def club(request: HttpRequest) -> HttpResponse:
    """What the club orders before the season, for whoever runs its orders."""
    user = signed_in(request)
    if not user.has_perm(RUN):
        raise PermissionDenied
    kitchens = list(households_counted()[: MOST_AT_ONCE + 1])
    kept = ClubSummary.objects.filter(made_at__isnull=False).first() if len(kitchens) > MOST_AT_ONCE else None
    if len(kitchens) > MOST_AT_ONCE and kept is None:
        return render(request, "season/club_later.html")
    store = store_place()
    made = club_season(
        ClubSums.of_json(kept.sums) if kept else club_sums(kitchens, now=timezone.now()),
        made_at=kept.made_at if kept else None,
        units=user.units,
        store_empties={size: there.empty for size, there in Balance.objects.by_place([store])[store.pk].sizes.items()},
        lids_on_hand=LidStock.objects.aggregate(n=Sum("on_hand"))["n"] or 0,
    )
    page = Paginator(made.households, HOUSEHOLDS_A_PAGE).get_page(request.GET.get("page"))
    return render(request, "season/club.html", {"club": made, "page": page})


@require_http_methods(["GET", "POST"])
def harvest(request: HttpRequest) -> HttpResponse:
    """When produce is ripe here, for everybody; an organiser says where the club is."""
    user = signed_in(request)
    may_set = user.has_perm(SET_HARVEST)
    if request.method == "POST" and not may_set:
        raise PermissionDenied
    harvests = services.Harvests()
    form = RegionForm(request.POST or None, chosen=harvests.region.key if harvests.region else "")
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            services.region_set(by=user, **form.cleaned_data)
            return redirect("desk:harvest")
    rows = harvest_rows(harvests, services.weeks_seen(), club_day(timezone.now()))
    context = {
        "region": harvests.region,
        "chosen": harvests.chosen,
        "rows": rows,
        "ripe_now": ", ".join(row.name for row in rows if row.is_now),
        "may_set": may_set,
        "form": form,
    }
    return render(request, "season/harvest.html", context, status=422 if form.errors else 200)


@require_http_methods(["GET", "POST"])
def harvest_weeks(request: HttpRequest) -> HttpResponse:
    """One more line of corrected weeks. `?produce=` fills the form in."""
    user = signed_in(request)
    if not user.has_perm(SET_HARVEST):
        raise PermissionDenied
    harvests = services.Harvests()
    asked = request.GET.get("produce", "")
    row = harvests.corrected.get(asked)
    initial: dict[str, str | int | None] = {"produce": asked}
    if row is not None:
        initial |= {"first_week": row.first_week, "last_week": row.last_week}
    form = HarvestWeeksForm(request.POST or None, initial=initial, produce=services.produce_to_correct(harvests))
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            services.harvest_correct(by=user, **form.cleaned_data)
            messages.success(request, _("Noted, with your name and the day."))
            return redirect("desk:harvest")
    return render(request, "season/harvest_weeks.html", {"form": form}, status=422 if form.errors else 200)
