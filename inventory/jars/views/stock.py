"""Lids on hand and supplies: what is low, what is used first, what came in and went."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.forms import Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from club.core.clock import club_day
from club.core.http import refusals_on, signed_in
from inventory.jars import services
from inventory.jars.choices import LidReason
from inventory.jars.forms import CorrectForm, LidsForm, SpoilForm, SupplyBuyForm, SupplyForm, SupplyTakeForm
from inventory.jars.models import KEEP, KitchenStock, LidLot, LidMovement, Supply, SupplyLot, SupplyMovement, is_low
from inventory.jars.rules import is_past
from inventory.jars.views.ledger import keeper
from recipes.engine import RULES

PER_PAGE = 30
AT_HOME = 100
LATEST = 10


@require_http_methods(["GET", "POST"])
def lids(request: HttpRequest) -> HttpResponse:
    user = keeper(request)
    form = LidsForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        with refusals_on(form):
            lot = services.lid_lot_get_or_add(by=user, code=data["code"], maker=data["maker"])
            reason = LidReason.BOUGHT if data["what"] == "buy" else LidReason.SPOILT
            moved = {name: data[name] for name in ("count", "token", "note")}
            services.lids_move(by=user, reason=reason, lot=lot, **moved)
            messages.success(request, _("Written down."))
            return redirect("jars:lids")
    page = Paginator(LidLot.objects.select_related("stock"), PER_PAGE).get_page(request.GET.get("page"))
    latest = LidMovement.objects.select_related("lot", "by", "batch", "corrected_by").defer("batch__plan")[:LATEST]
    return render(request, "jars/lids.html", {"form": form, "page": page, "latest": latest})


@require_http_methods(["GET", "POST"])
def lids_correct(request: HttpRequest, pk: int) -> HttpResponse:
    user = keeper(request)
    movement = get_object_or_404(LidMovement.objects.select_related("lot", "by"), pk=pk)
    form = CorrectForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            services.lids_correct(by=user, movement=movement, **form.cleaned_data)
            messages.success(request, _("The correction is written. The first movement stays to be seen."))
            return redirect("jars:lids")
    context = {"form": form, "what": movement.lot, "written": movement.count, "movement": movement}
    return render(request, "jars/correct_count.html", context)


@require_http_methods(["GET", "POST"])
def supplies(request: HttpRequest) -> HttpResponse:
    """Everybody may look; who keeps the ledger may add a kind."""
    user = keeper(request) if request.method == "POST" else signed_in(request)
    form = SupplyForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            return redirect(services.supply_add(by=user, **form.cleaned_data))
    today = club_day()
    page = Paginator(Supply.objects.kept().with_counts(today).in_order(), PER_PAGE).get_page(request.GET.get("page"))
    first: dict[int, SupplyLot] = {}
    for lot in SupplyLot.objects.there().filter(supply__in=list(page)).use_first():
        if not is_past(lot.use_by, today):
            first.setdefault(lot.supply_id, lot)
    context = {
        "form": form,
        "page": page,
        "rows": [(supply, first.get(supply.pk), is_low(supply)) for supply in page],
        "at_home": list(KitchenStock.objects.at_home_with(user)[:AT_HOME]),
        "keeps": user.has_perm(KEEP),
    }
    return render(request, "jars/supplies.html", context)


@require_http_methods(["GET", "POST"])
def supply(request: HttpRequest, pk: int) -> HttpResponse:
    """One supply: its lots in the order of use. The button pressed says which of the two forms was sent."""
    user = keeper(request) if request.method == "POST" else signed_in(request)
    today = club_day()
    one = get_object_or_404(Supply.objects.kept().with_counts(today), pk=pk)
    buys = request.method == "POST" and request.POST.get("form") == "buy"
    uses = request.method == "POST" and not buys
    buy = SupplyBuyForm(request.POST if buys else None, is_vinegar=one.is_vinegar, prefix="buy")
    take = SupplyTakeForm(request.POST if uses else None, prefix="use")
    form: Form = buy if buys else take
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            if buys:
                services.supply_buy(by=user, supply=one, **buy.written())
            else:
                services.supply_use(by=user, supply=one, **take.cleaned_data)
            messages.success(request, _("Written down."))
            return redirect(one)
    of_the_store = SupplyMovement.objects.filter(lot__supply=one, kitchen=None)
    latest = of_the_store.select_related("lot", "by", "corrected_by", "batch").defer("batch__plan")
    lots = Paginator(one.lots.there().use_first(), PER_PAGE).get_page(request.GET.get("page"))
    called_back = set(SupplyLot.objects.called_back().filter(supply=one).values_list("pk", flat=True))
    context = {
        "supply": one,
        "buy": buy,
        "take": take,
        "page": lots,
        "rows": [(lot, is_past(lot.use_by, today), lot.is_weak, lot.pk in called_back) for lot in lots],
        "is_low": is_low(one),
        "latest": latest[:LATEST],
        "vinegar_rule": RULES["VINEGAR-MIN"],
        "keeps": user.has_perm(KEEP),
    }
    return render(request, "jars/supply.html", context)


@require_http_methods(["GET", "POST"])
def spoil(request: HttpRequest, pk: int) -> HttpResponse:
    user = keeper(request)
    lot = get_object_or_404(SupplyLot.objects.select_related("supply"), pk=pk)
    form = SpoilForm(request.POST or None, initial={"count": lot.count})
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            services.supply_spoil(by=user, lot=lot, **form.cleaned_data)
            messages.success(request, _("Written down."))
            return redirect(lot.supply)
    return render(request, "jars/spoil.html", {"form": form, "lot": lot})


@require_http_methods(["GET", "POST"])
def supply_correct(request: HttpRequest, pk: int) -> HttpResponse:
    user = keeper(request)
    of_the_store = SupplyMovement.objects.filter(kitchen=None)
    movement = get_object_or_404(of_the_store.select_related("lot__supply", "by"), pk=pk)
    form = CorrectForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            services.supply_correct(by=user, movement=movement, **form.cleaned_data)
            messages.success(request, _("The correction is written. The first movement stays to be seen."))
            return redirect(movement.lot.supply)
    context = {"form": form, "what": movement.lot.supply, "written": abs(movement.change), "movement": movement}
    return render(request, "jars/correct_count.html", context)
