"""The day on a phone: the roll, who sits where, the start of the batches, and what is in the canners."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from club.classes.day_forms import CallForm, CompanionForm, WalkInForm
from club.classes.day_page import roll_of, standing_of, stations_of
from club.classes.models import ClassSession
from club.classes.services import roll_call, stations_day
from club.classes.views.day_asks import cooking_of, run_session, signup_of, station_of
from club.members.models import User
from inventory.equipment.views.asks import refusals_on, refusals_told, signed_in

PEOPLE_OFFERED = 300  # names to choose from; any other can be typed


@require_safe
def day(request: HttpRequest, pk: int) -> HttpResponse:
    return _roll_page(request, run_session(request, pk))


def _roll_page(request: HttpRequest, session: ClassSession, form: WalkInForm | None = None) -> HttpResponse:
    told = {
        "session": session,
        "roll": roll_of(session),
        "form": form or WalkInForm(action=reverse("classes:day-walk-in", args=[session.pk])),
        "people": User.objects.get_queryset().filter(is_active=True).in_order()[:PEOPLE_OFFERED],
    }
    return render(request, "classes/day.html", told)


@require_POST
def call(request: HttpRequest, pk: int, signup_pk: int) -> HttpResponse:
    session = run_session(request, pk)
    signup, form = signup_of(session, signup_pk), CallForm(request.POST)
    if form.is_valid():
        with refusals_told(request):
            roll_call.roll_call(by=signed_in(request), signup=signup, came=form.cleaned_data["came"])
    return _back_to_row(session, signup_pk)


def _back_to_row(session: ClassSession, signup_pk: int) -> HttpResponse:
    """The same line of the list is under the thumb again."""
    return redirect(f"{reverse('classes:day', args=[session.pk])}#signup-{signup_pk}")


@require_POST
def walk_in(request: HttpRequest, pk: int) -> HttpResponse:
    session = run_session(request, pk)
    form = WalkInForm(request.POST, action=request.path)
    if form.is_valid():
        with refusals_on(form):
            signup = roll_call.walk_in_take(by=signed_in(request), session=session, **form.written())
            messages.success(request, _("%(person)s has a seat.") % {"person": signup.person})
            return _back_to_row(session, signup.pk)
    return _roll_page(request, session, form)


@require_POST
def companion(request: HttpRequest, pk: int, signup_pk: int) -> HttpResponse:
    session = run_session(request, pk)
    signup, form = signup_of(session, signup_pk), CompanionForm(request.POST)
    if form.is_valid():
        with refusals_told(request):
            made = roll_call.companion_take(by=signed_in(request), signup=signup, name=form.cleaned_data["name"])
            messages.success(request, _("%(guest)s has a seat.") % {"guest": made.companion})
            if signup.station_id and not made.station_id:
                messages.warning(request, _("Their station has no seat for both: seat them anew."))
    return _back_to_row(session, signup_pk)


@require_POST
def free_seat(request: HttpRequest, pk: int, signup_pk: int) -> HttpResponse:
    session = run_session(request, pk)
    with refusals_told(request):
        roll_call.absent_seat_free(by=signed_in(request), signup=signup_of(session, signup_pk))
        messages.success(request, _("The seat is free."))
    return _back_to_row(session, signup_pk)


@require_safe
def stations(request: HttpRequest, pk: int) -> HttpResponse:
    session, now = run_session(request, pk), timezone.now()
    shown = stations_of(session, signed_in(request), now)
    told = {
        "session": session,
        "stations": shown,
        "standing": standing_of(session),
        "to_start": [one for one in shown if one.batch is None and one.has_somebody],
        "now": now,
    }
    return render(request, "classes/day_stations.html", told)


def _back_to_stations(session: ClassSession, station_pk: int | None = None) -> HttpResponse:
    place = f"#station-{station_pk}" if station_pk else ""
    return redirect(f"{reverse('classes:day-stations', args=[session.pk])}{place}")


@require_POST
def sit(request: HttpRequest, pk: int, signup_pk: int) -> HttpResponse:
    """`station` names the station; empty takes her off hers."""
    session = run_session(request, pk)
    signup, asked = signup_of(session, signup_pk), request.POST.get("station", "")
    station = station_of(session, int(asked)) if asked.isdecimal() and len(asked) < 19 else None
    with refusals_told(request):
        stations_day.signup_sit(by=signed_in(request), signup=signup, station=station)
    return _back_to_stations(session, station.pk if station else None)


@require_POST
def sit_all(request: HttpRequest, pk: int) -> HttpResponse:
    session = run_session(request, pk)
    with refusals_told(request):
        for signup in stations_day.everybody_sit(by=signed_in(request), session=session):
            told = {"person": signup.person, "n": signup.places}
            messages.warning(request, _("No station has %(n)s seats together for %(person)s.") % told)
    return _back_to_stations(session)


@require_POST
def taker(request: HttpRequest, pk: int, signup_pk: int) -> HttpResponse:
    session = run_session(request, pk)
    signup = signup_of(session, signup_pk)
    with refusals_told(request):
        station = station_of(session, signup.station_id or 0)
        stations_day.taker_choose(by=signed_in(request), station=station, signup=signup)
    return _back_to_stations(session, signup.station_id)


@require_POST
def start(request: HttpRequest, pk: int) -> HttpResponse:
    session = run_session(request, pk)
    with refusals_told(request):
        done = stations_day.stations_start(by=signed_in(request), session=session)
        count = len(done.new)
        said = ngettext("%(n)s batch is started.", "%(n)s batches are started.", count)
        messages.success(request, said % {"n": count} if count else _("They were started before."))
    return _back_to_stations(session)


@require_POST
def start_again(request: HttpRequest, pk: int, station_pk: int) -> HttpResponse:
    session = run_session(request, pk)
    station = cooking_of(session, station_pk).station
    with refusals_told(request):
        cooking = stations_day.station_start_again(by=signed_in(request), station=station)
        messages.success(request, _("Batch %(lot)s is started.") % {"lot": cooking.batch.lot_code})
    return _back_to_stations(session, station_pk)


@require_POST
def load(request: HttpRequest, pk: int, station_pk: int, number: int) -> HttpResponse:
    """The minutes of a canner load begin now, or (`take_back`) not yet."""
    session = run_session(request, pk)
    cooking = cooking_of(session, station_pk)
    press = stations_day.load_take_back if "take_back" in request.POST else stations_day.load_begin
    with refusals_told(request):
        press(by=signed_in(request), cooking=cooking, number=number)
    return _back_to_stations(session, station_pk)
