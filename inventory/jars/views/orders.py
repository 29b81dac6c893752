"""Club orders: the list, one order with one's own wishes and bill, and what whoever runs it may do."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.core.paginator import Paginator
from django.forms import BaseFormSet, formset_factory
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from club.core.http import allow, refusals_as_messages, refusals_on, signed_in
from club.core.money import money_text
from club.core.tables import write_csv
from club.members.choices import EventKind
from club.members.models import User
from club.members.services import person_event
from inventory.jars import services
from inventory.jars.choices import OrderState
from inventory.jars.forms import (
    ROWS,
    ArrivalForm,
    CancelForm,
    EntriesForm,
    LineForm,
    NewLineForm,
    OrderForm,
    PaymentForm,
    TermsForm,
    lines_from_address,
)
from inventory.jars.models import ClubOrder, OrderEntry, OrderLine
from inventory.jars.models.orders import RUN, MemberSum, bills_for, entries_of, line_sums, lines_left, member_sums
from inventory.jars.presentation import bill_rows

PER_PAGE = 30


def runner(request: HttpRequest) -> User:
    """The person asking, who runs orders; 403 for others."""
    return allow(request, RUN)


def order_for(user: User, pk: int) -> ClubOrder:
    """The one gate to an order: 404 for what this person may not see, as for what is not there."""
    return get_object_or_404(ClubOrder.objects.visible_to(user).select_related("opened_by"), pk=pk)


@require_safe
def orders(request: HttpRequest) -> HttpResponse:
    """What goes on, the soonest to close first; what is over, a page at a time."""
    user, now = signed_in(request), timezone.now()
    visible = ClubOrder.objects.visible_to(user).with_mine(user)
    over = visible.filter(state__in=[OrderState.CLOSED, OrderState.CANCELLED])
    context = {
        "going_on": [(one, one.is_overdue(now)) for one in visible.going_on().order_by("closes_at", "pk")[:PER_PAGE]],
        "page": Paginator(over.order_by("-opened_at", "-pk"), PER_PAGE).get_page(request.GET.get("page")),
        "runs": user.has_perm(RUN),
    }
    return render(request, "jars/orders.html", context)


@require_http_methods(["GET", "POST"])
def order_new(request: HttpRequest) -> HttpResponse:
    """`?want=` fills lines in, see `forms.lines_from_address`."""
    user = runner(request)
    asked, note = lines_from_address(request.GET.getlist("want"))
    rows: type[BaseFormSet[Any]] = formset_factory(LineForm, extra=max(ROWS, len(asked)), max_num=60)
    form = OrderForm(request.POST or None, initial={"note": note})
    lines = rows(request.POST or None, prefix="line")
    for row, values in zip(lines.forms, asked, strict=False):
        row.initial = {**row.initial, **values}
    if request.method == "POST" and all([form.is_valid(), lines.is_valid()]):
        filled = [row.written() for row in lines.forms if row.has_changed() and row.cleaned_data.get("name")]
        with refusals_on(form):
            made = services.order_open(
                by=user,
                terms=services.Terms(**form.terms()),
                lines=[services.LineFields(**row) for row in filled],
                **form.written(),
            )
            return redirect(made)
    return render(request, "jars/order_new.html", {"form": form, "lines": lines})


@require_safe
def order(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    one = order_for(user, pk)
    return render(request, "jars/order.html", order_context(user, one))


def order_context(user: User, one: ClubOrder, form: EntriesForm | None = None) -> dict[str, Any]:
    """What the page of an order shows this person: their own bill, and everybody's to who runs it."""
    entries = entries_of(one)
    rows = line_sums(one, entries, user)
    runs = user.has_perm(RUN)
    bill = bills_for(one, entries).get(user.pk)
    is_late = one.is_overdue(timezone.now())
    takes = one.state == OrderState.OPEN and not is_late
    form = form or EntriesForm(rows=rows)
    return {
        "order": one,
        "rows": [(row, form[f"line_{row.line.pk}"] if takes else None) for row in rows],
        "form": form,
        "takes_entries": takes,
        "is_late": is_late,
        "bill": bill,
        "bill_rows": bill_rows(one, bill) if bill else [],
        "members": member_sums(one, entries) if runs else [],
        "runs": runs,
        "new_line": NewLineForm() if runs and one.state == OrderState.OPEN else None,
    }


