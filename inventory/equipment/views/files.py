"""The register in and out as CSV and XLSX."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict

from django.contrib import messages
from django.core import signing
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from club.core.tables import TableRefused
from inventory.equipment import columns, exporting, services
from inventory.equipment.file_forms import ImportForm
from inventory.equipment.queries import club_day
from inventory.equipment.spreadsheets import XLSX_TYPE, Cell, Row, read_table, write_csv, write_xlsx
from inventory.equipment.views.asks import keeper

SALT = "equipment.import"
CHECKED_FOR_S = 3600

Table = tuple[Sequence[str], Callable[[], Iterator[list[Cell]]]]
TABLES: dict[str, Table] = {
    "things": ((*columns.THING_COLUMNS, *columns.STATE_COLUMNS), exporting.thing_rows),
    "loans": (tuple(exporting.LOANS), exporting.loan_rows),
    "holds": (tuple(exporting.HOLDS), exporting.hold_rows),
    "tests": (exporting.TEST_COLUMNS, exporting.instrument_rows),
}


@require_safe
def export(request: HttpRequest, what: str, form: str) -> HttpResponseBase:
    keeper(request)
    if what not in TABLES or form not in ("csv", "xlsx"):
        raise Http404
    headings, rows = TABLES[what]
    name = f"{what}-{club_day(timezone.now()):%Y-%m-%d}.{form}"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    if form == "csv":
        return StreamingHttpResponse(
            write_csv(headings, rows()), content_type="text/csv; charset=utf-8", headers=headers
        )
    return HttpResponse(write_xlsx(headings, rows(), title=what), content_type=XLSX_TYPE, headers=headers)


@require_http_methods(["GET", "POST"])
def take_in(request: HttpRequest) -> HttpResponse:
    """First a look: what would be added and changed, or every problem. Then, from the same rows, the writing."""
    by = keeper(request)
    if "checked" in request.POST:
        return _write(request)
    form = ImportForm(request.POST or None, request.FILES or None)
    told = {"form": form, "columns": columns.THING_COLUMNS, "required": columns.REQUIRED}
    if request.method == "POST" and form.is_valid():
        file = form.cleaned_data["file"]
        try:
            rows = read_table(file.read(), file.name)
        except TableRefused as error:
            form.add_error("file", str(error))
        else:
            told["report"] = report = services.register_import(by=by, rows=rows, file=file.name)
            if not report.problems:
                kept = {"file": file.name, "rows": [asdict(row) for row in rows]}
                told["checked"] = signing.dumps(kept, salt=SALT, compress=True)
    return render(request, "equipment/import.html", told)


def _write(request: HttpRequest) -> HttpResponse:
    """What was looked at an instant ago, signed so that it is the same."""
    try:
        kept = signing.loads(request.POST["checked"], salt=SALT, max_age=CHECKED_FOR_S)
    except signing.BadSignature:
        messages.error(request, _("That was checked too long ago. Choose the file again."))
        return redirect("equipment:import")
    rows = [Row(**row) for row in kept["rows"]]
    try:
        report = services.register_import(by=keeper(request), rows=rows, file=kept["file"], dry_run=False)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("equipment:import")
    if report.problems:
        messages.error(request, " ".join(str(problem) for problem in report.problems[:5]))
        return redirect("equipment:import")
    told = {"added": len(report.added), "changed": len(report.changed), "same": len(report.unchanged)}
    messages.success(request, _("%(added)s added, %(changed)s changed, %(same)s as they were.") % told)
    return redirect("equipment:list")
