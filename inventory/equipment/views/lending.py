"""The counter, what is overdue, and what one has oneself."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from club.core.money import money_words
from club.members.models import User
from inventory.equipment import services
from inventory.equipment.codes import code_scanned
from inventory.equipment.lending_forms import ExtendForm, HandOverForm, TakeBackForm, hand_over_initial
from inventory.equipment.models import Hold, Loan, Thing, WaitingEntry
from inventory.equipment.queries import club_day
from inventory.equipment.services.common import day_words
from inventory.equipment.standing import with_standing
from inventory.equipment.views.asks import keeper, loan_for, refusals_on, signed_in, thing_for
from inventory.equipment.words import Condition

PER_PAGE = 30
USUAL_LOAN = timedelta(days=7)
PEOPLE_OFFERED = 300  # names to choose from; any other can be typed
TO_COLLECT = 30


@require_safe
def counter(request: HttpRequest) -> HttpResponse:
    """Type or scan a code; then the one thing that can be done with what it names."""
    by, today = keeper(request), club_day(timezone.now())
    asked = code_scanned(request.GET.get("code", "").replace("\0", ""))[:60]
    thing = Thing.objects.visible_to(by).coded(asked).first()
    if thing is not None:
        return _counter_for(request, thing)
    waits = Hold.objects.standing(today).filter(starts__lte=today).select_related("thing", "person")
    told = {"asked": asked, "is_unknown": bool(asked), "to_collect": waits[:TO_COLLECT]}
    return render(request, "equipment/counter.html", told, status=404 if asked else 200)


def _counter_for(request: HttpRequest, thing: Thing, form: Any = None) -> HttpResponse:
    """The page of one thing at the counter: to take back when it is out, else to hand over. A form of the other kind,
    sent while somebody else took it out or back, gives way to the one that fits."""
    today = club_day(timezone.now())
    loan = Loan.objects.open().filter(thing=thing).with_names().first()
    [row] = with_standing(Thing.objects.filter(pk=thing.pk).with_standing(today), today)
    told: dict[str, Any] = {"thing": thing, "loan": loan, "standing": row.standing}  # type: ignore[attr-defined]
    told["missing_parts"] = row.missing_parts  # type: ignore[attr-defined]
    waits = list(Hold.objects.filter(thing=thing).standing(today).select_related("person")[:5])
    if loan is not None:
        noted = {"missing_parts": loan.missing_parts}
        told["form"] = form if isinstance(form, TakeBackForm) else TakeBackForm(initial=noted)
        told["next_hold"] = waits[0] if waits else None
    else:
        due = waits[0] if waits and waits[0].starts <= today else None
        usual = hand_over_initial(thing, due, today + USUAL_LOAN)
        told["form"] = form if isinstance(form, HandOverForm) else HandOverForm(initial=usual)
        told["holds"] = waits
        told["people"] = User.objects.get_queryset().filter(is_active=True).in_order()[:PEOPLE_OFFERED]
    return render(request, "equipment/counter_thing.html", told)


@require_POST
def hand_over(request: HttpRequest, code: str) -> HttpResponse:
    by = keeper(request)
    thing = thing_for(by, code)
    form = HandOverForm(request.POST)
    if form.is_valid():
        try:
            with refusals_on(form):
                loan = services.loan_hand_over(by=by, thing=thing, **form.written())
                told = {"code": thing.code, "person": loan.person, "day": day_words(loan.due_on)}
                messages.success(request, _("%(code)s goes to %(person)s, due back %(day)s.") % told)
                return redirect("equipment:counter")
        except services.AlreadyDone as done:
            messages.info(request, str(done))
            return redirect("equipment:counter")
    return _counter_for(request, thing, form)


@require_POST
def take_back(request: HttpRequest, code: str) -> HttpResponse:
    by = keeper(request)
    thing = thing_for(by, code)
    form = TakeBackForm(request.POST)
    if form.is_valid():
        token = form.cleaned_data["token"]
        loans = Loan.objects.filter(thing=thing).select_related("thing", "hold", "person")
        loan = loans.filter(return_token=token).first() or loans.open().first()
        if loan is None:
            messages.info(request, _("%(code)s is here already.") % {"code": thing.code})
            return redirect("equipment:counter")
        try:
            with refusals_on(form):
                loan = services.loan_return(by=by, loan=loan, **form.written())
                _say_returned(request, loan)
                return redirect("equipment:counter")
        except services.AlreadyDone as done:
            messages.info(request, str(done))
            return redirect("equipment:counter")
    return _counter_for(request, thing, form)


def _say_returned(request: HttpRequest, loan: Loan) -> None:
    told = {"code": loan.thing.code, "person": loan.person}
    messages.success(request, _("%(code)s is back from %(person)s.") % told)
    if loan.deposit_cents:
        sum_words = money_words(loan.deposit_cents)
        messages.info(request, _("A deposit of %(sum)s was taken: settle it now.") % {"sum": sum_words})
    if loan.condition_in == Condition.BROKEN:
        messages.warning(request, _("%(code)s is in repair until you say that it is mended.") % told)
    if loan.missing_parts:
        told["parts"] = loan.missing_parts
        messages.warning(request, _("%(code)s stays in until the missing part is settled: %(parts)s.") % told)


@require_safe
def overdue(request: HttpRequest) -> HttpResponse:
    keeper(request)
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
    holds = Hold.objects.standing(today).filter(person=user).select_related("thing").order_by("starts", "pk")
    told = {
        "loans": loans,
        "holds": [hold for hold in holds if hold.state == "held"],
        "waits": WaitingEntry.objects.in_line().filter(person=user).select_related("hold__thing"),
        "past": Loan.objects.filter(person=user, returned_at__isnull=False).select_related("thing")[:10],
    }
    return render(request, "equipment/mine.html", told)


@require_http_methods(["GET", "POST"])
def extend(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    loan = loan_for(user, pk)
    form = ExtendForm(request.POST or None, initial={"due_on": loan.due_on + timedelta(days=3)})
    if request.method == "POST" and form.is_valid():
        try:
            with refusals_on(form):
                services.loan_extend(by=user, loan=loan, due_on=form.cleaned_data["due_on"])
                told = {"code": loan.thing.code, "day": day_words(loan.due_on)}
                messages.success(request, _("%(code)s may be kept until %(day)s.") % told)
                return redirect("equipment:mine")
        except services.AlreadyDone as done:
            messages.info(request, str(done))
            return redirect("equipment:mine")
    return render(request, "equipment/extend.html", {"loan": loan, "form": form})
