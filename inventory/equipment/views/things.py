"""The register, one thing with its tests and picture, files in and out, and papers."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict
from datetime import timedelta
from functools import partial
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.core import signing
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.forms import Form
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from club.core.clock import club_day
from club.core.forms import PhotoForm
from club.core.http import allow, picture, refusals_on, signed_in
from club.core.papers import SheetLine, TooSmall, cards_pdf, labels_pdf, sheet_pdf
from club.core.sheets import PLAIN, Label, Line
from club.core.tables import XLSX_TYPE, Row, TableRefused, read_table, write_csv, write_xlsx
from club.members.choices import EventKind
from club.members.models import User, label_paper_of
from club.members.services import person_event
from inventory.equipment import register as equipment_register
from inventory.equipment import rules, services
from inventory.equipment.choices import PARTS_KINDS, Kind, Measure, ThingState, Verdict
from inventory.equipment.description import COLUMNS, Cell
from inventory.equipment.forms import (
    ConditionForm,
    ImportForm,
    InstrumentForm,
    PartsForm,
    PartsLookForm,
    SheetToken,
    ThermometerForm,
    ThingForm,
    sheet_forms,
)
from inventory.equipment.models import (
    KEEP,
    ConditionNote,
    Hold,
    InstrumentTest,
    Loan,
    PartsLook,
    Thing,
    ThingPhoto,
    ThingQuerySet,
    WaitingEntry,
    what_test_wants,
    with_status,
)
from inventory.equipment.papers import card_of
from inventory.equipment.rules import code_key

# What the room's views share: who asks, the gates to a thing, a hold and a loan, and a refusal beside its field.

FIELDS = {"deposit": "deposit_cents", "readings": "shown_1", "capacity": "jars_pint"}


def thing_for(user: User, code: str) -> Thing:
    """The one gate to a thing's pages: 404 for what this person may not see, as for what is not there."""
    return get_object_or_404(Thing.objects.visible_to(user).select_related("home"), pk__in=Thing.objects.coded(code))


def hold_for(user: User, pk: int) -> Hold:
    return get_object_or_404(Hold.objects.visible_to(user).select_related("thing"), pk=pk)


def loan_for(user: User, pk: int) -> Loan:
    loans = Loan.objects.visible_to(user).open().select_related("thing", "hold", "person")
    return get_object_or_404(loans, pk=pk)


def wait_for(user: User, pk: int) -> WaitingEntry:
    return get_object_or_404(WaitingEntry.objects.visible_to(user).select_related("hold"), pk=pk)


def kind_for(slug: str) -> Kind:
    if slug not in Kind.values:
        raise Http404
    return Kind(slug)


# The register and a thing's own page; adding, changing, its picture, its state.

PER_PAGE = 30
LATEST = 10
REPAIRS_SHOWN = 100

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
    page = Paginator(things.with_status(today), PER_PAGE).get_page(request.GET.get("page"))
    keeps = user.has_perm(KEEP)
    context = {
        **asked,
        "page": page,
        "things": with_status(page.object_list, today),
        "shown": [(key, label) for key, label in SHOWN.items() if keeps or key not in FOR_KEEPERS],
        "kinds": Kind.choices,
        "keeps": keeps,
    }
    return render(request, "equipment/list.html", context)