@require_POST
def order_entries(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    one = order_for(user, pk)
    form = EntriesForm(request.POST, rows=line_sums(one, [], user))
    if form.is_valid():
        with refusals_on(form):
            services.order_entries_set(by=user, order=one, entries=form.entries())
            messages.success(request, _("Your wishes are noted. Change them until the order closes."))
            return redirect(one)
    return render(request, "jars/order.html", order_context(user, one, form), status=422)


@require_POST
def order_line_add(request: HttpRequest, pk: int) -> HttpResponse:
    user = runner(request)
    one = order_for(user, pk)
    form = NewLineForm(request.POST)
    if form.is_valid():
        with refusals_on(form):
            fields = services.LineFields(**form.written())
            services.order_line_add(by=user, order=one, fields=fields, token=form.cleaned_data["token"])
            return redirect(one)
    return render(request, "jars/order.html", {**order_context(user, one), "new_line": form}, status=422)


@require_POST
def order_line_remove(request: HttpRequest, pk: int) -> HttpResponse:
    user = runner(request)
    line = get_object_or_404(OrderLine.objects.select_related("order"), pk=pk)
    with refusals_as_messages(request):
        services.order_line_remove(by=user, line=line)
    return redirect(line.order)


@require_http_methods(["GET", "POST"])
def order_terms(request: HttpRequest, pk: int) -> HttpResponse:
    user = runner(request)
    one = order_for(user, pk)
    form = TermsForm(request.POST or None, order=one)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            services.order_terms_change(by=user, order=one, terms=services.Terms(**form.terms()))
            return redirect(one)
    return render(request, "jars/order_form.html", {"form": form, "order": one, "heading": _("Costs and rules")})


@require_http_methods(["GET", "POST"])
def order_cancel(request: HttpRequest, pk: int) -> HttpResponse:
    user = runner(request)
    one = order_for(user, pk)
    form = CancelForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            services.order_cancel(by=user, order=one, **form.cleaned_data)
            return redirect(one)
    return render(request, "jars/order_form.html", {"form": form, "order": one, "heading": _("Cancel the order")})


@require_POST
def order_step(request: HttpRequest, pk: int, step: str) -> HttpResponse:
    """Placed with the supplier, or closed: one press each."""
    user = runner(request)
    one = order_for(user, pk)
    act = services.order_place if step == "place" else services.order_close
    with refusals_as_messages(request):
        act(by=user, order=one)
    return redirect(one)


@require_http_methods(["GET", "POST"])
def order_arrive(request: HttpRequest, pk: int) -> HttpResponse:
    """What came, line by line, and one press that books it all."""
    user = runner(request)
    one = order_for(user, pk)
    asked: dict[int, int] = {}
    for line, quantity in OrderEntry.objects.filter(line__order=one).values_list("line", "quantity"):
        asked[line] = asked.get(line, 0) + quantity
    form = ArrivalForm(request.POST or None, lines=one.lines.select_related("supply"), asked=asked)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            received = {line: services.Received(**row) for line, row in form.received().items()}
            services.order_arrive(by=user, order=one, received=received, token=form.cleaned_data["token"])
            messages.success(request, _("It is all booked, and everybody's part is reckoned."))
            return redirect("jars:order-pick-up", one.pk)
    blocks = [(line, fields, asked.get(line.pk, 0)) for line, fields in form.blocks()]
    context = {"form": form, "order": one, "blocks": blocks}
    return render(request, "jars/order_arrive.html", context)


# Handing out: one member's bill with what they paid, the pick-up list on a page and as a file.


@require_safe
def bill(request: HttpRequest, pk: int, member: int) -> HttpResponse:
    """One's own bill; every bill for who runs the order."""
    user = signed_in(request)
    one = order_for(user, pk)
    row = sum_for(user, one, member)
    # As it mostly is filled in: all that is owed, or all that is to be given back.
    form = PaymentForm(initial={"cents": abs(row.owed_cents), "is_back": row.owed_cents < 0})
    return render(request, "jars/order_bill.html", bill_context(user, one, row, form))


def sum_for(user: User, one: ClubOrder, member: int) -> MemberSum:
    """404 for another's bill, as for a bill that is not there."""
    if member != user.pk and not user.has_perm(RUN):
        raise Http404
    entries = entries_of(one)
    found = [row for row in member_sums(one, entries) if row.member.pk == member]
    if not found:
        raise Http404
    return found[0]


def bill_context(user: User, one: ClubOrder, row: MemberSum, form: PaymentForm) -> dict[str, object]:
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
    return render(request, "jars/order_bill.html", bill_context(user, one, row, form), status=422)


@require_POST
def fetched(request: HttpRequest, pk: int, member: int) -> HttpResponse:
    """The button carries a token; the service does it once, whoever presses."""
    user = runner(request)
    one = order_for(user, pk)
    person = get_object_or_404(User, pk=member)
    with refusals_as_messages(request):
        services.order_pick_up(by=user, order=one, member=person, token=uuid4())
        messages.success(request, _("%(name)s has hers.") % {"name": person})
    return redirect("jars:order-pick-up", one.pk)


@require_safe
def pick_up(request: HttpRequest, pk: int) -> HttpResponse:
    """Who gets what, who has paid and who has fetched their things; prints on paper as it stands."""
    one = order_for(runner(request), pk)
    entries = entries_of(one)
    context = {"order": one, "rows": member_sums(one, entries), "left": lines_left(one, entries)}
    return render(request, "jars/order_pick_up.html", context)


@require_safe
def pick_up_csv(request: HttpRequest, pk: int) -> HttpResponseBase:
    by = runner(request)
    one = order_for(by, pk)
    person_event(EventKind.EXPORTED, by=by, reference=f"pick-up-{one.pk}.csv")
    heads = ("member", "email", "what", "unit", "asked", "gets", "pays", "paid", "fetched")
    cells = (cell for row in member_sums(one, entries_of(one)) for cell in _cells(row))
    answer = StreamingHttpResponse(write_csv(heads, cells), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="pick-up-{one.pk}.csv"'
    return answer


def _cells(row: MemberSum) -> Iterator[tuple[object, ...]]:
    """A row for each thing, then one for the whole bill."""
    who = (row.member.name, row.member.email)
    for line in row.bill.lines:
        yield (*who, line.name, line.unit, line.asked, line.gets, money_text(line.cents, with_sign=False), "", "")
    at = row.pickup.at.isoformat() if row.pickup else ""
    total, paid = (money_text(cents, with_sign=False) for cents in (row.bill.total_cents, row.paid_cents))
    yield (*who, _("in all"), "", "", "", total, paid, at)
