"""When the day is over: closing the session, its pictures, and each student's handout."""

from __future__ import annotations

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from club.classes.day_forms import LearnedForm, OwnNoteForm, SessionPhotoForm
from club.classes.day_page import roll_of, stations_of
from club.classes.handout import handout_of
from club.classes.handout_pdf import handout_pdf
from club.classes.models import ClassSession, SessionPhoto, SessionReport, SignUp
from club.classes.services import afterwards
from club.classes.views.day_asks import handout_signup, photo_for, run_session
from club.classes.words import SessionState
from inventory.equipment.views.asks import refusals_on, signed_in


@require_http_methods(["GET", "POST"])
def after(request: HttpRequest, pk: int) -> HttpResponse:
    """Close the session; once it is closed, write anew what was learned."""
    session, user = run_session(request, pk), signed_in(request)
    report = SessionReport.objects.filter(session=session).first()
    save = afterwards.learned_change if report else afterwards.session_close
    submit = _("Keep it") if report else _("Close the session")
    form = LearnedForm(request.POST or None, submit=submit, initial={"learned": report.learned if report else ""})
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            save(by=user, session=session, learned=form.cleaned_data["learned"])
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
    told = {
        "session": session,
        "is_held": session.state == SessionState.HELD,
        "report": report,
        "roll": roll_of(session),
        "stations": stations_of(session, signed_in(request), timezone.now()),
        "photos": session.photos.defer("jpeg"),
        "form": form or LearnedForm(submit=_("Keep it"), initial={"learned": report.learned if report else ""}),
        "photo_form": photo_form or SessionPhotoForm(action=reverse("classes:photo-add", args=[session.pk])),
    }
    return render(request, "classes/after.html", told)


@require_POST
def photo_add(request: HttpRequest, pk: int) -> HttpResponse:
    session = run_session(request, pk)
    form = SessionPhotoForm(request.POST, request.FILES, action=request.path)
    if form.is_valid():
        told = dict(form.cleaned_data)
        with refusals_on(form):
            afterwards.photo_add(by=signed_in(request), session=session, file=told.pop("photo"), **told)
            return redirect("classes:after", session.pk)
    return _after_page(request, session, photo_form=form)


@require_POST
def photo_remove(request: HttpRequest, pk: int, photo_pk: int) -> HttpResponse:
    session = run_session(request, pk)
    photo = get_object_or_404(SessionPhoto.objects.filter(session=session).select_related("session"), pk=photo_pk)
    afterwards.photo_remove(by=signed_in(request), photo=photo)
    return redirect("classes:after", session.pk)


@require_safe
def photo(request: HttpRequest, pk: int) -> HttpResponse:
    response = HttpResponse(bytes(photo_for(request, pk).jpeg), content_type="image/jpeg")
    response["Cache-Control"] = "private, max-age=3600"
    return response


@require_http_methods(["GET", "POST"])
def handout(request: HttpRequest, pk: int) -> HttpResponse:
    """The handout; whose it is keeps a note beside it."""
    signup, user = handout_signup(request, pk), signed_in(request)
    note = getattr(signup, "own_note", None)
    form = OwnNoteForm(request.POST or None, action=request.path, initial={"text": note.text if note else ""})
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            afterwards.own_note_write(by=user, signup=signup, text=form.cleaned_data["text"])
            messages.success(request, _("Written down."))
            return redirect("classes:handout", signup.pk)
    return _handout_page(request, signup, form)


def _handout_page(request: HttpRequest, signup: SignUp, form: OwnNoteForm) -> HttpResponse:
    told = {
        "signup": signup,
        "session": signup.session,
        "handout": handout_of(signup),
        "report": getattr(signup.session, "report", None),
        "photos": signup.session.photos.defer("jpeg"),
        "is_hers": signup.person_id == signed_in(request).pk,
        "form": form,
    }
    return render(request, "classes/handout.html", told)


@require_safe
def handout_paper(request: HttpRequest, pk: int) -> HttpResponse:
    made = handout_of(handout_signup(request, pk))
    if made is None:
        raise Http404
    pdf = handout_pdf(made, club=settings.CLUB_NAME, paper=request.GET.get("paper", ""))
    name = f"handout-{made.batch.lot_code}.pdf"
    disposition = {"Content-Disposition": f'inline; filename="{name}"', "Cache-Control": "private, no-store"}
    return HttpResponse(pdf, content_type="application/pdf", headers=disposition)