@require_safe
def thing_page(request: HttpRequest, code: str) -> HttpResponse:
    user, today = signed_in(request), club_day(timezone.now())
    thing = thing_for(user, code)
    keeps = user.has_perm(KEEP)
    [row] = with_status(Thing.objects.filter(pk=thing.pk).with_status(today), today)
    tests = list(InstrumentTest.objects.filter(thing=thing)[:3]) if thing.facts.measure else []
    context = {
        "thing": thing,
        "status": row.status,  # type: ignore[attr-defined]
        "loan": Loan.objects.open().filter(thing=thing).with_names().first(),
        "holds": Hold.objects.filter(thing=thing).to_collect(today).visible_to(user).select_related("person")[:LATEST],
        "has_photo": ThingPhoto.objects.filter(thing=thing).values_list("changed_at", flat=True).first(),
        "tests": tests,
        "reads_high_by": rules.reads_high_by(tests[0].read) if tests else None,
        "test_rule": rules.TEST_RULES[thing.facts.measure] if thing.facts.measure else None,
        "gauge_high": rules.GAUGE_HIGH,
        "two_layers_rule": rules.TWO_LAYERS,
        "notes": ConditionNote.objects.filter(thing=thing).select_related("by")[:LATEST] if keeps else [],
        "waiting": WaitingEntry.objects.in_line().filter(kind=thing.kind).count(),
        "keeps": keeps,
        "missing_parts": row.missing_parts,  # type: ignore[attr-defined]
        "test_wants": what_test_wants(row, today),
        "parts_form": parts_form(thing) if keeps else None,
        "parts_rule": rules.PARTS_WHOLE,
        "state_form": state_form(thing) if keeps else None,
        "photo_form": PhotoForm() if keeps else None,
    }
    return render(request, "equipment/thing.html", context)


@require_http_methods(["GET", "POST"])
def add(request: HttpRequest) -> HttpResponse:
    by = allow(request, KEEP)
    form = ThingForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form, FIELDS):
            token = form.cleaned_data["token"]
            thing = services.thing_add(by=by, fields=form.described(), token=token)
            messages.success(request, _("%(code)s is in the register. Print its label.") % {"code": thing.code})
            return redirect(thing)
    return render(request, "equipment/thing_form.html", {"form": form})


@require_http_methods(["GET", "POST"])
def change(request: HttpRequest, code: str) -> HttpResponse:
    by = allow(request, KEEP)
    thing = thing_for(by, code)
    form = ThingForm(request.POST or None, thing=thing)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form, FIELDS):
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
    by = allow(request, KEEP)
    thing = thing_for(by, code)
    return _written(request, thing, state_form(thing, request.POST), partial(_act, by=by, thing=thing))


def _written(request: HttpRequest, thing: Thing, form: Form, write: Callable[..., None]) -> HttpResponse:
    """A keeper's form of a thing's page: written down, or shown again with what was refused."""
    if form.is_valid():
        try:
            with refusals_on(form, FIELDS):
                write(**form.cleaned_data)
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
    by = allow(request, KEEP)
    thing = thing_for(by, code)
    return _written(request, thing, parts_form(thing, request.POST), partial(services.parts_settle, by=by, thing=thing))


@require_safe
def photo(request: HttpRequest, code: str) -> HttpResponse:
    """The address carries when the picture was changed, so that it may be kept for a day."""
    found = ThingPhoto.objects.filter(thing=thing_for(signed_in(request), code)).first()
    if found is None:
        raise Http404
    return picture(found.jpeg, kept_for=86_400)


@require_POST
def photo_change(request: HttpRequest, code: str) -> HttpResponse:
    by = allow(request, KEEP)
    thing = thing_for(by, code)
    if "clear" in request.POST:
        services.photo_clear(by=by, thing=thing)
        return redirect(thing)
    form = PhotoForm(request.POST, request.FILES)
    if form.is_valid():
        with refusals_on(form, FIELDS):
            services.photo_set(by=by, thing=thing, file=form.cleaned_data["photo"])
            return redirect(thing)
    return render(request, "equipment/state.html", {"thing": thing, "form": form})


# The keepers' page of instruments that want a test, and the test of one.


@require_safe
def tests_due(request: HttpRequest) -> HttpResponse:
    """Never tested, failed, lapsed, or lapsing within a month."""
    allow(request, KEEP)
    today = club_day(timezone.now())
    things = Thing.objects.all().tests_wanted(today + rules.MONTH_BEFORE)
    page = Paginator(things, PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "equipment/tests.html", {"page": page, "things": with_status(page, today)})


