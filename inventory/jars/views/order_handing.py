"""Handing out: one member's bill with what she paid, the pick-up list on a page and as a file."""

from __future__ import annotations

from collections.abc import Iterator
from uuid import uuid4

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from club.core.money import money_text
from club.members.models import User
from inventory.jars import services
from inventory.jars.bill_words import bill_rows, signed_money
from inventory.jars.models import ClubOrder
from inventory.jars.order_forms import PaymentForm
from inventory.jars.order_queries import RUN, MemberSum, lines_left, member_sums, wishes_of
from inventory.jars.sheets import csv_lines
from inventory.jars.views.asks import refusals_on, signed_in
from inventory.jars.views.orders import order_for, runner, tell_refusal


@require_safe
def bill(request: HttpRequest, pk: int, member: int) -> HttpResponse:
    """One's own bill; every bill for who runs the order."""
    user = signed_in(request)
    one = order_for(user, pk)
    row = sum_for(user, one, member)
    return render(request, "jars/order_bill.html", bill_told(user, one, row, PaymentForm(initial=_owed(row))))


def sum_for(user: User, one: ClubOrder, member: int) -> MemberSum:
    """404 for another's bill, as for a bill that is not there."""
    if member != user.pk and not user.has_perm(RUN):
        raise Http404
    wishes = wishes_of(one)
    found = [row for row in member_sums(one, wishes) if row.member.pk == member]
    if not found:
        raise Http404
    return found[0]


def _owed(row: MemberSum) -> dict[str, object]:
    """The form as it mostly is filled in: all that is owed, or all that is to be given back."""
    return {"cents": money_text(abs(row.owed_cents)), "is_back": row.owed_cents < 0}


def bill_told(user: User, one: ClubOrder, row: MemberSum, form: PaymentForm) -> dict[str, object]:
    return {
        "order": one,
        "row": row,
        "bill_rows": bill_rows(one, row.bill),
        "payments": list(one.payments.filter(member=row.member).select_related("by").order_by("pk")),
        "form": form,
        "runs": user.has_perm(RUN),
    }


@require_POST
def paid(request: HttpRequest, pk: int, member: int) -> HttpResponse:
    user = runner(request)
    one = order_for(user, pk)
    row = sum_for(user, one, member)
    form = PaymentForm(request.POST)
    if form.is_valid():
        with refusals_on(form):
            services.order_payment_note(by=user, order=one, member=row.member, **form.written())
            messages.success(request, _("Noted for %(name)s.") % {"name": row.member})
            return redirect("jars:order-pick-up", one.pk)
    return render(request, "jars/order_bill.html", bill_told(user, one, row, form), status=422)


@require_POST
def fetched(request: HttpRequest, pk: int, member: int) -> HttpResponse:
    """The button carries a token; the service does it once, whoever presses."""
    user = runner(request)
    one = order_for(user, pk)
    person = get_object_or_404(User, pk=member)
    try:
        services.order_pick_up(by=user, order=one, member=person, token=uuid4())
        messages.success(request, _("%(name)s has hers.") % {"name": person})
    except ValidationError as error:
        tell_refusal(request, error)
    return redirect("jars:order-pick-up", one.pk)


@require_safe
def pick_up(request: HttpRequest, pk: int) -> HttpResponse:
    """Who gets what, who has paid and who has fetched hers; prints on paper as it stands."""
    one = order_for(runner(request), pk)
    wishes = wishes_of(one)
    told = {"order": one, "rows": member_sums(one, wishes), "left": lines_left(one, wishes)}
    return render(request, "jars/order_pick_up.html", told)


@require_safe
def pick_up_csv(request: HttpRequest, pk: int) -> HttpResponseBase:
    one = order_for(runner(request), pk)
    heads = ("member", "email", "what", "unit", "asked", "gets", "pays", "paid", "fetched")
    cells = (cell for row in member_sums(one, wishes_of(one)) for cell in _cells(row))
    answer = StreamingHttpResponse(csv_lines(heads, cells), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="pick-up-{one.pk}.csv"'
    return answer


def _cells(row: MemberSum) -> Iterator[tuple[object, ...]]:
    """A row for each thing, then one for the whole bill."""
    who = (row.member.name, row.member.email)
    for line in row.bill.lines:
        yield (*who, line.name, line.unit, line.asked, line.gets, money_text(line.cents), "", "")
    at = row.pickup.at.isoformat() if row.pickup else ""
    yield (*who, _("in all"), "", "", "", signed_money(row.bill.total_cents), signed_money(row.paid_cents), at)
