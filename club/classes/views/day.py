"""The day's pages: the roll, the stations, what is written afterwards, and handouts."""

from __future__ import annotations

from django.conf import settings
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db.models import Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from club.classes.choices import SessionState
from club.classes.forms import CallForm, CompanionForm, LearnedForm, OwnNoteForm, SessionPhotoForm, WalkInForm
from club.classes.models import ClassSession, SessionPhoto, SessionReport, SignUp, Station, StationBatch
from club.classes.papers import handout_pdf
from club.classes.presentation import board_of, handout_of, roll_of, stations_of, without_station
from club.classes.services import day as services_day
from club.core.http import picture, refusals_as_messages, refusals_on, signed_in

SHOWN_WITH_A_HANDOUT = (
    "person",
    "session__hall",
    "session__report",
    "own_note",
    "station__cooking__batch__revision__recipe",
    "station__cooking__batch__kitchen",
    "station__cooking__batch__made_by",
)


def run_session(request: HttpRequest, pk: int) -> ClassSession:
    """404 for a session that is not there for this person, 403 for one that others run."""
    user = signed_in(request)
    seen = ClassSession.objects.visible_to(user).exclude(state=SessionState.DRAFT)
    session = get_object_or_404(seen.select_related("hall"), pk=pk)
    if not ClassSession.objects.run_by(user).filter(pk=pk).exists():
        raise PermissionDenied
    return session


def signup_of(session: ClassSession, pk: int) -> SignUp:
    return get_object_or_404(SignUp.objects.filter(session=session).select_related("person", "session"), pk=pk)


def station_of(session: ClassSession, pk: int) -> Station:
    return get_object_or_404(Station.objects.filter(session=session), pk=pk)


def cooking_of(session: ClassSession, pk: int) -> StationBatch:
    cooking = StationBatch.objects.select_related("batch", "station__session")
    return get_object_or_404(cooking, station=station_of(session, pk))


def handout_signup(request: HttpRequest, pk: int) -> SignUp:
    """404 for anybody but the student and the session's instructors."""
    signups = SignUp.objects.handouts_for(signed_in(request))
    return get_object_or_404(signups.select_related(*SHOWN_WITH_A_HANDOUT), pk=pk)


def photo_for(request: HttpRequest, pk: int) -> SessionPhoto:
    """For those who were there and who run the session; 404 for others."""
    user = signed_in(request)
    was_there = Q(session__in=SignUp.objects.came().of(user).values("session"))
    runs = Q(session__in=ClassSession.objects.run_by(user).values("pk"))
    return get_object_or_404(SessionPhoto.objects.filter(was_there | runs), pk=pk)


# The day on a phone: the roll, who sits where, the start of the batches, and what is in the canners.


@require_safe
def day(request: HttpRequest, pk: int) -> HttpResponse:
    return _roll_page(request, run_session(request, pk))


def _roll_page(request: HttpRequest, session: ClassSession, form: WalkInForm | None = None) -> HttpResponse:
    context = {
        "session": session,
        "roll": roll_of(session),
        "form": form or WalkInForm(action=reverse("classes:day-walk-in", args=[session.pk])),
    }
    return render(request, "classes/day.html", context)


@require_POST
def call(request: HttpRequest, pk: int, signup_pk: int) -> HttpResponse:
    session = run_session(request, pk)
    signup, form = signup_of(session, signup_pk), CallForm(request.POST)
    if form.is_valid():
        with refusals_as_messages(request):
            services_day.roll_call(by=signed_in(request), signup=signup, came=form.cleaned_data["came"])
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
            signup = services_day.walk_in_take(by=signed_in(request), session=session, **form.written())
            messages.success(request, _("%(person)s has a seat.") % {"person": signup.person})
            return _back_to_row(session, signup.pk)
    return _roll_page(request, session, form)


@require_POST
def companion(request: HttpRequest, pk: int, signup_pk: int) -> HttpResponse:
    session = run_session(request, pk)
    signup, form = signup_of(session, signup_pk), CompanionForm(request.POST)
    if form.is_valid():
        with refusals_as_messages(request):
            made = services_day.companion_take(by=signed_in(request), signup=signup, name=form.cleaned_data["name"])
            messages.success(request, _("%(guest)s has a seat.") % {"guest": made.companion})
            if signup.station_id and not made.station_id:
                messages.warning(request, _("Their station has no seat for both: seat them anew."))
    return _back_to_row(session, signup_pk)


