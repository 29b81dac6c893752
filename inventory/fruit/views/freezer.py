"""The freezer of a household: what lies there, the oldest first, and what can be made of it."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from club.core.http import refusals_on, signed_in
from club.members.models import User
from inventory.fruit.fitting import AtHand, Fit, fits, produce_named, produce_words, revisions_with
from inventory.fruit.freezer_forms import FreezerForm, TakeForm, initial_of
from inventory.fruit.freezer_rules import AT_BEST, MEASURE_RULES, NO_ADDED_SUGAR
from inventory.fruit.models import FreezerItem
from inventory.fruit.services.freezer import club_today, freezer_item_add, freezer_item_change, freezer_item_take

PER_PAGE = 50


def freezer_item_for(user: User, pk: int) -> FreezerItem:
    """The one gate to a lot: 404 for another household's, as for what is not there."""
    return get_object_or_404(FreezerItem.objects.visible_to(user).select_related("kitchen", "put_in_by"), pk=pk)


@require_safe
def freezer(request: HttpRequest) -> HttpResponse:
    items = FreezerItem.objects.visible_to(signed_in(request)).there()
    page = Paginator(items.oldest_first(), PER_PAGE).get_page(request.GET.get("page"))
    today = club_today()
    told = {
        "page": page,
        "rows": [(item, item.keeping, item.age_on(today)) for item in page],
        "total": items.aggregate(grams=Sum("grams_left"))["grams"] or 0,
        "at_best": AT_BEST,
    }
    return render(request, "fruit/freezer.html", told)


@require_http_methods(["GET", "POST"])
def freezer_add(request: HttpRequest) -> HttpResponse:
    user = signed_in(request)
    form = FreezerForm(request.POST or None, user=user, initial={"frozen_on": club_today()})
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            item = freezer_item_add(by=user, fields=form.written(), token=form.cleaned_data["token"])
            messages.success(request, _("On the list: %(what)s.") % {"what": item.what})
            return redirect("fruit:freezer")
    return render(request, "fruit/freezer_form.html", {"form": form, "words": produce_words()})


@require_safe
def freezer_item(request: HttpRequest, pk: int) -> HttpResponse:
    item = freezer_item_for(signed_in(request), pk)
    return _item_page(request, item, TakeForm(item=item))


def _item_page(request: HttpRequest, item: FreezerItem, form: TakeForm) -> HttpResponse:
    told = {
        "item": item,
        "form": form,
        "age": item.age_on(club_today()),
        "takings": item.takings.select_related("by")[:PER_PAGE],
        "fits": [(fit, fit.query(item.kitchen_id)) for fit in _fits(item)],
        "measure_rules": MEASURE_RULES,
        "no_sugar": NO_ADDED_SUGAR,
    }
    return render(request, "fruit/freezer_item.html", told)


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
            taking = freezer_item_take(by=user, item=item, **form.written())
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
            freezer_item_change(by=user, item=item, fields=form.written())
            messages.success(request, _("Written down."))
            return redirect(item)
    return render(request, "fruit/freezer_form.html", {"form": form, "item": item, "words": produce_words()})
