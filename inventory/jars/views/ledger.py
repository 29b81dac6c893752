"""Looking at the ledger: what stands where, one place, every movement, and deposits."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from inventory.jars.forms import REASONS_OFFERED
from inventory.jars.models import Balance, Deposit, Movement, Place, Supply, SupplyLot
from inventory.jars.queries import KEEP
from inventory.jars.services.supplies import club_day
from inventory.jars.views.asks import before_asked, keeper, place_for, signed_in
from inventory.jars.words import PlaceKind
from recipes.engine.quantities import JAR_SIZES

PER_PAGE = 30
KINDS = {"places": (PlaceKind.STORE, PlaceKind.KITCHEN), "members": (PlaceKind.MEMBER,)}


@require_GET
def home(request: HttpRequest) -> HttpResponse:
    """Jars by place or by member: all of them for who keeps the ledger, one's own for everybody else."""
    user = signed_in(request)
    keeps = user.has_perm(KEEP)
    show = request.GET.get("show", "")
    show = show if show in KINDS else "places"
    places = Place.objects.usable_by(user).in_order()
    page = Paginator(places.filter(kind__in=KINDS[show]) if keeps else places, PER_PAGE).get_page(
        request.GET.get("page")
    )
    counts = Balance.objects.by_place(list(page))
    told: dict[str, Any] = {
        "page": page,
        "rows": [(place, counts[place.pk]) for place in page],
        "totals": Balance.objects.totals() if keeps else None,
        "show": show,
        "keeps": keeps,
        "reasons": REASONS_OFFERED,
        "today": club_day(),
    }
    if keeps:
        told |= {
            "low": list(Supply.objects.exclude(low_since=None)),
            "past": SupplyLot.objects.past(club_day()).count(),
        }
    return render(request, "jars/home.html", told)


@require_GET
def place(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    place = place_for(user, pk)
    there = Balance.objects.there().filter(place=place).select_related("batch").defer("batch__plan")
    lots = Paginator(there.filter(batch__isnull=False).order_by("-batch", "size"), PER_PAGE)
    movements = Movement.objects.at_place(place, before=before_asked(request), limit=PER_PAGE + 1)
    told = {
        "place": place,
        "counts": Balance.objects.by_place([place])[place.pk],
        "lots": lots.get_page(request.GET.get("page")),
        "deposits": list(Deposit.objects.open().filter(person=place.person)) if place.person else [],
        "movements": movements[:PER_PAGE],
        "next_before": movements[PER_PAGE - 1].pk if len(movements) > PER_PAGE else None,
        "keeps": user.has_perm(KEEP),
        "may_correct": {movement.pk for movement in movements if movement.by_id == user.pk or user.has_perm(KEEP)},
        "reasons": REASONS_OFFERED,
        "sizes": JAR_SIZES,
    }
    return render(request, "jars/place.html", told)


@require_GET
def movements(request: HttpRequest) -> HttpResponse:
    """Every movement, the latest first; by key, so that each page costs the same in a ledger of a million."""
    keeper(request)
    rows = list(Movement.objects.for_list().before(before_asked(request))[: PER_PAGE + 1])
    told = {
        "movements": rows[:PER_PAGE],
        "next_before": rows[PER_PAGE - 1].pk if len(rows) > PER_PAGE else None,
        "may_correct": {movement.pk for movement in rows},
    }
    return render(request, "jars/movements.html", told)


@require_GET
def deposits(request: HttpRequest) -> HttpResponse:
    """Who has jars under deposit, of which size, and what the club holds for them."""
    user = signed_in(request)
    if not (user.has_perm(KEEP) or user.has_perm("batches.add_batch")):
        raise PermissionDenied
    held = Deposit.objects.open()
    page = Paginator(held if user.has_perm(KEEP) else held.filter(person=user), PER_PAGE).get_page(
        request.GET.get("page")
    )
    return render(request, "jars/deposits.html", {"page": page, "keeps": user.has_perm(KEEP), "now": timezone.now()})
