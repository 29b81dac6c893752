"""Calendars, holds, the waiting line and the counter."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_date
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from club.core.clock import club_day
from club.core.http import allow, refusals_as_messages, refusals_on, signed_in
from club.core.money import money_words
from inventory.equipment import services
from inventory.equipment.choices import Condition, Kind
from inventory.equipment.forms import (
    DepositForm,
    ExtendForm,
    HandOverForm,
    HoldForm,
    TakeBackForm,
    WaitForm,
    deposit_written,
    hand_over_initial,
)
from inventory.equipment.models import KEEP, Hold, Loan, Thing, WaitingEntry, with_status
from inventory.equipment.presentation import day_words, kind_month, month_asked, span_words, thing_month
from inventory.equipment.rules import code_scanned
from inventory.equipment.services.common import skill_lacks
from inventory.equipment.views.things import FIELDS, hold_for, kind_for, loan_for, thing_for, wait_for

# Calendars, holds and waiting lines.

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
        with refusals_on(form, FIELDS):
            made = services.hold_place(by=user, thing=thing, **form.written())
            params = {"code": thing.code, "when": span_words(made.span)}
            messages.success(request, _("%(code)s is held: %(when)s.") % params)
            return redirect("equipment:mine")
    page = {"thing": thing, "form": form, "lacks_skill": skill_lacks(thing, user)}
    return render(request, "equipment/hold.html", page)


@require_safe
def kind_page(request: HttpRequest, kind: str) -> HttpResponse:
    """All of a kind: the month, the things, and the line for when none is free."""
    user, today = signed_in(request), club_day(timezone.now())
    return render(request, "equipment/kind.html", _kind_context(request, kind_for(kind), user, today, None))


def _kind_context(request: HttpRequest, kind: Kind, user: Any, today: date, form: WaitForm | None) -> dict[str, Any]:
    things = Thing.objects.visible_to(user).filter(kind=kind).order_by("code").with_status(today)[:THINGS_SHOWN]
    line = WaitingEntry.objects.in_line().filter(kind=kind)
    asked = {"days": 3, "not_before": today, "not_after": today + timedelta(days=30)}
    return {
        "kind": kind,
        "month": kind_month(kind, month_asked(request.GET.get("month", ""), today), today=today),
        "hold_url": reverse("equipment:kind-hold", args=[kind.value]),
        "things": with_status(things, today),
        "waiting": [entry.person_id == user.pk for entry in line.only("person_id")],
        "form": form or WaitForm(action=reverse("equipment:wait", args=[kind.value]), initial=asked),
    }


@require_http_methods(["GET", "POST"])
def kind_hold(request: HttpRequest, kind: str) -> HttpResponse:
    user, chosen = signed_in(request), kind_for(kind)
    form = HoldForm(request.POST or None, by=user, initial=_days_asked(request))
    if request.method == "POST" and form.is_valid():
        with refusals_on(form, FIELDS):
            made = services.hold_place_first_free(by=user, kind=chosen.value, **form.written())
            params = {"code": made.thing.code, "when": span_words(made.span)}
            messages.success(request, _("%(code)s is held: %(when)s.") % params)
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
    with refusals_as_messages(request):
        services.hold_cancel(by=user, hold=hold_for(user, pk))
        messages.success(request, _("Cancelled. Thank you for freeing the days."))
    return redirect("equipment:mine")


@require_POST
def wait(request: HttpRequest, kind: str) -> HttpResponse:
    user, chosen = signed_in(request), kind_for(kind)
    form = WaitForm(request.POST, action="")
    if form.is_valid():
        with refusals_on(form, FIELDS):
            entry = services.waiting_join(by=user, kind=chosen.value, **form.cleaned_data)
            if entry.offer_until:
                messages.success(request, _("One is free: it is offered to you for a day. Take it or leave it here."))
            else:
                messages.success(request, _("You are in the line. You get a mail when one is free for you."))
            return redirect("equipment:mine")
    context = _kind_context(request, chosen, user, club_day(timezone.now()), form)
    return render(request, "equipment/kind.html", context)


@require_POST
def wait_answer(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    entry = wait_for(user, pk)
    with refusals_as_messages(request):
        if request.POST.get("answer") == "take":
            services.waiting_accept(by=user, entry=entry)
            messages.success(request, _("It is held for you."))
        else:
            services.waiting_leave(by=user, entry=entry)
            messages.success(request, _("You left the line."))
    return redirect("equipment:mine")


# The counter, what is overdue, and what one has oneself.

PER_PAGE = 30
USUAL_LOAN = timedelta(days=7)
TO_COLLECT = 30
TO_CHOOSE = 20


@require_safe
def counter(request: HttpRequest) -> HttpResponse:
    """A code, part of a name, or who has it; then the one thing that can be done with what that means."""
    by, today = allow(request, KEEP), club_day(timezone.now())
    asked = code_scanned(request.GET.get("code", "").replace("\0", ""))[:60]
    thing = Thing.objects.visible_to(by).coded(asked).first()
    if thing is not None:
        return _counter_for(request, thing)
    words = asked.strip()
    found = with_status(Thing.objects.visible_to(by).at_counter(words, today).with_status(today)[:TO_CHOOSE], today)
    found = found if words else []
    if len(found) == 1:
        return _counter_for(request, found[0])
    waits = Hold.objects.to_collect(today).filter(starts__lte=today).select_related("thing", "person")
    context = {
        "asked": asked,
        "found": _with_who(found, today),
        "is_unknown": bool(asked) and not found,
        "to_collect": [] if found else waits[:TO_COLLECT],
        "deposits": [] if found else Loan.objects.deposit_open().with_names()[:TO_COLLECT],
    }
    return render(request, "equipment/counter.html", context, status=404 if asked and not found else 200)


def _with_who(things: list[Thing], today: date) -> list[Thing]:
    """Each with who has it, else who collects it next. Two queries, however many."""
    if things:
        holds = Hold.objects.to_collect(today).filter(thing__in=things).select_related("person").order_by("-starts")
        who = {hold.thing_id: hold.person for hold in holds}
        who |= {loan.thing_id: loan.person for loan in Loan.objects.open().filter(thing__in=things).with_names()}
        for thing in things:
            thing.who = who.get(thing.pk)  # type: ignore[attr-defined]
    return things


def _counter_for(request: HttpRequest, thing: Thing, form: Any = None) -> HttpResponse:
    """The page of one thing at the counter: to take back when it is out, else to hand over. A form of the other kind,
    sent while somebody else took it out or back, gives way to the one that fits."""
    today = club_day(timezone.now())
    loan = Loan.objects.open().filter(thing=thing).with_names().first()
    [row] = with_status(Thing.objects.filter(pk=thing.pk).with_status(today), today)
    context: dict[str, Any] = {"thing": thing, "loan": loan, "status": row.status}  # type: ignore[attr-defined]
    context["missing_parts"] = row.missing_parts  # type: ignore[attr-defined]
    waits = list(Hold.objects.filter(thing=thing).to_collect(today).select_related("person")[:5])
    if loan is not None:
        context["form"] = form if isinstance(form, TakeBackForm) else TakeBackForm(loan=loan)
        context["next_hold"] = waits[0] if waits else None
    else:
        due = waits[0] if waits and waits[0].starts <= today else None
        latest = services.latest_due(thing, due.person if due else None, today)
        context["latest_due"] = latest if latest and latest >= today else None
        lapses_on = row.test_lapses_on  # type: ignore[attr-defined]
        ends = [today + USUAL_LOAN, latest, lapses_on - timedelta(days=1) if lapses_on else None]
        usual = hand_over_initial(thing, due, max(today, min(day for day in ends if day)))
        parts = thing.facts.parts
        context["form"] = form if isinstance(form, HandOverForm) else HandOverForm(initial=usual, parts=parts)
        context["holds"] = waits
    return render(request, "equipment/counter_thing.html", context)


@require_POST
def hand_over(request: HttpRequest, code: str) -> HttpResponse:
    by = allow(request, KEEP)
    thing = thing_for(by, code)
    form = HandOverForm(request.POST, parts=thing.facts.parts)
    if form.is_valid():
        try:
            with refusals_on(form, FIELDS):
                loan = services.loan_hand_over(by=by, thing=thing, **form.written())
                params = {"code": thing.code, "person": loan.person, "day": day_words(loan.due_on)}
                messages.success(request, _("%(code)s goes to %(person)s, due back %(day)s.") % params)
                return redirect("equipment:counter")
        except services.AlreadyDone as done:
            messages.info(request, str(done))
            return redirect("equipment:counter")
    return _counter_for(request, thing, form)


@require_POST
def take_back(request: HttpRequest, code: str) -> HttpResponse:
    by = allow(request, KEEP)
    thing = thing_for(by, code)
    loans = Loan.objects.filter(thing=thing).select_related("thing", "hold", "person")
    loan = loans.filter(return_token=_token(request)).first() or loans.open().first()
    if loan is None:
        if _token(request) is None:
            return _counter_for(request, thing)
        messages.info(request, _("%(code)s is here already.") % {"code": thing.code})
        return redirect("equipment:counter")
    form = TakeBackForm(request.POST, loan=loan)
    if form.is_valid():
        try:
            with refusals_on(form, FIELDS):
                loan = services.loan_return(by=by, loan=loan, **form.written())
                _say_returned(request, loan)
                return redirect("equipment:counter")
        except services.AlreadyDone as done:
            messages.info(request, str(done))
            return redirect("equipment:counter")
    return _counter_for(request, thing, form)


def _token(request: HttpRequest) -> UUID | None:
    try:
        return UUID(request.POST.get("token", ""))
    except ValueError:
        return None


def _say_returned(request: HttpRequest, loan: Loan) -> None:
    params = {"code": loan.thing.code, "person": loan.person}
    messages.success(request, _("%(code)s is back from %(person)s.") % params)
    if loan.deposit_cents and loan.deposit_settled_at is None:
        sum_words = money_words(loan.deposit_cents)
        text = _("A deposit of %(sum)s was taken: it is on the counter's list until it is settled.")
        messages.info(request, text % {"sum": sum_words})
    if loan.condition_in == Condition.BROKEN:
        messages.warning(request, _("%(code)s is in repair until you say that it is mended.") % params)
    if loan.missing_parts:
        params["parts"] = loan.missing_parts
        messages.warning(request, _("%(code)s stays in until the missing part is settled: %(parts)s.") % params)


@require_http_methods(["GET", "POST"])
def deposit(request: HttpRequest, pk: int) -> HttpResponse:
    """What became of the deposit of a loan that is back."""
    by = allow(request, KEEP)
    loan = get_object_or_404(Loan.objects.exclude(returned_at=None).filter(deposit_cents__gt=0).with_names(), pk=pk)
    form = DepositForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        said = deposit_written(loan, form.cleaned_data)
        try:
            with refusals_on(form, FIELDS):
                services.loan_deposit_settle(
                    by=by, loan=loan, back_cents=said["deposit_back_cents"], note=said.get("deposit_note", "")
                )
                messages.success(request, _("The deposit of %(code)s is settled.") % {"code": loan.thing.code})
                return redirect("equipment:counter")
        except services.AlreadyDone as done:
            messages.info(request, str(done))
            return redirect("equipment:counter")
    return render(request, "equipment/deposit.html", {"loan": loan, "form": form})


@require_safe
def overdue(request: HttpRequest) -> HttpResponse:
    allow(request, KEEP)
    today = club_day(timezone.now())
    page = Paginator(Loan.objects.overdue(today).with_names(), PER_PAGE).get_page(request.GET.get("page"))
    for loan in page:
        loan.days_late = (today - loan.due_on).days  # type: ignore[attr-defined]
    return render(request, "equipment/overdue.html", {"page": page})


@require_safe
def mine(request: HttpRequest) -> HttpResponse:
    """What one has, holds and waits for."""
    user, today = signed_in(request), club_day(timezone.now())
    loans = list(Loan.objects.open().filter(person=user).select_related("thing").order_by("due_on", "pk"))
    for loan in loans:
        loan.is_late = loan.due_on < today  # type: ignore[attr-defined]
    holds = Hold.objects.to_collect(today).filter(person=user).select_related("thing").order_by("starts", "pk")
    context = {
        "loans": loans,
        "holds": [hold for hold in holds if hold.state == "held"],
        "waits": WaitingEntry.objects.in_line().filter(person=user).select_related("hold__thing"),
        "past": Loan.objects.filter(person=user, returned_at__isnull=False).select_related("thing")[:10],
    }
    return render(request, "equipment/mine.html", context)


@require_http_methods(["GET", "POST"])
def extend(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    loan = loan_for(user, pk)
    form = ExtendForm(request.POST or None, initial={"due_on": loan.due_on + timedelta(days=3)})
    if request.method == "POST" and form.is_valid():
        try:
            with refusals_on(form, FIELDS):
                services.loan_extend(by=user, loan=loan, due_on=form.cleaned_data["due_on"])
                params = {"code": loan.thing.code, "day": day_words(loan.due_on)}
                messages.success(request, _("%(code)s may be kept until %(day)s.") % params)
                return redirect("equipment:mine")
        except services.AlreadyDone as done:
            messages.info(request, str(done))
            return redirect("equipment:mine")
    return render(request, "equipment/extend.html", {"loan": loan, "form": form})
