"""Counts in from a spreadsheet, and everything out."""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from inventory.jars import services
from inventory.jars.counted import COLUMNS, CountPlan
from inventory.jars.exports import TABLES, workbook_tables
from inventory.jars.forms import CountsForm
from inventory.jars.models import CountTaken
from inventory.jars.sheets import csv_lines, workbook_bytes
from inventory.jars.views.asks import keeper
from recipes.engine.quantities import JAR_SIZES

SHOWN = 200
WORKBOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@require_http_methods(["GET", "POST"])
def counts(request: HttpRequest) -> HttpResponse:
    user = keeper(request)
    form = CountsForm(request.POST or None, request.FILES or None)
    plan: CountPlan | None = None
    if request.method == "POST" and form.is_valid():
        file = form.cleaned_data["file"]
        content = file.read()
        plan = services.counts_try(by=user, name=file.name, content=content)
        if plan.ok and not form.cleaned_data["is_trial"]:
            return _take(request, plan, content)
    told = {
        "form": form,
        "plan": plan,
        "problems": plan.problems[:SHOWN] if plan else [],
        "changes": plan.changes if plan else [],
        "latest": CountTaken.objects.select_related("by")[:5],
        "columns": COLUMNS,
        "sizes": JAR_SIZES,
    }
    return render(request, "jars/counts.html", told, status=200 if plan is None or plan.ok else 422)


def _take(request: HttpRequest, plan: CountPlan, content: bytes) -> HttpResponse:
    try:
        taken = services.counts_take(by=keeper(request), name=plan.file, content=content)
    except ValidationError as error:  # something moved between the trial and the writing
        messages.error(request, " ".join(error.messages))
        return redirect("jars:counts")
    if plan.taken is not None:
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
    keeper(request)
    if table not in TABLES:
        raise Http404
    one = TABLES[table]
    answer = StreamingHttpResponse(csv_lines(one.heads, one.rows()), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="jars-{table}.csv"'
    return answer


@require_GET
def export_workbook(request: HttpRequest) -> HttpResponse:
    keeper(request)
    answer = HttpResponse(workbook_bytes(workbook_tables()), content_type=WORKBOOK)
    answer["Content-Disposition"] = 'attachment; filename="jars.xlsx"'
    return answer
