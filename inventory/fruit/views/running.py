"""What a giver does with an offer: keeping some back, changing what is said of it, its picture, taking it back."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from club.core.http import signed_in
from inventory.fruit import services
from inventory.fruit.running_forms import DetailsForm, KeepBackForm, PictureForm, TakeBackForm
from inventory.fruit.views.offer_asks import offer_run_by, refusals_on


@require_http_methods(["GET", "POST"])
def change(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    offer = offer_run_by(user, pk)
    form = DetailsForm(request.POST or None, offer=offer)
    if request.method == "POST" and form.is_valid():
        try:
            with refusals_on(form):
                services.offer_change(by=user, offer=offer, **form.cleaned_data)
                messages.success(request, _("Changed."))
                return redirect(offer)
        except services.AlreadyDone as done:
            messages.info(request, str(done))
            return redirect(offer)
    return render(request, "fruit/form.html", {"offer": offer, "form": form, "heading": _("Change what it says")})


@require_http_methods(["GET", "POST"])
def keep_back(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    offer = offer_run_by(user, pk)
    form = KeepBackForm(request.POST or None, offer=offer, by=user)
    if request.method == "POST" and form.is_valid():
        try:
            with refusals_on(form):
                services.offer_keep_back(by=user, offer=offer, kept=form.kept())
                messages.success(request, _("Changed."))
                return redirect(offer)
        except services.AlreadyDone as done:
            messages.info(request, str(done))
            return redirect(offer)
    return render(request, "fruit/form.html", {"offer": offer, "form": form, "heading": _("Keep some back")})


@require_http_methods(["GET", "POST"])
def take_back(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    offer = offer_run_by(user, pk)
    form = TakeBackForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            services.offer_take_back(by=user, offer=offer, reason=form.cleaned_data["reason"])
            messages.success(request, _("The offer is taken back. Those who claimed some are told."))
            return redirect("fruit:mine")
    return render(request, "fruit/form.html", {"offer": offer, "form": form, "heading": _("Take the offer back")})


@require_http_methods(["GET", "POST"])
def photo_change(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    offer = offer_run_by(user, pk)
    form = PictureForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            services.offer_photo_set(by=user, offer=offer, file=form.cleaned_data["photo"])
            return redirect(offer)
    return render(request, "fruit/form.html", {"offer": offer, "form": form, "heading": _("A picture")})