@require_safe
def repairs(request: HttpRequest) -> HttpResponse:
    """What waits for a keeper: parts missing or damaged, things in repair, and canners whose yearly look is due."""
    allow(request, KEEP)
    today = club_day(timezone.now())
    looks = Thing.objects.all().looks_wanted(today + rules.MONTH_BEFORE)
    context = {
        "short": with_status(Thing.objects.short_of_parts().with_status(today)[:REPAIRS_SHOWN], today),
        "in_repair": Thing.objects.filter(state=ThingState.IN_REPAIR)[:REPAIRS_SHOWN],
        "looks": looks[:REPAIRS_SHOWN],
        "rule": rules.PARTS_YEARLY,
        "today": today,
    }
    return render(request, "equipment/repairs.html", context)


@require_http_methods(["GET", "POST"])
def parts_look(request: HttpRequest, code: str) -> HttpResponse:
    by = allow(request, KEEP)
    return parts_look_page(request, by, thing_for(by, code))


def parts_look_page(request: HttpRequest, by: User, thing: Thing) -> HttpResponse:
    """The yearly look at a canner's parts; the club's and a household's own alike."""
    if not thing.facts.parts:
        raise Http404
    form = PartsLookForm(request.POST or None, parts=thing.facts.parts, initial={"looked_on": club_day(timezone.now())})
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            look = services.parts_look_record(by=by, thing=thing, **form.written())
            if matters := services.matters_text(look.findings):
                messages.warning(request, _("Written down: %(matters)s. It is in repair.") % {"matters": matters})
            else:
                messages.success(request, _("Written down: every part is sound."))
            return redirect(thing)
    context = {
        "thing": thing,
        "form": form,
        "rule": rules.PARTS_YEARLY,
        "past": PartsLook.objects.filter(thing=thing).select_related("looked_by")[:LATEST],
    }
    return render(request, "equipment/parts_look.html", context)


@require_http_methods(["GET", "POST"])
def test(request: HttpRequest, code: str) -> HttpResponse:
    by = allow(request, KEEP)
    thing = thing_for(by, code)
    measure = thing.facts.measure
    if measure is None:
        raise Http404
    typed, initial = request.POST or None, {"tested_on": club_day(timezone.now())}
    form = (
        ThermometerForm(typed, user=by, initial=initial)
        if measure is Measure.CELSIUS
        else InstrumentForm(typed, measure=measure, initial=initial)
    )
    if request.method == "POST" and form.is_valid():
        with refusals_on(form, {"readings": "ice"} if measure is Measure.CELSIUS else FIELDS):
            made = services.instrument_test_record(by=by, thing=thing, **form.written())
            _say(request, made)
            is_gauge = thing.kind == Kind.DIAL_GAUGE and made.verdict == Verdict.FAILED
            # What went by its last good test is in doubt: the room above lists it, and offers to call it back.
            return redirect("batches:canner", thing.code) if is_gauge else redirect(thing)
    context = {
        "thing": thing,
        "form": form,
        "rules": rules.TEST_RULES[measure].rules,
        "past": InstrumentTest.objects.filter(thing=thing).select_related("recorded_by")[:10],
    }
    return render(request, "equipment/test.html", context)


def _say(request: HttpRequest, record: InstrumentTest) -> None:
    if record.verdict == Verdict.PASSED:
        messages.success(request, _("It passed; the largest error was %(error)s.") % {"error": record.error})
    else:
        messages.error(
            request, _("It failed: it is off by %(error)s. It stays here until it passes.") % {"error": record.error}
        )


# The register in and out as CSV and XLSX.

SALT = "equipment.import"
CHECKED_FOR_S = 3600

Table = tuple[Sequence[str], Callable[[], Iterator[list[Cell]]]]
TABLES: dict[str, Table] = {
    "things": ((*COLUMNS, *equipment_register.STATE_COLUMNS), equipment_register.thing_rows),
    "loans": (tuple(equipment_register.LOANS), equipment_register.loan_rows),
    "holds": (tuple(equipment_register.HOLDS), equipment_register.hold_rows),
    "tests": (equipment_register.TEST_COLUMNS, equipment_register.instrument_rows),
}


