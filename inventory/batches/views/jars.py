"""One jar, as the square on its label leads to it: may it be eaten, and what became of it."""

from __future__ import annotations

from uuid import UUID, uuid4

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from club.core.http import refusals_as_messages, signed_in
from club.members.models import User
from inventory.batches import services
from inventory.batches.choices import FULL_STILL, Container, Disposal, Seal, made_for_cold
from inventory.batches.models import Batch, Jar
from inventory.batches.presentation import label_text, labels_of
from inventory.batches.rules import HELD_APART, NOT_EATEN
from inventory.batches.services import recalls_of
from inventory.jars.choices import JarState
from inventory.jars.models import Balance, Place


def jar_for(user: User, lot_code: str, number: int) -> Jar:
    """The one gate to a jar's page: 404 for what this person may not see, as for what is not there."""
    jars = Jar.objects.visible_to(user).select_related(
        "batch__revision__recipe", "batch__kitchen", "batch__made_by", "place", "held_by", "answer__recall"
    )
    return get_object_or_404(jars, batch__lot_code=lot_code, number=number)


def _halls_with_full(jar: Jar) -> QuerySet[Place]:
    """What was cooked in a hall is counted there until a keeper of the ledger books it home."""
    rows = Balance.objects.there().filter(batch=jar.batch_id, size=jar.size, state=JarState.FULL)
    return Place.objects.filter(pk__in=rows.values("place"), kitchen__is_hall=True).select_related("kitchen")


@require_safe
def jar(request: HttpRequest, lot_code: str, number: int) -> HttpResponse:
    user = signed_in(request)
    found = jar_for(user, lot_code, number)
    batch = found.batch
    is_recalled = Jar.objects.filter(pk=found.pk).recalled_here().exists()
    is_sound = not is_recalled and found.set_aside_id is None and not found.is_set_apart
    is_theirs = services.is_theirs(user, found)
    is_full = found.disposal in FULL_STILL or made_for_cold(found.seal, found.disposal)
    stands = services.full_beside(user, found) if is_theirs and is_full else []
    context = {
        "jar": found,
        "batch": batch,
        "label": next((one for one in labels_of(batch, every=True) if one.number == found.number), None),
        "text": label_text(batch),
        "is_recalled": is_recalled,
        "recalls": recalls_of(batch) if is_recalled else [],
        "instead": (NOT_EATEN, HELD_APART),
        "is_sound": is_sound,
        "is_there": found.disposal in FULL_STILL or found.disposal == Disposal.REFRIGERATE,
        "is_theirs": is_theirs and found.size not in Container.values,  # the pantry counts these
        "stands": stands,
        "halls": _halls_with_full(found) if is_theirs and not stands else [],
        "count": sum(row.count for row in stands),
        "token": uuid4(),
        "was_sealed": (found.seal, found.disposal) == (Seal.SEALED, Disposal.SHELF),
        "sees_batch": Batch.objects.visible_to(user).filter(pk=batch.pk).exists(),
        "may_trace": user.has_perm("batches.trace_batch"),
    }
    return render(request, "batches/jar.html", context)


@require_POST
def used(request: HttpRequest, lot_code: str, number: int) -> HttpResponse:
    """It was opened, given away, found chipped or broken: one press."""
    user = signed_in(request)
    found = jar_for(user, lot_code, number)
    try:
        token = UUID(request.POST.get("token", ""))
    except ValueError:
        token = uuid4()
    with refusals_as_messages(request):
        movement = services.jar_used(by=user, jar=found, what=request.POST.get("what", ""), token=token)
        left = sum(row.count for row in services.full_beside(user, found))
        told = {"what": movement.get_reason_display(), "left": left}
        messages.success(request, _("Written down: %(what)s. Full jars of this lot and size left: %(left)s.") % told)
    return redirect("batches:jar", found.batch.lot_code, found.number)
