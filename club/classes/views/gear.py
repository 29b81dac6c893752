"""What is kept for a session: one press to gather it, one to let it go, and the list of what is still to buy."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from club.classes.gear_list import GEAR_RULE, GearNeed, gear_needs
from club.classes.keeping import jars_to_buy, to_buy
from club.classes.models import ClassSession
from club.classes.planning import plan_of
from club.classes.services import gear as services
from club.classes.services.publishing import gear_refusals
from club.classes.stock import Shelf, shelves
from club.classes.views.gates import session_to_run
from club.classes.words import SessionState
from club.core.http import refusals_told, signed_in
from inventory.equipment.kinds import kind_label
from recipes.words import JARS


@require_safe
def gear(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    session = session_to_run(user, pk)
    plan, there = plan_of(session), shelves(session, timezone.now())
    needs, kept = gear_needs(plan.hall), list(session.set_aside.select_related("place__kitchen"))
    context = {
        "session": session,
        "needs": _words(needs),
        "held": session.gear.filter(hold__state__in=services.KEPT).select_related("hold__thing", "hold__person"),
        "missing": _words(services.needs_left(session, needs)),
        "kept": [(row, _name(row.what, row.key, there)) for row in kept],
        "shopping": [*jars_to_buy(plan.cookable, user.units, kept), *to_buy(plan.cookable, user.units, kept, there)],
        "refusals": [each.refusal for each in gear_refusals(session)],
        "rule": GEAR_RULE,
        "is_open": session.state in (SessionState.DRAFT, SessionState.PUBLISHED),
    }
    return render(request, "classes/gear.html", context)


@require_POST
def gather(request: HttpRequest, pk: int) -> HttpResponse:
    by = signed_in(request)
    session = session_to_run(by, pk)
    with refusals_told(request):
        done = services.gear_gather(by=by, session=session)
        held = ngettext("%(n)s thing is held now.", "%(n)s things are held now.", done.held) % {"n": done.held}
        messages.success(request, held)
        if done.missing:
            messages.warning(request, _("Not to be had for that day: %(things)s.") % {"things": _words(done.missing)})
    return redirect("classes:gear", pk)


@require_POST
def release(request: HttpRequest, pk: int) -> HttpResponse:
    by = signed_in(request)
    session: ClassSession = session_to_run(by, pk)
    with refusals_told(request):
        services.gear_release(by=by, session=session)
        say_free(request, session)
    return redirect("classes:gear", pk)


def say_free(request: HttpRequest, session: ClassSession) -> None:
    """What was held is free, and what is not, since the counter was first."""
    if codes := services.codes_out(session):
        told = _("Handed over already, so not free: %(codes)s. The counter takes them back. All else is free again.")
        messages.warning(request, told % {"codes": ", ".join(codes)})
    else:
        messages.success(request, _("Everything that was kept for it is free again."))


def _words(needs: Iterable[GearNeed]) -> str:
    """ "2 × Preserving pan, 1 × Jar lifter": how many of each kind, in the order of the needs."""
    counts = Counter(need.kind for need in needs)
    return ", ".join(f"{count} × {kind_label(kind)}" for kind, count in counts.items())


def _name(what: str, key: str, there: Iterable[Shelf]) -> str:
    """What a thing set aside is called."""
    if what == "jar":
        return str(JARS.get(key, key))
    return next((each.name for each in there if (each.what, each.key) == (what, key)), key)
