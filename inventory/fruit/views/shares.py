"""Sharing out, how it was shared, what becomes of a share, and the season's ledger."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from club.core.clock import club_day
from club.core.http import signed_in
from inventory.fruit import services
from inventory.fruit.ledger import season_of_person, season_rows
from inventory.fruit.offer_page import result_told
from inventory.fruit.offer_queries import RUN
from inventory.fruit.rules import season_of
from inventory.fruit.views.offer_asks import offer_for, offer_run_by, share_for

PER_PAGE = 50
MOST_DIGITS = 9
NOTES: dict[str, Callable[..., None]] = {
    "picked-up": services.share_note_picked_up,
    "missed": services.share_note_missed,
    "give-back": services.share_give_back,
}


@require_POST
def share_out(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    offer = offer_run_by(user, pk)
    try:
        services.offer_share_out(by=user, offer=offer)
        messages.success(request, _("Shared out. Everybody who claimed is told."))
    except services.AlreadyDone as done:
        messages.info(request, str(done))
        return redirect(offer)
    return redirect("fruit:result", pk=offer.pk)


@require_POST
def share_again(request: HttpRequest, pk: int) -> HttpResponse:
    """The page says after which round: two presses are one."""
    user = signed_in(request)
    offer = offer_run_by(user, pk)
    after = request.POST.get("after", "")
    try:
        known = int(after) if after.isdecimal() and len(after) <= MOST_DIGITS else -1
        services.offer_share_again(by=user, offer=offer, after_round=known)
        messages.success(request, _("What was left is shared out again."))
    except services.AlreadyDone as done:
        messages.info(request, str(done))
    return redirect("fruit:result", pk=offer.pk)


@require_safe
def result(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    offer = offer_for(user, pk)
    runs = offer.giver_id == user.pk or user.has_perm(RUN)
    return render(request, "fruit/result.html", {"offer": offer, "rounds": result_told(offer, user), "runs": runs})


@require_POST
def note(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    share = share_for(user, pk)
    noted = NOTES.get(request.POST.get("what", ""))
    try:
        if noted is not None:
            noted(by=user, share=share)
            messages.success(request, _("Written down."))
    except services.AlreadyDone as done:
        messages.info(request, str(done))
    return redirect(share.offer)


@require_safe
def season(request: HttpRequest) -> HttpResponse:
    """Everybody's season to organisers, one's own to everybody."""
    user, now = signed_in(request), timezone.now()
    year = season_of(club_day(now))
    told = {"year": year, "own": season_of_person(user, year)}
    if user.has_perm(RUN):
        told["page"] = Paginator(season_rows(year), PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "fruit/season.html", told)
