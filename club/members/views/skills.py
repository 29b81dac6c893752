"""Who learned what, for those who teach it: a class waived with a reason, a record taken back."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from club.core.http import allow, refusals_on
from club.members import services
from club.members.forms import WaiveForm
from club.members.models import SkillRecord

PER_PAGE = 50


@require_http_methods(["GET", "POST"])
def skills(request: HttpRequest) -> HttpResponse:
    user = allow(request, "members.note_skill")
    form = WaiveForm(request.POST or None, besides=user)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            record = services.skill_waive(by=user, **form.cleaned_data)
            told = {"name": str(record.person), "skill": record.get_skill_display()}
            messages.success(request, _("%(name)s, %(skill)s: waived.") % told)
            return redirect("members:skills")
    page = Paginator(SkillRecord.objects.standing().for_list(), PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "members/skills.html", {"form": form, "page": page})


@require_POST
def withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, "members.note_skill")
    record = get_object_or_404(SkillRecord.objects.select_related("person"), pk=pk)
    if services.skill_withdraw(by=user, record=record):
        told = {"name": str(record.person), "skill": record.get_skill_display()}
        messages.success(request, _("%(name)s, %(skill)s: taken back.") % told)
    return redirect("members:skills")
