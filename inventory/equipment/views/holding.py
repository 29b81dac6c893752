"""Calendars, holds and waiting lines."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_date
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.equipment import services
from inventory.equipment.kinds import Kind
from inventory.equipment.lending_forms import HoldForm, WaitForm
from inventory.equipment.models import Thing, WaitingEntry
from inventory.equipment.months import kind_month, month_asked, thing_month
from inventory.equipment.queries import club_day
from inventory.equipment.services.common import span_words
from inventory.equipment.services.skills import skill_lacks
from inventory.equipment.standing import with_standing
from inventory.equipment.views.asks import (
    hold_for,
    kind_for,
    refusals_on,
    refusals_told,
    signed_in,
    thing_for,
    wait_for,
)

A_WEEKEND = timedelta(days=2)
THINGS_SHOWN = 60


@require_safe
def calendar(request: HttpRequest, code: str) -> HttpResponse:
    user, today = signed_in(request), club_day(timezone.now())
    thing = thing_for(user, code)
    month = thing_month(thing, month_asked(request.GET.get("month", ""), today), today=today, viewer=user)
    hold_url = reverse("equipment:hold", args=[thing.code])
    return render(request, "equipment/calendar.html", {"thing": thing, "month": month, "hold_url": hold_url})


@require_http_methods(["GET", "POST"])
def hold(request: HttpRequest, code: str) -> HttpResponse:
    user = signed_in(request)
    thing = thing_for(user, code)
    form = HoldForm(request.POST or None, by=user, initial=_days_asked(request))
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            made = services.hold_place(by=user, thing=thing, **form.written())
            told = {"code": thing.code, "when": span_words(made.span)}
            messages.success(request, _("%(code)s is held: %(when)s.") % told)
            return redirect("equipment:mine")
    page = {"thing": thing, "form": form, "lacks_skill": skill_lacks(thing, user)}
    return render(request, "equipment/hold.html", page)


@require_safe
def kind_page(request: HttpRequest, kind: str) -> HttpResponse:
    """All of a kind: the month, the things, and the line for when none is free."""
    user, today = signed_in(request), club_day(timezone.now())
    return render(request, "equipment/kind.html", _kind_told(request, kind_for(kind), user, today, None))


def _kind_told(request: HttpRequest, kind: Kind, user: Any, today: date, form: WaitForm | None) -> dict[str, Any]:
    things = Thing.objects.visible_to(user).filter(kind=kind).order_by("code").with_standing(today)[:THINGS_SHOWN]
    line = WaitingEntry.objects.in_line().filter(kind=kind)
    asked = {"days": 3, "not_before": today, "not_after": today + timedelta(days=30)}
    return {
        "kind": kind,
        "month": kind_month(kind, month_asked(request.GET.get("month", ""), today), today=today),
        "hold_url": reverse("equipment:kind-hold", args=[kind.value]),
        "things": with_standing(things, today),
        "waiting": [entry.person_id == user.pk for entry in line.only("person_id")],
        "form": form or WaitForm(action=reverse("equipment:wait", args=[kind.value]), initial=asked),
    }


@require_http_methods(["GET", "POST"])
def kind_hold(request: HttpRequest, kind: str) -> HttpResponse:
    user, chosen = signed_in(request), kind_for(kind)
    form = HoldForm(request.POST or None, by=user, initial=_days_asked(request))
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            made = services.hold_place_first_free(by=user, kind=chosen.value, **form.written())
            told = {"code": made.thing.code, "when": span_words(made.span)}
            messages.success(request, _("%(code)s is held: %(when)s.") % told)
            return redirect("equipment:mine")
    return render(request, "equipment/hold.html", {"kind": chosen, "form": form})


def _days_asked(request: HttpRequest) -> dict[str, date]:
    """The day that was pressed in a calendar, and two more; else from today."""
    try:
        first = parse_date(request.GET.get("starts", ""))
    except ValueError:
        first = None
    first = first or club_day(timezone.now())
    return {"starts": first, "ends": first + A_WEEKEND if first.year < 9999 else first}


@require_POST
def hold_cancel(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    with refusals_told(request):
        services.hold_cancel(by=user, hold=hold_for(user, pk))
        messages.success(request, _("Cancelled. Thank you for freeing the days."))
    return redirect("equipment:mine")


@require_POST
def wait(request: HttpRequest, kind: str) -> HttpResponse:
    user, chosen = signed_in(request), kind_for(kind)
    form = WaitForm(request.POST, action="")
    if form.is_valid():
        with refusals_on(form):
            entry = services.waiting_join(by=user, kind=chosen.value, **form.cleaned_data)
            if entry.offer_until:
                messages.success(request, _("One is free: it is offered to you for a day. Take it or leave it here."))
            else:
                messages.success(request, _("You are in the line. You get a mail when one is free for you."))
            return redirect("equipment:mine")
    told = _kind_told(request, chosen, user, club_day(timezone.now()), form)
    return render(request, "equipment/kind.html", told)


@require_POST
def wait_answer(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    entry = wait_for(user, pk)
    with refusals_told(request):
        if request.POST.get("answer") == "take":
            services.waiting_accept(by=user, entry=entry)
            messages.success(request, _("It is held for you."))
        else:
            services.waiting_leave(by=user, entry=entry)
            messages.success(request, _("You left the line."))
    return redirect("equipment:mine")
