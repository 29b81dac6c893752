"""Labels and the register sheet as PDF, and the page to key the sheet in afterwards."""

from __future__ import annotations

from datetime import timedelta

from django.conf import settings
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_safe

from club.members.models import User
from inventory.equipment import services
from inventory.equipment.codes import code_key
from inventory.equipment.kinds import Kind
from inventory.equipment.models import Loan, Thing
from inventory.equipment.printing import Label, SheetLine, labels_pdf, sheet_pdf
from inventory.equipment.queries import club_day
from inventory.equipment.sheet_forms import SheetToken, sheet_forms
from inventory.equipment.views.asks import keeper
from inventory.equipment.views.things import register
from inventory.equipment.words import ThingState

A_PART = 240  # ten pages of labels: some two seconds, nearly all of it choosing the clearest pattern of squares
MOST_LINES = 1200
PEOPLE_OFFERED = 300


@require_safe
def papers(request: HttpRequest) -> HttpResponse:
    keeper(request)
    count = Thing.objects.exclude(state=ThingState.RETIRED).count()
    return render(request, "equipment/papers.html", {"kinds": Kind.choices, "parts": range(1, -(-count // A_PART) + 1)})


def pdf(data: bytes, name: str) -> HttpResponse:
    return HttpResponse(data, "application/pdf", headers={"Content-Disposition": f'inline; filename="{name}"'})


@require_safe
def labels(request: HttpRequest) -> HttpResponse:
    """Of all things, of one kind, or of the codes named in the address; so many at a time."""
    things, _asked = register(request, keeper(request))
    codes = [one.strip() for one in request.GET.get("codes", "").replace(",", " ").split()][:A_PART]
    if codes:
        things = Thing.objects.filter(code_key__in=[code_key(code) for code in codes]).order_by("code")
    made = [
        Label(thing.code, thing.name, settings.CLUB_NAME, settings.SITE_URL + thing.get_absolute_url())
        for thing in Paginator(things, A_PART).get_page(request.GET.get("part"))
    ]
    return pdf(labels_pdf(made, paper=request.GET.get("paper", "")), "labels.pdf")


@require_safe
def sheet(request: HttpRequest) -> HttpResponse:
    things, _asked = register(request, keeper(request))
    out = {loan.thing_id: loan for loan in Loan.objects.open().select_related("person")}
    lines = []
    for thing in things[:MOST_LINES]:
        loan = out.get(thing.pk)
        told = (str(loan.person), f"{loan.due_on:%m-%d}") if loan else ("", "")
        lines.append(SheetLine(thing.code, thing.name, thing.place, *told))
    today = club_day(timezone.now())
    data = sheet_pdf(lines, paper=request.GET.get("paper", ""), club=settings.CLUB_NAME, printed=today)
    return pdf(data, "register-sheet.pdf")


@require_http_methods(["GET", "POST"])
def key_in(request: HttpRequest) -> HttpResponse:
    """Ten lines of the paper sheet at a time."""
    by, today = keeper(request), club_day(timezone.now())
    token = SheetToken(request.POST or None)
    rows = sheet_forms(request.POST or None, initial={"on": today, "due_on": today + timedelta(days=7)})
    problems = [row.errors for row in rows]  # of every line, so that all of them are told at once
    if request.method == "POST" and token.is_valid() and not any(problems):
        filled = [row for row in rows if row.is_filled]
        try:
            told = [row.written() for row in filled]
            loans = services.sheet_key_in(by=by, rows=told, token=token.cleaned_data["token"])
            text = ngettext("%(n)s line is written down.", "%(n)s lines are written down.", len(loans))
            messages.success(request, text % {"n": len(loans)})
            return redirect("equipment:list")
        except services.SheetRefused as refused:
            for place, sentences in refused.rows.items():
                filled[place].add_error(None, sentences)
            messages.error(request, _("Nothing was written down: mend the lines below first."))
    people = User.objects.get_queryset().filter(is_active=True).in_order()[:PEOPLE_OFFERED]
    return render(request, "equipment/key_in.html", {"token": token, "rows": rows, "people": people})