@require_POST
def free_seat(request: HttpRequest, pk: int, signup_pk: int) -> HttpResponse:
    session = run_session(request, pk)
    with refusals_as_messages(request):
        services_day.absent_seat_free(by=signed_in(request), signup=signup_of(session, signup_pk))
        messages.success(request, _("The seat is free."))
    return _back_to_row(session, signup_pk)


@require_safe
def stations(request: HttpRequest, pk: int) -> HttpResponse:
    session, now = run_session(request, pk), timezone.now()
    shown = stations_of(session, signed_in(request), now)
    to_start = [one for one in shown if one.batch is None and one.has_somebody]
    context = {
        "session": session,
        "stations": shown,
        "without_station": without_station(session),
        "to_start": to_start,
        # Where one alone came, the jars are theirs; of several somebody has to be chosen before anything is started.
        "undecided": [one for one in to_start if one.taker is None and sum(bool(each.came) for each in one.people) > 1],
        "now": now,
    }
    return render(request, "classes/day_stations.html", context)


@require_safe
def board(request: HttpRequest, pk: int) -> HttpResponse:
    """All stations at a glance, by what runs out next; a script asks again while it is looked at."""
    session, now = run_session(request, pk), timezone.now()
    shown = board_of(session, signed_in(request).units)
    return render(request, "classes/day_board.html", {"session": session, "stations": shown, "now": now})


def _back_to_stations(session: ClassSession, station_pk: int | None = None) -> HttpResponse:
    place = f"#station-{station_pk}" if station_pk else ""
    return redirect(f"{reverse('classes:day-stations', args=[session.pk])}{place}")


@require_POST
def sit(request: HttpRequest, pk: int, signup_pk: int) -> HttpResponse:
    """`station` names the station; empty takes the party off theirs."""
    session = run_session(request, pk)
    signup, asked = signup_of(session, signup_pk), request.POST.get("station", "")
    station = station_of(session, int(asked)) if asked.isdecimal() and len(asked) < 19 else None
    with refusals_as_messages(request):
        services_day.signup_sit(by=signed_in(request), signup=signup, station=station)
    return _back_to_stations(session, station.pk if station else None)


@require_POST
def sit_all(request: HttpRequest, pk: int) -> HttpResponse:
    session = run_session(request, pk)
    with refusals_as_messages(request):
        for signup in services_day.everybody_sit(by=signed_in(request), session=session):
            params = {"person": signup.person, "n": signup.places}
            messages.warning(request, _("No station has %(n)s seats together for %(person)s.") % params)
    return _back_to_stations(session)


@require_POST
def taker(request: HttpRequest, pk: int, signup_pk: int) -> HttpResponse:
    session = run_session(request, pk)
    signup = signup_of(session, signup_pk)
    with refusals_as_messages(request):
        station = station_of(session, signup.station_id or 0)
        services_day.taker_choose(by=signed_in(request), station=station, signup=signup)
    return _back_to_stations(session, signup.station_id)


@require_POST
def start(request: HttpRequest, pk: int) -> HttpResponse:
    session = run_session(request, pk)
    with refusals_as_messages(request):
        done = services_day.stations_start(by=signed_in(request), session=session)
        count = len(done.new)
        said = ngettext("%(n)s batch is started.", "%(n)s batches are started.", count)
        messages.success(request, said % {"n": count} if count else _("They were started before."))
    return _back_to_stations(session)


@require_POST
def start_again(request: HttpRequest, pk: int, station_pk: int) -> HttpResponse:
    session = run_session(request, pk)
    station = cooking_of(session, station_pk).station
    with refusals_as_messages(request):
        cooking = services_day.station_start_again(by=signed_in(request), station=station)
        messages.success(request, _("Batch %(lot)s is started.") % {"lot": cooking.batch.lot_code})
    return _back_to_stations(session, station_pk)


@require_POST
def load(request: HttpRequest, pk: int, station_pk: int, number: int) -> HttpResponse:
    """The minutes of a canner load begin now, or (`take_back`) not yet."""
    session = run_session(request, pk)
    cooking = cooking_of(session, station_pk)
    press = services_day.load_take_back if "take_back" in request.POST else services_day.load_begin
    with refusals_as_messages(request):
        press(by=signed_in(request), cooking=cooking, number=number)
    return _back_to_stations(session, station_pk)


# When the day is over: closing the session, its pictures, and each student's handout.


