"""What things cost: everybody in the club reads it, keepers and organisers note it."""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from club.core.money import money_text
from recipes import services
from recipes.forms.prices import PriceForm
from recipes.models import Price
from recipes.shopping import PACKAGES
from recipes.views.asks import allow, signed_in

NOTE = "recipes.add_price"


@require_http_methods(["GET", "POST"])
def prices(request: HttpRequest) -> HttpResponse:
    """The current prices. `?item=` fills the form in from a shopping list."""
    user = signed_in(request)
    may_note = user.has_perm(NOTE)
    if request.method == "POST":
        allow(request, NOTE)
    form = PriceForm(request.POST or None, initial={"item": request.GET.get("item", "")[:80]})
    if request.method == "POST" and form.is_valid():
        try:
            noted = services.price_note(by=user, **form.written())
        except ValidationError as refused:
            form.add_error(None, refused)
        else:
            messages.success(
                request, _("Noted: %(what)s for %(price)s.") % {"what": noted, "price": money_text(noted.cents)}
            )
            return redirect("recipes:prices")
    rows = [(price, money_text(price.cents)) for price in Price.objects.current().select_related("by")]
    known = sorted({*PACKAGES, *(price.item for price, _money in rows)})
    return render(
        request, "recipes/prices.html", {"form": form if may_note else None, "prices": rows, "known_things": known}
    )
