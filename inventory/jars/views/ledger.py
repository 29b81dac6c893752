"""The ledger: what stands where, movements, deposits, counts in from a file and everything out."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.core import signing
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_http_methods

from club.core.clock import club_day
from club.core.http import allow, refusals_on, signed_in
from club.core.money import money_text
from club.core.papers import TooSmall, labels_pdf
from club.core.sheets import PLAIN, Label, Line
from club.core.tables import XLSX_TYPE, Row, write_csv, write_xlsx
from club.members.choices import EventKind
from club.members.models import User, label_paper_of
from club.members.services import person_event
from inventory.jars import services
from inventory.jars.choices import PlaceKind, Reason
from inventory.jars.exports import TABLES, workbook_tables
from inventory.jars.forms import FIND, REASONS_OFFERED, CorrectForm, CountsForm, MoveForm, SettleForm
from inventory.jars.models import KEEP, Balance, CountTaken, Deposit, DepositNote, Movement, Place, Supply, SupplyLot
from inventory.jars.services.counting import COLUMNS, CountPlan
from recipes.choices import JARS
from recipes.engine.quantities import JAR_SIZES


def keeper(request: HttpRequest) -> User:
    """The person asking, who keeps the ledger; 403 for others."""
    return allow(request, KEEP)


def place_for(user: User, pk: int) -> Place:
    """The one gate to a place's page: 404 for what this person may not see, as for what is not there."""
    return get_object_or_404(Place.objects.usable_by(user), pk=pk)


def before_key(request: HttpRequest) -> int | None:
    """The key to read on from; anything that is no number begins at the latest."""
    text = request.GET.get("before", "")
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 19 else None


# Looking at the ledger: what stands where, one place, every movement, and deposits.

PER_PAGE = 30
KINDS = {"places": (PlaceKind.STORE, PlaceKind.KITCHEN), "members": (PlaceKind.MEMBER,)}


@require_GET
def home(request: HttpRequest) -> HttpResponse:
    """Jars by place or by member: all of them for who keeps the ledger, one's own for everybody else."""
    user = signed_in(request)
    keeps = user.has_perm(KEEP)
    show = request.GET.get("show", "")
    show = show if show in KINDS else "places"
    places = Place.objects.usable_by(user).in_order()
    page = Paginator(places.filter(kind__in=KINDS[show]) if keeps else places, PER_PAGE).get_page(
        request.GET.get("page")
    )
    counts = Balance.objects.by_place(list(page))
    context: dict[str, Any] = {
        "page": page,
        "rows": [(place, counts[place.pk]) for place in page],
        "totals": Balance.objects.totals() if keeps else None,
        "show": show,
        "keeps": keeps,
        "reasons": REASONS_OFFERED,
        "today": club_day(),
    }
    if keeps:
        context |= {
            "low": list(Supply.objects.exclude(low_since=None)),
            "past": SupplyLot.objects.past(club_day()).count(),
        }
    return render(request, "jars/home.html", context)


