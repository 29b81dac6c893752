"""Planning a session, its stations and its gear.

A session is found in one way: 404 for who may not see it, 403 for who sees it and may not run it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from club.classes.choices import SessionState
from club.classes.forms import CallOffForm, MoveForm, NewSessionForm, SessionForm, StationForm
from club.classes.models import PLAN, ClassSession, Station
from club.classes.papers import wall_sheet_pdf
from club.classes.planning import GEAR_RULE, KEPT, GearRequirement, gear_required, plan_of
from club.classes.presentation import jars_to_buy, plan_picture, plan_words, tall_pictures, to_buy
from club.classes.services import gear as services
from club.classes.services import sessions
from club.classes.services.gear import Shelf, shelves
from club.classes.services.sessions import gear_refusals
from club.core.http import refusals_as_messages, refusals_on, signed_in
from club.members.models import User
from inventory.equipment.choices import kind_label
from recipes.choices import JARS


def planner(request: HttpRequest) -> User:
    user = signed_in(request)
    if not user.has_perm(PLAN):
        raise PermissionDenied
    return user


def session_to_run(user: User, pk: int) -> ClassSession:
    """A session of which this person is an instructor, or which they made."""
    session = get_object_or_404(ClassSession.objects.visible_to(user).select_related("hall", "series"), pk=pk)
    if not ClassSession.objects.run_by(user).filter(pk=pk).exists():
        raise PermissionDenied
    return session


def station_to_run(user: User, pk: int, number: int) -> Station:
    """A station of such a session, by its number in the hall."""
    session = session_to_run(user, pk)
    return get_object_or_404(
        Station.objects.select_related("revision__recipe", "session__hall"), session=session, number=number
    )


# What is kept for a session: one press to gather it, one to let it go, and the list of what is still to buy.


@require_safe
def gear(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    session = session_to_run(user, pk)
    plan, there = plan_of(session), shelves(session, timezone.now())
    required, kept = gear_required(plan.hall), list(session.set_aside.select_related("place__kitchen"))
    context = {
        "session": session,
        "required": _words(required),
        "held": session.gear.filter(hold__state__in=KEPT).select_related("hold__thing", "hold__person"),
        "missing": _words(services.gear_missing(session, required)),
        "kept": [(row, _name(row.what, row.key, there)) for row in kept],
        "shopping": [*jars_to_buy(plan.cookable, user.units, kept), *to_buy(plan.cookable, user.units, kept, there)],
        "refusals": [each.refusal for each in gear_refusals(session)],
        "rule": GEAR_RULE,
        "is_open": session.state in (SessionState.DRAFT, SessionState.PUBLISHED),
    }
    return render(request, "classes/gear.html", context)


@require_POST
def gather(request: HttpRequest, pk: int) -> HttpResponse:
    by = signed_in(request)
    session = session_to_run(by, pk)
    with refusals_as_messages(request):
        done = services.gear_gather(by=by, session=session)
        held = ngettext("%(n)s thing is held now.", "%(n)s things are held now.", done.held) % {"n": done.held}
        messages.success(request, held)
        if done.missing:
            messages.warning(request, _("Not to be had for that day: %(things)s.") % {"things": _words(done.missing)})
    return redirect("classes:gear", pk)


@require_POST
def release(request: HttpRequest, pk: int) -> HttpResponse:
    by = signed_in(request)
    session: ClassSession = session_to_run(by, pk)
    with refusals_as_messages(request):
        services.gear_release(by=by, session=session)
        say_free(request, session)
    return redirect("classes:gear", pk)


def say_free(request: HttpRequest, session: ClassSession) -> None:
    """What was held is free, and what is not, since the counter was first."""
    if codes := services.codes_out(session):
        text = _("Handed over already, so not free: %(codes)s. The counter takes them back. All else is free again.")
        messages.warning(request, text % {"codes": ", ".join(codes)})
    else:
        messages.success(request, _("Everything that was kept for it is free again."))


def _words(required: Iterable[GearRequirement]) -> str:
    """ "2 × Preserving pan, 1 × Jar lifter": how many of each kind, in the order of the plan."""
    counts = Counter(piece.kind for piece in required)
    return ", ".join(f"{count} × {kind_label(kind)}" for kind, count in counts.items())


def _name(what: str, key: str, there: Iterable[Shelf]) -> str:
    """What a thing set aside is called."""
    if what == "jar":
        return str(JARS.get(key, key))
    return next((each.name for each in there if (each.what, each.key) == (what, key)), key)


# Planning a session: made, changed, moved, published, called off; and its plan on a page and on the wall.


@require_http_methods(["GET", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """A session, or a series."""
    by = planner(request)
    form = NewSessionForm(request.POST or None, by=by)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            return redirect("classes:plan", _make(request, form).pk)
    return render(request, "classes/new.html", {"form": form})


def _make(request: HttpRequest, form: NewSessionForm) -> ClassSession:
    """The session, or the first one of the series."""
    by, days, token = planner(request), form.days(), form.cleaned_data["token"]
    fields = sessions.SessionFields(**form.written())
    if len(days) == 1:
        return sessions.session_make(by=by, fields=fields, day=days[0], token=token)
    series = sessions.series_make(by=by, fields=fields, days=days, token=token)
    text = ngettext("%(n)s session is planned.", "%(n)s sessions are planned.", len(days))
    messages.success(request, text % {"n": len(days)})
    return series.sessions.all()[0]


@require_safe
def plan(request: HttpRequest, pk: int) -> HttpResponse:
    """What the engine says of the stations, what stands in the way, and what can be done next."""
    user = signed_in(request)
    session = session_to_run(user, pk)
    made, now = plan_of(session), timezone.now()
    is_draft = session.state == "draft"
    refusals = sessions.publish_refusals(made, now) if is_draft else sessions.plan_refusals(made)
    context = {
        "session": session,
        "plan": plan_words(made, user.units, refusals),
        # Safe: they escape every text that they draw.
        "picture": mark_safe(plan_picture(made)),
        "tall_pictures": [(heading, mark_safe(svg)) for heading, svg in tall_pictures(made)],
        "is_draft": is_draft,
        "is_open": session.state in ("draft", "published"),
        "series": session.series.sessions.all() if session.series else [],
        "others": _others(session) if is_draft and not made.stations else [],
    }
    return render(request, "classes/plan.html", context)


def _others(session: ClassSession) -> Any:
    """Sessions of the series that have stations to copy."""
    rows = ClassSession.objects.filter(series__isnull=False, series=session.series_id, stations__isnull=False)
    return rows.exclude(pk=session.pk).distinct()


@require_http_methods(["GET", "POST"])
def change(request: HttpRequest, pk: int) -> HttpResponse:
    by = signed_in(request)
    session = session_to_run(by, pk)
    form = SessionForm(request.POST or None, session=session)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            sessions.session_change(by=by, session=session, **form.changes())
            messages.success(request, _("Saved."))
            return redirect("classes:plan", pk)
    return render(request, "classes/change.html", {"session": session, "form": form, "head": _("Change it")})


@require_http_methods(["GET", "POST"])
def move(request: HttpRequest, pk: int) -> HttpResponse:
    """Other hours, with everything that is held for it."""
    by = signed_in(request)
    session = session_to_run(by, pk)
    form = MoveForm(request.POST or None, session=session)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            sessions.session_move(by=by, session=session, **form.cleaned_data)
            messages.success(request, _("It is moved, and what is held for it as well."))
            return redirect("classes:plan", pk)
    return render(request, "classes/change.html", {"session": session, "form": form, "head": _("Move it")})


@require_http_methods(["GET", "POST"])
def call_off(request: HttpRequest, pk: int) -> HttpResponse:
    by = signed_in(request)
    session = session_to_run(by, pk)
    form = CallOffForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            sessions.session_cancel(by=by, session=session, reason=form.cleaned_data["reason"])
            messages.success(request, _("It is called off."))
            say_free(request, session)
            return redirect("classes:plan", pk)
    return render(request, "classes/change.html", {"session": session, "form": form, "head": _("Call it off")})


@require_POST
def publish(request: HttpRequest, pk: int) -> HttpResponse:
    """Refusals stand on the plan page anyway: back there, with a word."""
    by = signed_in(request)
    session = session_to_run(by, pk)
    with refusals_as_messages(request):
        try:
            sessions.session_publish(by=by, session=session)
            messages.success(request, _("It is published: people can sign up."))
        except sessions.PlanRefused:
            messages.error(request, _("Not published. Below is everything that stands in the way."))
    return redirect("classes:plan", pk)


@require_http_methods(["GET", "POST"])
def station_add(request: HttpRequest, pk: int) -> HttpResponse:
    """The form is filled in like the last station: stations of a class are often alike."""
    by = signed_in(request)
    session = session_to_run(by, pk)
    last = session.stations.order_by("-number").first()
    form = StationForm(request.POST or None, station=last)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            station = sessions.station_add(by=by, session=session, fields=sessions.StationFields(**form.cleaned_data))
            messages.success(request, _("Station %(n)s is there.") % {"n": station.number})
            return redirect("classes:plan", pk)
    return render(request, "classes/change.html", {"session": session, "form": form, "head": _("Add a station")})


@require_http_methods(["GET", "POST"])
def station_change(request: HttpRequest, pk: int, number: int) -> HttpResponse:
    by = signed_in(request)
    station = station_to_run(by, pk, number)
    form = StationForm(request.POST or None, station=station)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            sessions.station_change(by=by, station=station, fields=sessions.StationFields(**form.cleaned_data))
            messages.success(request, _("Saved."))
            return redirect("classes:plan", pk)
    head = _("Station %(n)s") % {"n": number}
    return render(request, "classes/change.html", {"session": station.session, "form": form, "head": head})


@require_POST
def station_remove(request: HttpRequest, pk: int, number: int) -> HttpResponse:
    by = signed_in(request)
    with refusals_as_messages(request):
        sessions.station_remove(by=by, station=station_to_run(by, pk, number))
    return redirect("classes:plan", pk)


@require_POST
def stations_copy(request: HttpRequest, pk: int, source: int) -> HttpResponse:
    by = signed_in(request)
    session = session_to_run(by, pk)
    other = get_object_or_404(ClassSession.objects.visible_to(by), pk=source)
    with refusals_as_messages(request):
        sessions.stations_copy(by=by, source=other, target=session)
    return redirect("classes:plan", pk)


@require_safe
def wall_sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """Big letters on A4 for the wall: a page for the hall and one for each station."""
    user = signed_in(request)
    session = session_to_run(user, pk)
    made = plan_of(session)
    data = wall_sheet_pdf(made, plan_words(made, user.units, sessions.plan_refusals(made)))
    named = f'inline; filename="wall-{session.day:%Y-%m-%d}.pdf"'
    return HttpResponse(data, "application/pdf", headers={"Content-Disposition": named})
