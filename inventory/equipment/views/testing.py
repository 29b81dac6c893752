"""The keepers' page of instruments that want a test, and the test of one."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from inventory.equipment import rules, services
from inventory.equipment.forms import InstrumentForm
from inventory.equipment.kinds import Measure
from inventory.equipment.models import InstrumentTest, Thing
from inventory.equipment.queries import club_day
from inventory.equipment.standing import with_standing
from inventory.equipment.views.asks import keeper, refusals_on, thing_for
from inventory.equipment.words import Verdict

PER_PAGE = 30


@require_safe
def tests_due(request: HttpRequest) -> HttpResponse:
    """Never tested, failed, lapsed, or lapsing within a month."""
    keeper(request)
    today = club_day(timezone.now())
    things = Thing.objects.all().tests_wanted(today + rules.MONTH_BEFORE)
    page = Paginator(things, PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "equipment/tests.html", {"page": page, "things": with_standing(page, today)})


@require_http_methods(["GET", "POST"])
def test(request: HttpRequest, code: str) -> HttpResponse:
    by = keeper(request)
    thing = thing_for(by, code)
    measure = thing.facts.measure
    if measure is None:
        raise Http404
    form = InstrumentForm(request.POST or None, measure=measure, initial={"tested_on": club_day(timezone.now())})
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            record = services.gauge_test_record if measure is Measure.PSI else services.calibration_record
            _say(request, record(by=by, thing=thing, **form.written()))
            return redirect(thing)
    told = {
        "thing": thing,
        "form": form,
        "rules": rules.TEST_RULES[measure].rules,
        "past": InstrumentTest.objects.filter(thing=thing).select_related("recorded_by")[:10],
    }
    return render(request, "equipment/test.html", told)


def _say(request: HttpRequest, record: InstrumentTest) -> None:
    if record.verdict == Verdict.PASSED:
        messages.success(request, _("It passed; the largest error was %(error)s.") % {"error": record.error})
    else:
        messages.error(
            request, _("It failed: it is off by %(error)s. It stays here until it passes.") % {"error": record.error}
        )