@require_safe
def export(request: HttpRequest, what: str, form: str) -> HttpResponseBase:
    by = allow(request, KEEP)
    if what not in TABLES or form not in ("csv", "xlsx"):
        raise Http404
    headings, rows = TABLES[what]
    name = f"{what}-{club_day(timezone.now()):%Y-%m-%d}.{form}"
    person_event(EventKind.EXPORTED, by=by, reference=name)
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    if form == "csv":
        return StreamingHttpResponse(
            write_csv(headings, rows()), content_type="text/csv; charset=utf-8", headers=headers
        )
    return HttpResponse(write_xlsx([(what, headings, rows())]), content_type=XLSX_TYPE, headers=headers)


@require_http_methods(["GET", "POST"])
def take_in(request: HttpRequest) -> HttpResponse:
    """First a look: what would be added and changed, or every problem. Then, from the same rows, the writing."""
    by = allow(request, KEEP)
    if "checked" in request.POST:
        return _write(request)
    form = ImportForm(request.POST or None, request.FILES or None)
    context = {"form": form, "columns": tuple(COLUMNS), "required": equipment_register.REQUIRED}
    if request.method == "POST" and form.is_valid():
        file = form.cleaned_data["file"]
        try:
            rows = read_table(file.read(), file.name, other_encoding="cp1252")
        except TableRefused as error:
            form.add_error("file", str(error))
        else:
            context["report"] = report = services.register_import(by=by, rows=rows, file=file.name)
            if not report.problems:
                kept = {"file": file.name, "rows": [asdict(row) for row in rows]}
                context["checked"] = signing.dumps(kept, salt=SALT, compress=True)
    return render(request, "equipment/import.html", context)


def _write(request: HttpRequest) -> HttpResponse:
    """What was looked at an instant ago, signed so that it is the same."""
    try:
        kept = signing.loads(request.POST["checked"], salt=SALT, max_age=CHECKED_FOR_S)
    except signing.BadSignature:
        messages.error(request, _("That was checked too long ago. Choose the file again."))
        return redirect("equipment:import")
    rows = [Row(**row) for row in kept["rows"]]
    try:
        report = services.register_import(by=allow(request, KEEP), rows=rows, file=kept["file"], dry_run=False)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("equipment:import")
    if report.problems:
        messages.error(request, " ".join(str(problem) for problem in report.problems[:5]))
        return redirect("equipment:import")
    params = {"added": len(report.added), "changed": len(report.changed), "same": len(report.unchanged)}
    messages.success(request, _("%(added)s added, %(changed)s changed, %(same)s as they were.") % params)
    return redirect("equipment:list")


# Labels and the register sheet as PDF, and the page to key the sheet in afterwards.

A_PART = 240  # ten pages of labels: some two seconds, nearly all of it choosing the clearest pattern of squares
MOST_LINES = 1200
OWN_SHEETS = "mine"  # the paper of whoever prints, as they keep it on their own page