@require_http_methods(["GET", "POST"])
def after(request: HttpRequest, pk: int) -> HttpResponse:
    """Close the session; once it is closed, write anew what was learned."""
    session, user = run_session(request, pk), signed_in(request)
    report = SessionReport.objects.filter(session=session).first()
    cooking = services_day.codes_of(services_day.still_cooking(session)) if report is None else ""
    submit = _("Keep it") if report else _("Close the session")
    learned = {"learned": report.learned if report else ""}
    form = LearnedForm(request.POST or None, submit=submit, cooking=cooking, initial=learned)
    if request.method == "POST" and form.is_valid():
        told = {"by": user, "session": session, "learned": form.cleaned_data["learned"]}
        with refusals_on(form):
            if report:
                services_day.learned_change(**told)
            else:
                services_day.session_close(**told, agreed_to=form.agreed_to)
            messages.success(request, _("Written down.") if report else _("The session is closed. Thanks go out."))
            return redirect("classes:after", session.pk)
    return _after_page(request, session, form=form)


def _after_page(
    request: HttpRequest,
    session: ClassSession,
    *,
    form: LearnedForm | None = None,
    photo_form: SessionPhotoForm | None = None,
) -> HttpResponse:
    report = SessionReport.objects.filter(session=session).first()
    context = {
        "session": session,
        "is_held": session.state == SessionState.HELD,
        "report": report,
        "roll": roll_of(session),
        "stations": stations_of(session, signed_in(request), timezone.now()),
        "photos": session.photos.defer("jpeg"),
        "cooking": services_day.still_cooking(session) if report is None else [],
        "form": form or LearnedForm(submit=_("Keep it"), initial={"learned": report.learned if report else ""}),
        "photo_form": photo_form or SessionPhotoForm(action=reverse("classes:photo-add", args=[session.pk])),
    }
    return render(request, "classes/after.html", context)


@require_POST
def photo_add(request: HttpRequest, pk: int) -> HttpResponse:
    session = run_session(request, pk)
    form = SessionPhotoForm(request.POST, request.FILES, action=request.path)
    if form.is_valid():
        data = dict(form.cleaned_data)
        with refusals_on(form):
            services_day.photo_add(by=signed_in(request), session=session, file=data.pop("photo"), **data)
            return redirect("classes:after", session.pk)
    return _after_page(request, session, photo_form=form)


@require_POST
def photo_remove(request: HttpRequest, pk: int, photo_pk: int) -> HttpResponse:
    session = run_session(request, pk)
    photo = get_object_or_404(SessionPhoto.objects.filter(session=session).select_related("session"), pk=photo_pk)
    services_day.photo_remove(by=signed_in(request), photo=photo)
    return redirect("classes:after", session.pk)


@require_safe
def photo(request: HttpRequest, pk: int) -> HttpResponse:
    return picture(photo_for(request, pk).jpeg, kept_for=3600)


@require_http_methods(["GET", "POST"])
def handout(request: HttpRequest, pk: int) -> HttpResponse:
    """The handout; whose it is keeps a note beside it."""
    signup, user = handout_signup(request, pk), signed_in(request)
    note = getattr(signup, "own_note", None)
    form = OwnNoteForm(request.POST or None, action=request.path, initial={"text": note.text if note else ""})
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            services_day.own_note_write(by=user, signup=signup, text=form.cleaned_data["text"])
            messages.success(request, _("Written down."))
            return redirect("classes:handout", signup.pk)
    return _handout_page(request, signup, form)


def _handout_page(request: HttpRequest, signup: SignUp, form: OwnNoteForm) -> HttpResponse:
    context = {
        "signup": signup,
        "session": signup.session,
        "handout": handout_of(signup),
        "report": getattr(signup.session, "report", None),
        "photos": signup.session.photos.defer("jpeg"),
        "is_hers": signup.person_id == signed_in(request).pk,
        "form": form,
    }
    return render(request, "classes/handout.html", context)


@require_safe
def handout_paper(request: HttpRequest, pk: int) -> HttpResponse:
    made = handout_of(handout_signup(request, pk))
    if made is None:
        raise Http404
    pdf = handout_pdf(made, club=settings.CLUB_NAME, paper=request.GET.get("paper", ""))
    name = f"handout-{made.batch.lot_code}.pdf"
    disposition = {"Content-Disposition": f'inline; filename="{name}"', "Cache-Control": "private, no-store"}
    return HttpResponse(pdf, content_type="application/pdf", headers=disposition)
