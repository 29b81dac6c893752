"""The register and a thing's own page; adding, changing, its picture, its state."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from club.members.models import User
from inventory.equipment import rules, services
from inventory.equipment.forms import ConditionForm, PhotoForm, ThingForm
from inventory.equipment.kinds import Kind
from inventory.equipment.lending_forms import PartsForm
from inventory.equipment.models import ConditionNote, Hold, InstrumentTest, Loan, Thing, ThingPhoto, WaitingEntry
from inventory.equipment.queries import KEEP, ThingQuerySet, club_day
from inventory.equipment.standing import with_standing
from inventory.equipment.views.asks import keeper, refusals_on, signed_in, thing_for
from inventory.equipment.words import ThingState

PER_PAGE = 30
TOLD = 10

SHOWN = {
    "": gettext_lazy("Everything"),
    "free": gettext_lazy("Free today"),
    "out": gettext_lazy("Out"),
    "repair": gettext_lazy("In repair"),
    "missing": gettext_lazy("A part missing"),
    "retired": gettext_lazy("Retired"),
}
FOR_KEEPERS = ("missing", "retired")


def register(request: HttpRequest, user: User) -> tuple[ThingQuerySet, dict[str, Any]]:
    """The things that the address asks for, and what it asks."""
    today = club_day(timezone.now())
    show, kind = request.GET.get("show", ""), request.GET.get("kind", "")
    kind = kind if kind in Kind.values else ""
    words = request.GET.get("q", "").replace("\0", "")[:80]
    things = Thing.objects.visible_to(user).search(words)
    if kind:
        things = things.filter(kind=kind)
    if show == "free":
        things = things.free_on_day(today)
    elif show == "out":
        things = things.filter(pk__in=Loan.objects.open().values("thing"))
    elif show == "missing":
        things = things.short_of_parts()
    elif show in ("repair", "retired"):
        things = things.filter(state=ThingState.IN_REPAIR if show == "repair" else ThingState.RETIRED)
    else:
        things = things.exclude(state=ThingState.RETIRED)
    return things.order_by("code"), {"show": show, "kind": kind, "q": words}


@require_safe
def thing_list(request: HttpRequest) -> HttpResponse:
    user, today = signed_in(request), club_day(timezone.now())
    things, asked = register(request, user)
    page = Paginator(things.with_standing(today), PER_PAGE).get_page(request.GET.get("page"))
    keeps = user.has_perm(KEEP)
    told = {
        **asked,
        "page": page,
        "things": with_standing(page.object_list, today),
        "shown": [(key, label) for key, label in SHOWN.items() if keeps or key not in FOR_KEEPERS],
        "kinds": Kind.choices,
        "keeps": keeps,
    }
    return render(request, "equipment/list.html", told)


@require_safe
def thing_page(request: HttpRequest, code: str) -> HttpResponse:
    user, today = signed_in(request), club_day(timezone.now())
    thing = thing_for(user, code)
    keeps = user.has_perm(KEEP)
    [stands] = with_standing(Thing.objects.filter(pk=thing.pk).with_standing(today), today)
    tests = list(InstrumentTest.objects.filter(thing=thing)[:3]) if thing.facts.measure else []
    told = {
        "thing": thing,
        "standing": stands.standing,  # type: ignore[attr-defined]
        "loan": Loan.objects.open().filter(thing=thing).with_names().first(),
        "holds": Hold.objects.filter(thing=thing).standing(today).visible_to(user).select_related("person")[:TOLD],
        "has_photo": ThingPhoto.objects.filter(thing=thing).values_list("changed_at", flat=True).first(),
        "tests": tests,
        "reads_high_by": rules.reads_high_by(tests[0].read) if tests else None,
        "test_rule": rules.TEST_RULES[thing.facts.measure] if thing.facts.measure else None,
        "gauge_high": rules.GAUGE_HIGH,
        "notes": ConditionNote.objects.filter(thing=thing).select_related("by")[:TOLD] if keeps else [],
        "waiting": WaitingEntry.objects.in_line().filter(kind=thing.kind).count(),
        "keeps": keeps,
        "missing_parts": stands.missing_parts,  # type: ignore[attr-defined]
        "parts_form": parts_form(thing) if keeps else None,
        "parts_rule": rules.PARTS_WHOLE,
        "state_form": state_form(thing) if keeps else None,
        "photo_form": PhotoForm() if keeps else None,
    }
    return render(request, "equipment/thing.html", told)


@require_http_methods(["GET", "POST"])
def add(request: HttpRequest) -> HttpResponse:
    by = keeper(request)
    form = ThingForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            token = form.cleaned_data["token"]
            thing = services.thing_add(by=by, fields=form.described(), token=token)
            messages.success(request, _("%(code)s is in the register. Print its label.") % {"code": thing.code})
            return redirect(thing)
    return render(request, "equipment/thing_form.html", {"form": form})


@require_http_methods(["GET", "POST"])
def change(request: HttpRequest, code: str) -> HttpResponse:
    by = keeper(request)
    thing = thing_for(by, code)
    form = ThingForm(request.POST or None, thing=thing)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            services.thing_change(by=by, thing=thing, fields=form.described())
            messages.success(request, _("Changed."))
            return redirect(thing)
    return render(request, "equipment/thing_form.html", {"form": form, "thing": thing_for(by, code)})


ACTS = {
    "look": gettext_lazy("Looked it over"),
    "repair": gettext_lazy("Sent it to repair"),
    "mend": gettext_lazy("It is mended"),
    "retire": gettext_lazy("Retire it"),
}


def state_form(thing: Thing, data: Any = None) -> ConditionForm:
    """Only what can be done with the thing as it stands."""
    open_to = {
        ThingState.IN_SERVICE: ["look", "repair", "retire"],
        ThingState.IN_REPAIR: ["mend", "look", "retire"],
        ThingState.RETIRED: ["look"],
    }[ThingState(thing.state)]
    action = reverse("equipment:state", args=[thing.code])
    return ConditionForm(data, acts=[(act, ACTS[act]) for act in open_to], action=action)


@require_POST
def state(request: HttpRequest, code: str) -> HttpResponse:
    by = keeper(request)
    thing = thing_for(by, code)
    form = state_form(thing, request.POST)
    if form.is_valid():
        try:
            with refusals_on(form):
                _act(by, thing, **form.cleaned_data)
                messages.success(request, _("Written down."))
                return redirect(thing)
        except services.AlreadyDone as done:
            messages.info(request, str(done))
            return redirect(thing)
    return render(request, "equipment/state.html", {"thing": thing, "form": form})


def _act(by: User, thing: Thing, act: str, condition: str, note: str) -> None:
    if act == "repair":
        services.thing_repair(by=by, thing=thing, note=note)
    elif act == "retire":
        services.thing_retire(by=by, thing=thing, note=note)
    elif act == "mend":
        services.thing_mend(by=by, thing=thing, condition=condition, note=note)
    else:
        services.thing_look_over(by=by, thing=thing, condition=condition, note=note)


def parts_form(thing: Thing, data: Any = None) -> PartsForm:
    return PartsForm(data, action=reverse("equipment:parts", args=[thing.code]))


@require_POST
def parts(request: HttpRequest, code: str) -> HttpResponse:
    by = keeper(request)
    thing = thing_for(by, code)
    form = parts_form(thing, request.POST)
    if form.is_valid():
        try:
            with refusals_on(form):
                services.parts_settle(by=by, thing=thing, **form.cleaned_data)
                messages.success(request, _("Written down."))
                return redirect(thing)
        except services.AlreadyDone as done:
            messages.info(request, str(done))
            return redirect(thing)
    return render(request, "equipment/state.html", {"thing": thing, "form": form})


@require_safe
@cache_control(private=True, max_age=86_400)
def photo(request: HttpRequest, code: str) -> HttpResponse:
    """The address carries when the picture was changed, so that it may be kept for a day."""
    found = ThingPhoto.objects.filter(thing=thing_for(signed_in(request), code)).first()
    if found is None:
        raise Http404
    return HttpResponse(bytes(found.jpeg), content_type="image/jpeg")


@require_POST
def photo_change(request: HttpRequest, code: str) -> HttpResponse:
    by = keeper(request)
    thing = thing_for(by, code)
    if "clear" in request.POST:
        services.photo_clear(by=by, thing=thing)
        return redirect(thing)
    form = PhotoForm(request.POST, request.FILES)
    if form.is_valid():
        with refusals_on(form):
            services.photo_set(by=by, thing=thing, file=form.cleaned_data["photo"])
            return redirect(thing)
    return render(request, "equipment/state.html", {"thing": thing, "form": form})
