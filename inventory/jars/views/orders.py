"""Club orders: the list, one order with one's own wishes and bill, and what whoever runs it may do."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.paginator import Paginator
from django.forms import BaseFormSet, formset_factory
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from club.members.models import User
from inventory.jars import services
from inventory.jars.bill_words import bill_rows
from inventory.jars.models import ClubOrder, OrderLine, OrderWish
from inventory.jars.order_forms import (
    ROWS,
    ArrivalForm,
    CancelForm,
    LineForm,
    NewLineForm,
    OrderForm,
    TermsForm,
    WishForm,
    lines_asked,
)
from inventory.jars.order_queries import RUN, bills_for, line_sums, member_sums, wishes_of
from inventory.jars.views.asks import refusals_on, signed_in
from inventory.jars.words import OrderState

PER_PAGE = 30


def runner(request: HttpRequest) -> User:
    """The person asking, who runs orders; 403 for others."""
    user = signed_in(request)
    if not user.has_perm(RUN):
        raise PermissionDenied
    return user


def order_for(user: User, pk: int) -> ClubOrder:
    """The one gate to an order: 404 for what this person may not see, as for what is not there."""
    return get_object_or_404(ClubOrder.objects.visible_to(user).select_related("opened_by"), pk=pk)


def tell_refusal(request: HttpRequest, error: ValidationError) -> None:
    for sentence in error.messages:
        messages.error(request, sentence)


@require_safe
def orders(request: HttpRequest) -> HttpResponse:
    """What goes on, the soonest to close first; what is over, a page at a time."""
    user, now = signed_in(request), timezone.now()
    seen = ClubOrder.objects.visible_to(user).with_mine(user)
    over = seen.filter(state__in=[OrderState.CLOSED, OrderState.CANCELLED])
    told = {
        "going_on": [(one, one.is_overdue(now)) for one in seen.going_on().order_by("closes_at", "pk")[:PER_PAGE]],
        "page": Paginator(over.order_by("-opened_at", "-pk"), PER_PAGE).get_page(request.GET.get("page")),
        "runs": user.has_perm(RUN),
    }
    return render(request, "jars/orders.html", told)


@require_http_methods(["GET", "POST"])
def order_new(request: HttpRequest) -> HttpResponse:
    """`?want=` fills lines in, see `order_forms.lines_asked`."""
    user = runner(request)
    asked, note = lines_asked(request.GET.getlist("want"))
    rows: type[BaseFormSet[Any]] = formset_factory(LineForm, extra=max(ROWS, len(asked)), max_num=60)
    form = OrderForm(request.POST or None, initial={"note": note})
    lines = rows(request.POST or None, prefix="line")
    for row, values in zip(lines.forms, asked, strict=False):
        row.initial = {**row.initial, **values}
    if request.method == "POST" and all([form.is_valid(), lines.is_valid()]):
        told = [row.fields_told() for row in lines.forms if row.has_changed() and row.cleaned_data.get("name")]
        with refusals_on(form):
            return redirect(services.order_open(by=user, lines=told, **form.written()))
    return render(request, "jars/order_new.html", {"form": form, "lines": lines})


@require_safe
def order(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    one = order_for(user, pk)
    return render(request, "jars/order.html", order_told(user, one))


def order_told(user: User, one: ClubOrder, form: WishForm | None = None) -> dict[str, Any]:
    """What the page of an order shows this person: her own bill, and everybody's to who runs it."""
    wishes = wishes_of(one)
    rows = line_sums(one, wishes, user)
    runs = user.has_perm(RUN)
    bill = bills_for(one, wishes).get(user.pk)
    is_late = one.is_overdue(timezone.now())
    takes = one.state == OrderState.OPEN and not is_late
    form = form or WishForm(rows=rows)
    return {
        "order": one,
        "rows": [(row, form[f"line_{row.line.pk}"] if takes else None) for row in rows],
        "form": form,
        "takes_wishes": takes,
        "is_late": is_late,
        "bill": bill,
        "bill_rows": bill_rows(one, bill) if bill else [],
        "members": member_sums(one, wishes) if runs else [],
        "runs": runs,
        "new_line": NewLineForm() if runs and one.state == OrderState.OPEN else None,
    }


@require_POST
def order_wish(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    one = order_for(user, pk)
    form = WishForm(request.POST, rows=line_sums(one, [], user))
    if form.is_valid():
        with refusals_on(form):
            services.order_wishes_set(by=user, order=one, wishes=form.wishes())
            messages.success(request, _("Your wishes are noted. Change them until the order closes."))
            return redirect(one)
    return render(request, "jars/order.html", order_told(user, one, form), status=422)


@require_POST
def order_line_add(request: HttpRequest, pk: int) -> HttpResponse:
    user = runner(request)
    one = order_for(user, pk)
    form = NewLineForm(request.POST)
    if form.is_valid():
        with refusals_on(form):
            told = form.fields_told()
            services.order_line_add(by=user, order=one, fields=told, token=form.cleaned_data["token"])
            return redirect(one)
    return render(request, "jars/order.html", {**order_told(user, one), "new_line": form}, status=422)


@require_POST
def order_line_remove(request: HttpRequest, pk: int) -> HttpResponse:
    user = runner(request)
    line = get_object_or_404(OrderLine.objects.select_related("order"), pk=pk)
    try:
        services.order_line_remove(by=user, line=line)
    except ValidationError as error:
        tell_refusal(request, error)
    return redirect(line.order)


@require_http_methods(["GET", "POST"])
def order_terms(request: HttpRequest, pk: int) -> HttpResponse:
    user = runner(request)
    one = order_for(user, pk)
    form = TermsForm(request.POST or None, order=one)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            services.order_terms_change(by=user, order=one, terms=form.terms())
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
    try:
        act(by=user, order=one)
    except ValidationError as error:
        tell_refusal(request, error)
    return redirect(one)


@require_http_methods(["GET", "POST"])
def order_arrive(request: HttpRequest, pk: int) -> HttpResponse:
    """What came, line by line, and one press that books it all."""
    user = runner(request)
    one = order_for(user, pk)
    asked: dict[int, int] = {}
    for line, quantity in OrderWish.objects.filter(line__order=one).values_list("line", "quantity"):
        asked[line] = asked.get(line, 0) + quantity
    form = ArrivalForm(request.POST or None, lines=one.lines.select_related("supply"), asked=asked)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            token = form.cleaned_data["token"]
            services.order_arrive(by=user, order=one, received=form.received(), token=token)
            messages.success(request, _("It is all booked, and everybody's part is reckoned."))
            return redirect("jars:order-pick-up", one.pk)
    blocks = [(line, fields, asked.get(line.pk, 0)) for line, fields in form.blocks()]
    told = {"form": form, "order": one, "blocks": blocks}
    return render(request, "jars/order_arrive.html", told)