@require_GET
def place(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    place = place_for(user, pk)
    there = Balance.objects.there().filter(place=place).select_related("batch").defer("batch__plan")
    lots = Paginator(there.filter(batch__isnull=False).order_by("-batch", "size"), PER_PAGE)
    movements = Movement.objects.at_place(place, before=before_key(request), limit=PER_PAGE + 1)
    context = {
        "place": place,
        "counts": Balance.objects.by_place([place])[place.pk],
        "lots": lots.get_page(request.GET.get("page")),
        "deposits": list(Deposit.objects.open().filter(person=place.person)) if place.person else [],
        "movements": movements[:PER_PAGE],
        "next_before": movements[PER_PAGE - 1].pk if len(movements) > PER_PAGE else None,
        "keeps": user.has_perm(KEEP),
        "may_correct": {movement.pk for movement in movements if movement.by_id == user.pk or user.has_perm(KEEP)},
        "reasons": REASONS_OFFERED,
        "sizes": JAR_SIZES,
    }
    return render(request, "jars/place.html", context)


@require_GET
def place_label(request: HttpRequest, pk: int) -> HttpResponse:
    """A label for the shelf, on the sheets of whoever prints: its square leads to the place, where it is counted."""
    user = signed_in(request)
    place, paper = place_for(user, pk), label_paper_of(user)
    lines = (Line(str(place), 1.6, is_bold=True), Line(settings.CLUB_NAME))
    label = Label(lines, settings.SITE_URL + reverse("jars:place", args=[place.pk]))
    try:
        data = labels_pdf(
            [label], paper.sheet, title=str(place), first=paper.first_free, cut=paper.sheet in PLAIN.values()
        )
    except TooSmall:
        messages.error(request, _("Your labels are too small for this name. Choose larger ones, or paper to cut."))
        return redirect("jars:place", place.pk)
    return HttpResponse(data, "application/pdf", headers={"Content-Disposition": 'inline; filename="shelf.pdf"'})


@require_GET
def movements(request: HttpRequest) -> HttpResponse:
    """Every movement, the latest first; by key, so that each page costs the same in a ledger of a million."""
    keeper(request)
    rows = list(Movement.objects.for_list().before(before_key(request))[: PER_PAGE + 1])
    context = {
        "movements": rows[:PER_PAGE],
        "next_before": rows[PER_PAGE - 1].pk if len(rows) > PER_PAGE else None,
        "may_correct": {movement.pk for movement in rows},
    }
    return render(request, "jars/movements.html", context)


@require_GET
def deposits(request: HttpRequest) -> HttpResponse:
    """Who has jars under deposit, of which size, and what the club holds for them."""
    user = allow(request, KEEP, "batches.add_batch")
    held = Deposit.objects.open()
    page = Paginator(held if user.has_perm(KEEP) else held.filter(person=user), PER_PAGE).get_page(
        request.GET.get("page")
    )
    return render(request, "jars/deposits.html", {"page": page, "keeps": user.has_perm(KEEP), "now": timezone.now()})


# Moving jars, correcting what was written, and closing a deposit.


@require_http_methods(["GET", "POST"])
def move(request: HttpRequest, reason: str) -> HttpResponse:
    """One form for each reason. `?place=` sets where it begins, or ends, to that place."""
    user = signed_in(request)
    if reason not in REASONS_OFFERED:
        raise Http404
    if not user.has_perm("batches.add_batch"):
        raise PermissionDenied
    why = Reason(reason)
    is_finding = FIND in request.POST
    typed = request.POST.dict() if is_finding else {}
    form = MoveForm(
        request.POST if request.method == "POST" and not is_finding else None,
        by=user,
        reason=why,
        finding=typed,
        initial=_initial_place(request, user) | typed,
    )
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            movement = services.jars_move(
                by=user,
                reason=reason,
                source=services.place_of_key(form.source_key),
                target=services.place_of_key(form.target_key),
                **form.written(),
            )
            messages.success(request, _moved_message(movement))
            return redirect(movement.source if movement.source.is_inside else movement.target)
    return render(request, "jars/move.html", {"form": form, "reason": why, "reasons": REASONS_OFFERED})


def _initial_place(request: HttpRequest, user: User) -> dict[str, str]:
    pk = request.GET.get("place", "")
    if not (pk.isascii() and pk.isdecimal() and len(pk) < 19):
        return {}
    key = place_for(user, int(pk)).key
    return {"source": key, "target": key}


def _moved_message(movement: Movement) -> str:
    text = ngettext("%(n)s jar, %(size)s: %(reason)s.", "%(n)s jars, %(size)s: %(reason)s.", movement.count)
    params = {"n": movement.count, "size": JARS[movement.size], "reason": movement.get_reason_display()}
    note = DepositNote.objects.filter(movement=movement).first()
    if note is None:
        return text % params
    money = _("Deposit taken: %(sum)s.") if note.cents > 0 else _("Give back %(sum)s of the deposit.")
    return f"{text % params} {money % {'sum': money_text(abs(note.cents))}}"


@require_http_methods(["GET", "POST"])
def correct(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    movement = _movement_for(user, pk)
    form = CorrectForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            services.jars_correct(by=user, movement=movement, **form.cleaned_data)
            messages.success(request, _("The correction is written. The first movement stays to be seen."))
            return redirect(movement.target if movement.target.is_inside else movement.source)
    return render(request, "jars/correct.html", {"form": form, "movement": movement})


def _movement_for(user: User, pk: int) -> Movement:
    """404 unless every inside place of it is the person's to see; 403 for what somebody else wrote there."""
    movement = get_object_or_404(Movement.objects.for_list(), pk=pk)
    inside = {place.pk for place in (movement.source, movement.target) if place.is_inside}
    if Place.objects.usable_by(user).filter(pk__in=inside).count() != len(inside):
        raise Http404
    if not user.has_perm(KEEP) and movement.by_id != user.pk:
        raise PermissionDenied
    return movement


@require_http_methods(["GET", "POST"])
def settle(request: HttpRequest, pk: int) -> HttpResponse:
    user = keeper(request)
    held = get_object_or_404(Deposit.objects.select_related("person"), pk=pk)
    form = SettleForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            services.deposit_settle(by=user, person=held.person, size=held.size, **form.cleaned_data)
            messages.success(request, _("The deposit is closed."))
            return redirect("jars:deposits")
    return render(request, "jars/settle.html", {"form": form, "deposit": held})


# Counts in from a spreadsheet, and everything out.

SHOWN = 200
SALT = "jars.counts"
CHECKED_FOR_S = 3600


@require_http_methods(["GET", "POST"])
def counts(request: HttpRequest) -> HttpResponse:
    user = keeper(request)
    if "checked" in request.POST:
        return _take(request)
    form = CountsForm(request.POST or None, request.FILES or None)
    plan: CountPlan | None = None
    checked = ""
    if request.method == "POST" and form.is_valid():
        file = form.cleaned_data["file"]
        plan = services.counts_try(by=user, name=file.name, content=file.read())
        if plan.ok:
            rows = [asdict(row) for row in plan.table]
            checked = signing.dumps({"file": plan.file, "digest": plan.digest, "rows": rows}, salt=SALT, compress=True)
    context = {
        "form": form,
        "plan": plan,
        "checked": checked,
        "problems": plan.problems[:SHOWN] if plan else [],
        "changes": plan.changes if plan else [],
        "latest": CountTaken.objects.select_related("by")[:5],
        "columns": COLUMNS,
        "sizes": JAR_SIZES,
    }
    return render(request, "jars/counts.html", context, status=200 if plan is None or plan.ok else 422)


def _take(request: HttpRequest) -> HttpResponse:
    """What was looked over an instant ago, signed so that it is the same; compared with the books anew."""
    user = keeper(request)
    try:
        kept = signing.loads(request.POST["checked"], salt=SALT, max_age=CHECKED_FOR_S)
    except signing.BadSignature:
        messages.error(request, _("That was checked too long ago. Choose the file again."))
        return redirect("jars:counts")
    is_again = CountTaken.objects.filter(digest=kept["digest"]).exists()
    rows = [Row(**row) for row in kept["rows"]]
    try:
        taken = services.counts_take_checked(by=user, name=kept["file"], digest=kept["digest"], rows=rows)
    except ValidationError as error:  # something moved between the look and the writing
        messages.error(request, " ".join(error.messages))
        return redirect("jars:counts")
    if is_again:
        messages.info(request, _("This file was taken in before; nothing was written a second time."))
    else:
        messages.success(request, _("Taken in: %(n)s counts differed from the books.") % {"n": taken.changes})
    return redirect("jars:counts")


@require_GET
def exports(request: HttpRequest) -> HttpResponse:
    keeper(request)
    return render(request, "jars/exports.html", {"tables": [(key, table.title) for key, table in TABLES.items()]})


@require_GET
def export_csv(request: HttpRequest, table: str) -> HttpResponseBase:
    by = keeper(request)
    if table not in TABLES:
        raise Http404
    one = TABLES[table]
    person_event(EventKind.EXPORTED, by=by, reference=f"jars-{table}.csv")
    answer = StreamingHttpResponse(write_csv(one.heads, one.rows()), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="jars-{table}.csv"'
    return answer


@require_GET
def export_workbook(request: HttpRequest) -> HttpResponse:
    person_event(EventKind.EXPORTED, by=keeper(request), reference="jars.xlsx")
    answer = HttpResponse(write_xlsx(workbook_tables()), content_type=XLSX_TYPE)
    answer["Content-Disposition"] = 'attachment; filename="jars.xlsx"'
    return answer