@require_safe
def papers(request: HttpRequest) -> HttpResponse:
    allow(request, KEEP)
    count = Thing.objects.exclude(state=ThingState.RETIRED).count()
    context = {
        "kinds": Kind.choices,
        "parts": range(1, -(-count // A_PART) + 1),
        "own": label_paper_of(signed_in(request)).sheet,
        "own_sheets": OWN_SHEETS,
        "own_paper": settings.PAPER,
    }
    return render(request, "equipment/papers.html", context)


def pdf(data: bytes, name: str) -> HttpResponse:
    return HttpResponse(data, "application/pdf", headers={"Content-Disposition": f'inline; filename="{name}"'})


def _asked_for(request: HttpRequest, by: User) -> ThingQuerySet:
    """All things, those of one kind, or of the codes named in the address."""
    things, _asked = register(request, by)
    codes = [one.strip() for one in request.GET.get("codes", "").replace(",", " ").split()][:A_PART]
    if codes:
        return Thing.objects.filter(code_key__in=[code_key(code) for code in codes]).order_by("code")
    return things


@require_safe
def labels(request: HttpRequest) -> HttpResponse:
    """So many at a time."""
    things = _asked_for(request, allow(request, KEEP))
    made = [label_of(thing) for thing in Paginator(things, A_PART).get_page(request.GET.get("part"))]
    asked = request.GET.get("paper", "")
    paper = label_paper_of(signed_in(request))
    first = paper.first_free if asked == OWN_SHEETS else 1
    sheet = paper.sheet if asked == OWN_SHEETS else PLAIN.get(asked, PLAIN[settings.PAPER])
    try:
        data = labels_pdf(made, sheet, title=_("Labels for equipment"), first=first, cut=sheet in PLAIN.values())
    except TooSmall:
        messages.error(request, _("Your labels are too small for these names. Choose larger ones, or paper to cut."))
        return redirect("equipment:papers")
    return pdf(data, "labels.pdf")


def label_of(thing: Thing) -> Label:
    """Its code, its whole name and the club's, and the way to its page."""
    lines = (Line(thing.code, 1.6, is_bold=True), Line(thing.name, 1.1), Line(settings.CLUB_NAME))
    return Label(lines, settings.SITE_URL + thing.get_absolute_url())


@require_safe
def cards(request: HttpRequest) -> HttpResponse:
    """To tie to canners; so many at a time as labels."""
    things = _asked_for(request, allow(request, KEEP)).filter(kind__in=PARTS_KINDS).select_related("home")
    page = Paginator(things.prefetch_related("tests", "parts_looks"), A_PART).get_page(request.GET.get("part"))
    today = club_day(timezone.now())
    data = cards_pdf(
        [card_of(thing, today) for thing in page], title=_("Cards for canners"), paper=request.GET.get("paper", "")
    )
    return pdf(data, "cards.pdf")


@require_safe
def sheet(request: HttpRequest) -> HttpResponse:
    things, _asked = register(request, allow(request, KEEP))
    out = {loan.thing_id: loan for loan in Loan.objects.open().select_related("person")}
    lines = []
    for thing in things[:MOST_LINES]:
        loan = out.get(thing.pk)
        borrower = (str(loan.person), f"{loan.due_on:%m-%d}") if loan else ("", "")
        lines.append(SheetLine(thing.code, thing.name, thing.place, *borrower))
    today = club_day(timezone.now())
    data = sheet_pdf(lines, paper=request.GET.get("paper", ""), club=settings.CLUB_NAME, printed=today)
    return pdf(data, "register-sheet.pdf")


@require_http_methods(["GET", "POST"])
def key_in(request: HttpRequest) -> HttpResponse:
    """Ten lines of the paper sheet at a time."""
    by, today = allow(request, KEEP), club_day(timezone.now())
    token = SheetToken(request.POST or None)
    rows = sheet_forms(request.POST or None, initial={"on": today, "due_on": today + timedelta(days=7)})
    problems = [row.errors for row in rows]  # of every line, so that all of them are told at once
    if request.method == "POST" and token.is_valid() and not any(problems):
        filled = [row for row in rows if row.is_filled]
        try:
            lines = [services.SheetRow(**row.written()) for row in filled]
            loans = services.sheet_key_in(by=by, rows=lines, token=token.cleaned_data["token"])
            text = ngettext("%(n)s line is written down.", "%(n)s lines are written down.", len(loans))
            messages.success(request, text % {"n": len(loans)})
            return redirect("equipment:list")
        except services.SheetRefused as refused:
            for place, sentences in refused.rows.items():
                filled[place].add_error(None, sentences)
            messages.error(request, _("Nothing was written down: mend the lines below first."))
    page = {"token": token, "rows": rows}
    return render(request, "equipment/key_in.html", page)
