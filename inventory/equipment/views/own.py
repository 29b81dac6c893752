"""The cards of a household's own canners: what stands in them, and the tests of their gauges."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from club.core.clock import club_day
from club.core.http import refusals_as_messages, refusals_on, signed_in
from club.members.models import Kitchen, User
from inventory.equipment import rules, services
from inventory.equipment.choices import ThingState, Verdict
from inventory.equipment.forms import InstrumentForm, OwnCannerForm
from inventory.equipment.models import InstrumentTest, PartsLook, Thing, with_status
from inventory.equipment.views.things import parts_look_page

PLACES = {"capacity": "jars_pint", "readings": "shown_1"}
TESTS_SHOWN = 10


def own_canner_for(user: User, code: str) -> Thing:
    """The one gate to a card's pages: 404 for what is not of this person's households."""
    rows = Thing.everything.owned_by(user).coded(code).select_related("household")
    return get_object_or_404(rows.with_status(club_day(timezone.now())))


@require_http_methods(["GET", "POST"])
def own_canners(request: HttpRequest) -> HttpResponse:
    user, today = signed_in(request), club_day(timezone.now())
    kitchens = {kitchen.pk: kitchen for kitchen in Kitchen.objects.filter(people=user, is_hall=False)}
    form = OwnCannerForm(request.POST or None, kitchens=list(kitchens.values()))
    if request.method == "POST" and form.is_valid():
        with refusals_on(form, PLACES):
            kitchen, token = kitchens[int(form.cleaned_data["kitchen"])], form.cleaned_data["token"]
            made = services.own_canner_add(by=user, kitchen=kitchen, token=token, **form.written())
            messages.success(request, _("Its code is %(code)s: write it on the canner.") % {"code": made.code})
            return redirect(made)
    rows = Thing.everything.owned_by(user).exclude(state=ThingState.RETIRED).select_related("household")
    context = {"form": form, "kitchens": kitchens, "things": with_status(rows.with_status(today), today)}
    return render(request, "equipment/own_canners.html", context)


@require_http_methods(["GET", "POST"])
def own_canner(request: HttpRequest, code: str) -> HttpResponse:
    """The card, and a form to change its name and what it takes."""
    user, today = signed_in(request), club_day(timezone.now())
    thing = own_canner_for(user, code)
    form = OwnCannerForm(request.POST or None, thing=thing)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form, PLACES):
            services.own_canner_change(by=user, thing=thing, **form.written())
            messages.success(request, _("Kept."))
            return redirect(thing)
    [thing] = with_status([thing], today)
    tests = list(InstrumentTest.objects.filter(thing=thing).select_related("recorded_by")[:TESTS_SHOWN])
    context = {
        "thing": thing,
        "form": form,
        "tests": tests,
        "reads_high_by": rules.reads_high_by(tests[0].read) if tests else None,
        "test_rule": thing.facts.measure and rules.TEST_RULES[thing.facts.measure],
        "gauge_high": rules.GAUGE_HIGH,
        "weighted": rules.GAUGE_WEIGHTED,
        "look": PartsLook.objects.filter(thing=thing).first(),
        "parts_yearly": rules.PARTS_YEARLY,
    }
    return render(request, "equipment/own_canner.html", context)


@require_http_methods(["GET", "POST"])
def own_canner_test(request: HttpRequest, code: str) -> HttpResponse:
    user = signed_in(request)
    thing = own_canner_for(user, code)
    measure = thing.facts.measure
    if measure is None:
        raise Http404
    form = InstrumentForm(request.POST or None, measure=measure, initial={"tested_on": club_day(timezone.now())})
    if request.method == "POST" and form.is_valid():
        with refusals_on(form, PLACES):
            made = services.instrument_test_record(by=user, thing=thing, **form.written())
            if made.verdict == Verdict.FAILED:
                messages.error(request, _("The gauge failed: nothing is processed by it until a new one is tested."))
                return redirect("batches:canner", thing.code)  # what went by its last good test is in doubt
            messages.success(request, _("The test is recorded."))
            return redirect(thing)
    return render(
        request, "equipment/test.html", {"thing": thing, "form": form, "rules": rules.TEST_RULES[measure].rules}
    )


@require_http_methods(["GET", "POST"])
def own_canner_parts(request: HttpRequest, code: str) -> HttpResponse:
    user = signed_in(request)
    return parts_look_page(request, user, own_canner_for(user, code))


@require_POST
def own_canner_put_aside(request: HttpRequest, code: str) -> HttpResponse:
    user = signed_in(request)
    thing = own_canner_for(user, code)
    with refusals_as_messages(request):
        services.own_canner_retire(by=user, thing=thing)
        messages.success(request, _("%(code)s is put aside. Its batches stay.") % {"code": thing.code})
    return redirect("equipment:own-canners")
