"""How a person wants to be reached."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from club.core.http import refusals_on, signed_in
from club.reminders.forms import WishesForm
from club.reminders.wishes import kinds_for, mailbox_confirm, wishes_change
from club.reminders.wishes_models import wishes_of


@require_http_methods(["GET", "HEAD", "POST"])
def wishes(request: HttpRequest) -> HttpResponse:
    user = signed_in(request)
    # No box ticked is a POST without a field, and still an answer: hence not `request.POST or None`.
    form = WishesForm(request.POST if request.method == "POST" else None, wishes=wishes_of(user), kinds=kinds_for(user))
    if form.is_valid():
        with refusals_on(form):
            wishes_change(by=user, **form.cleaned_data)
            messages.success(request, _("Saved."))
            return redirect("reminders:wishes")
    return render(request, "reminders/wishes.html", {"form": form})


@require_POST
def mailbox_works(request: HttpRequest) -> HttpResponse:
    mailbox_confirm(by=signed_in(request))
    messages.success(request, _("Mails go to you again."))
    return redirect("reminders:wishes")
