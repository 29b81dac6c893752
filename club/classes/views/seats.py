"""Coming sessions, one session with its seats, and what one is signed up for."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from club.classes.choices import SessionState
from club.classes.forms import NotesForm, SignUpForm
from club.classes.models import PLAN, ClassSession, SignUp, teachers_of, unread_by
from club.classes.presentation import my_signups, session_context
from club.classes.services import seats
from club.classes.services.seats import signup_for_token
from club.core.errors import AlreadyDone
from club.core.http import refusals_as_messages, refusals_on, signed_in
from club.core.sealing import Unreadable
from club.members.models import User

PER_PAGE = 20
DRAFTS_SHOWN = 30


@require_safe
def session_list(request: HttpRequest) -> HttpResponse:
    user, now = signed_in(request), timezone.now()
    coming = ClassSession.objects.visible_to(user).coming(now).for_list().with_line(user)
    page = Paginator(coming.order_by("starts_at", "pk"), PER_PAGE).get_page(request.GET.get("page"))
    for session in page:
        session.is_open = session.signup_is_open(now)  # type: ignore[attr-defined]
    drafts = ClassSession.objects.run_by(user).filter(state=SessionState.DRAFT)[:DRAFTS_SHOWN]
    return render(request, "classes/list.html", {"page": page, "plans": user.has_perm(PLAN), "drafts": drafts})


@require_safe
def session_page(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    session = session_for(user, pk)
    return render(request, "classes/session.html", session_context(session, user, sign_up_form(session)))


@require_POST
def sign_up(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    session = session_for(user, pk)
    form = sign_up_form(session, request.POST)
    if form.is_valid():
        try:
            with refusals_on(form):
                made = seats.signup_place(by=user, session=session, **form.written())
                _say_signed_up(request, made)
                return redirect(session)
        except AlreadyDone as done:
            messages.info(request, str(done))
            return redirect(session)
    return render(request, "classes/session.html", session_context(session, user, form))


def session_for(user: User, pk: int) -> ClassSession:
    return get_object_or_404(ClassSession.objects.visible_to(user).for_list().with_line(user), pk=pk)


def sign_up_form(session: ClassSession, data: Any = None) -> SignUpForm:
    teachers = [person for person in session.instructors.all() if person.is_active]
    return SignUpForm(data, action=reverse("classes:sign-up", args=[session.pk]), teachers=teachers)


def _say_signed_up(request: HttpRequest, made: SignUp) -> None:
    if made.is_seated:
        messages.success(request, _("You have a seat. A mail on the evening before says what to bring."))
    else:
        messages.success(request, _("You are in the waiting line. You get a mail when a seat is offered to you."))


@require_safe
def mine(request: HttpRequest) -> HttpResponse:
    return render(request, "classes/mine.html", my_signups(signed_in(request), timezone.now()))


@require_http_methods(["GET", "POST"])
def notes(request: HttpRequest, pk: int) -> HttpResponse:
    """What one wrote to the instructors: one's own alone."""
    user = signed_in(request)
    signup = get_object_or_404(SignUp.objects.of(user).open().select_related("session"), pk=pk)
    teachers = teachers_of(signup.session)
    form = NotesForm(request.POST or None, signup=signup, teachers=teachers)
    if request.method == "POST" and form.is_valid():
        try:
            with refusals_on(form):
                seats.signup_note(by=user, signup=signup, **form.cleaned_data)
                messages.success(request, _("Saved."))
                return redirect(signup.session)
        except AlreadyDone as done:
            messages.info(request, str(done))
            return redirect(signup.session)
    context = {
        "signup": signup,
        "session": signup.session,
        "form": form,
        "teachers": teachers,
        "unread_by": unread_by(signup),
        "unreadable": signup.needs if isinstance(signup.needs, Unreadable) else "",
    }
    return render(request, "classes/notes.html", context)


@require_POST
def answer(request: HttpRequest, pk: int) -> HttpResponse:
    """Take an offered seat, give one up, or come alone."""
    user = signed_in(request)
    signup = get_object_or_404(SignUp.objects.visible_to(user).select_related("session", "person"), pk=pk)
    with refusals_as_messages(request):
        _act(request, user, signup)
    return redirect(signup.session)


def _act(request: HttpRequest, user: User, signup: SignUp) -> None:
    asked = request.POST.get("answer")
    if asked == "take":
        seats.seat_accept(by=user, signup=signup)
        messages.success(request, _("The seat is yours."))
    elif asked == "alone":
        seats.signup_come_alone(by=user, signup=signup)
        messages.success(request, _("You come alone. Thank you for freeing the place."))
    elif asked == "leave":
        seats.signup_cancel(by=user, signup=signup)
        who = {"person": signup.person}
        theirs = _("%(person)s is not signed up any more.") % who
        messages.success(request, _("You are not signed up any more.") if user.pk == signup.person_id else theirs)


# The page behind the link in a mail: one sign-up, and a button. It signs nobody in; opening it changes nothing.


@login_not_required
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def by_mail(request: HttpRequest, token: str) -> HttpResponse:
    signup = signup_for_token(token)
    if signup is None:
        raise Http404
    refused = ""
    if request.method == "POST":
        refused = _answered(signup, request.POST.get("answer", ""))
        if not refused:
            return redirect("classes:by-mail", token)
        signup.refresh_from_db(fields=["state", "offer_until"])
    context = {"signup": signup, "session": signup.session, "refused": refused}
    context["has_begun"] = signup.session.starts_at <= timezone.now()
    return render(request, "classes/by_mail.html", context, status=409 if refused else 200)


def _answered(signup: SignUp, answer: str) -> str:
    """Do what was asked in the name of whoever the mail went to; why not, in words, where it is refused."""
    try:
        if answer == "take":
            seats.seat_accept(by=signup.person, signup=signup)
        elif answer == "leave":
            seats.signup_cancel(by=signup.person, signup=signup)
        else:
            return _("Press one of the buttons.")
    except ValidationError as error:
        return " ".join(error.messages)
    except AlreadyDone as done:
        return str(done)
    return ""
