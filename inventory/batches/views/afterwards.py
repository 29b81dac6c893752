"""How a batch came out, and its pictures."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from club.core.errors import AlreadyDone
from club.core.http import picture, refusals_as_messages, refusals_on, signed_in
from club.members.models import User
from inventory.batches import services
from inventory.batches.forms import BatchPhotoForm, CameOutForm
from inventory.batches.models import Batch, BatchPhoto
from inventory.batches.views.batches import batch_at_the_stove, batch_for


@require_http_methods(["GET", "POST"])
def came_out(request: HttpRequest, lot_code: str) -> HttpResponse:
    user = signed_in(request)
    batch = batch_at_the_stove(user, lot_code)
    form = CameOutForm(request.POST or None, was=getattr(batch, "came_out", None))
    if request.method == "POST" and form.is_valid():
        try:
            with refusals_on(form):
                services.came_out_note(by=user, batch=batch, **form.cleaned_data)
                messages.success(request, _("Written down."))
                return redirect(batch)
        except AlreadyDone as done:
            messages.info(request, str(done))
            return redirect(batch)
    return _page(request, user, batch, form=form)


def _page(
    request: HttpRequest,
    user: User,
    batch: Batch,
    *,
    form: CameOutForm | None = None,
    photo_form: BatchPhotoForm | None = None,
) -> HttpResponse:
    context = {
        "batch": batch,
        "form": form or CameOutForm(was=getattr(batch, "came_out", None)),
        "photo_form": photo_form or BatchPhotoForm(action=reverse("batches:photo-add", args=[batch.lot_code])),
        "photos": batch.photos.defer("jpeg").select_related("added_by"),
        "may_note": batch.jars_out_at and Batch.objects.changeable_by(user).filter(pk=batch.pk).exists(),
    }
    return render(request, "batches/came_out.html", context)


@require_POST
def photo_add(request: HttpRequest, lot_code: str) -> HttpResponse:
    user = signed_in(request)
    batch = batch_at_the_stove(user, lot_code)
    form = BatchPhotoForm(request.POST, request.FILES, action=request.path)
    if form.is_valid():
        data = dict(form.cleaned_data)
        with refusals_on(form):
            services.batch_photo_add(by=user, batch=batch, file=data.pop("photo"), **data)
            messages.success(request, _("The picture is kept with the batch."))
            return redirect("batches:came-out", batch.lot_code)
    return _page(request, user, batch, photo_form=form)


@require_safe
def photo(request: HttpRequest, lot_code: str, pk: int) -> HttpResponse:
    found = get_object_or_404(BatchPhoto, batch=batch_for(signed_in(request), lot_code), pk=pk)
    return picture(found.jpeg, kept_for=3600)


@require_POST
def photo_remove(request: HttpRequest, lot_code: str, pk: int) -> HttpResponse:
    user = signed_in(request)
    batch = batch_at_the_stove(user, lot_code)
    found = get_object_or_404(BatchPhoto.objects.select_related("batch"), batch=batch, pk=pk)
    with refusals_as_messages(request):
        services.batch_photo_remove(by=user, photo=found)
    return redirect("batches:came-out", batch.lot_code)
