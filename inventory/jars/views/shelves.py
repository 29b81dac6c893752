"""Counting at the shelf: which place, then a box for each kind of jar, then one press."""

from __future__ import annotations

from uuid import uuid4

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from club.core.errors import AlreadyDone
from club.core.http import allow, refusals_on
from club.members.models import Kitchen
from inventory.jars import services
from inventory.jars.forms import ShelfCountForm, ShelfRow
from inventory.jars.models import KEEP, Balance, Place, ShelfCount
from inventory.jars.rules import CHIPPED, EMPTY, FULL, STORE
from recipes.engine.quantities import JAR_SIZES

LATEST = 5
PLACES_SHOWN = 60


@require_GET
def shelves(request: HttpRequest) -> HttpResponse:
    """The store and the halls, the places that hold jars, and what is being counted or was lately."""
    user = allow(request, KEEP)
    halls = Kitchen.objects.filter(is_hall=True).order_by("name")
    known = {place.key: place for place in Place.objects.usable_by(user).in_order()[:PLACES_SHOWN]}
    choices = {STORE: _("club store")} | {f"kitchen-{hall.pk}": hall.name for hall in halls}
    choices |= {key: str(place) for key, place in known.items()}
    under_way: dict[str, list[ShelfCount]] = {}
    for count in ShelfCount.objects.under_way(timezone.now()).select_related("place__kitchen", "place__person"):
        under_way.setdefault(count.place.key, []).append(count)
    context = {
        "places": [(key, name, under_way.get(key, [])) for key, name in choices.items()],
        "latest": ShelfCount.objects.exclude(rows=0).select_related("place__kitchen", "place__person", "by")[:LATEST],
        "token": uuid4(),
    }
    return render(request, "jars/shelves.html", context)


@require_POST
def begin(request: HttpRequest) -> HttpResponse:
    user = allow(request, KEEP)
    key = request.POST.get("place", "")
    if not key:
        messages.error(request, _("Choose the place to count."))
        return redirect("jars:shelves")
    kind, _dash, number = key.partition("-")
    if key != STORE and not (kind in ("kitchen", "member") and number.isascii() and number.isdecimal()):
        raise Http404
    place = Place.objects.usable_by(user).of_key(key).first() if len(number) < 19 else None
    if place is None:
        if key != STORE and not (kind == "kitchen" and Kitchen.objects.filter(is_hall=True, pk=number[:18]).exists()):
            raise Http404
        place = services.place_of_key(key)
    return redirect("jars:shelf-count", services.count_begin(by=user, place=place, token=uuid4()).pk)


def _count_for(pk: int) -> ShelfCount:
    return get_object_or_404(ShelfCount.objects.select_related("place__kitchen", "place__person", "by"), pk=pk)


@require_http_methods(["GET", "POST"])
def shelf_count(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, KEEP)
    count = _count_for(pk)
    form = ShelfCountForm(request.POST or None, rows=_rows(count.place))
    if request.method == "POST" and form.is_valid():
        counted = [services.Counted(row.size, row.state, row.batch_id, many, was) for row, many, was in form.counted()]
        try:
            with refusals_on(form):
                told = {"why": form.cleaned_data["why"], "note": form.cleaned_data["note"]}
                booked = services.count_book(by=user, count=count, counted=counted, **told)
                messages.success(request, _booked_words(booked))
                return redirect(count.place)
        except AlreadyDone as done:
            messages.info(request, str(done))
            return redirect("jars:shelves")
        form.shelf = _rows(count.place)  # what is booked now: the next press is compared with this
    others = ShelfCount.objects.under_way(timezone.now()).filter(place=count.place).exclude(by=user)
    return render(request, "jars/shelf_count.html", {"count": count, "form": form, "others": others})


def _rows(place: Place) -> list[ShelfRow]:
    """What stands there first, by size; then each size that may be found there, empty. One query."""
    there = Balance.objects.there().filter(place=place).select_related("batch").defer("batch__plan")
    states = (EMPTY, FULL, CHIPPED)
    rows = [
        ShelfRow(row.size, row.state, row.count, row.batch_id, row.batch.lot_code if row.batch else "") for row in there
    ]
    rows.sort(key=lambda row: (JAR_SIZES.index(row.size), states.index(row.state), row.lot))
    known = {(row.size, row.state) for row in rows}
    return rows + [ShelfRow(size, EMPTY, 0) for size in JAR_SIZES if (size, EMPTY) not in known]


def _booked_words(count: ShelfCount) -> str:
    if not count.changes:
        return _("Counted: all agrees with the books.")
    text = ngettext(
        "Counted: %(n)s kind of jar differed from the books and is put right.",
        "Counted: %(n)s kinds of jar differed from the books and are put right.",
        count.changes,
    )
    return text % {"n": count.changes}


@require_POST
def drop(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, KEEP)
    try:
        services.count_drop(by=user, count=_count_for(pk))
        messages.success(request, _("The count is given up. Nothing was booked."))
    except AlreadyDone as done:
        messages.info(request, str(done))
    return redirect("jars:shelves")
