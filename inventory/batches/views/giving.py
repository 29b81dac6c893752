"""Surplus jars: what is offered, one offer with who asks for some, and the presses that move them on."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from club.core.http import refusals_as_messages, refusals_on, signed_in
from club.members.models import User
from inventory.batches import services
from inventory.batches.choices import ClaimState
from inventory.batches.forms import JarClaimForm, JarOfferForm
from inventory.batches.models import Batch, JarClaim, JarOffer
from inventory.batches.rules import GIVING_RULES, HELD_APART, NOT_EATEN
from inventory.batches.services.giving import jars_to_give
from inventory.batches.tracing import is_called_back
from inventory.batches.views.batches import batch_to_write

PER_PAGE = 30


def offer_for(user: User, pk: int) -> JarOffer:
    """The one gate to an offer."""
    return get_object_or_404(JarOffer.objects.visible_to(user).for_list(), pk=pk)


def claim_for(user: User, pk: int) -> JarClaim:
    """A claim, for whoever made it and for the giver's household; 404 for everybody else."""
    claim = get_object_or_404(JarClaim.objects.select_related("offer__batch__kitchen", "person"), pk=pk)
    if claim.person_id != user.pk and not _is_theirs(user, claim.offer):
        raise Http404
    return claim


def _is_theirs(user: User, offer: JarOffer) -> bool:
    return Batch.objects.cared_for_by(user).filter(pk=offer.batch_id).exists()


@require_safe
def jar_offers(request: HttpRequest) -> HttpResponse:
    user = signed_in(request)
    # The keys first: what is called back is looked for once, not for the count and again for the rows.
    sound = list(JarOffer.objects.open().sound().order_by("-created_at", "-pk").values_list("pk", flat=True))
    page = Paginator(sound, PER_PAGE).get_page(request.GET.get("page"))
    mine = JarOffer.objects.filter(giver=user).for_list()[:PER_PAGE]
    asked = JarClaim.objects.filter(person=user).select_related("offer__batch__revision__recipe", "offer__giver")
    context = {
        "page": page,
        "offers": JarOffer.objects.filter(pk__in=list(page)).for_list(),
        "mine": mine,
        "claims": asked.defer("offer__batch__plan", "offer__batch__revision__content").order_by("-pk")[:PER_PAGE],
        "rules": GIVING_RULES,
    }
    return render(request, "batches/jar_offers.html", context)


@require_http_methods(["GET", "POST"])
def jar_offer_new(request: HttpRequest, lot_code: str) -> HttpResponse:
    user = signed_in(request)
    batch = batch_to_write(user, lot_code)
    sizes = sorted({jar.size for jar in batch.jars.all()})
    free = {size: len(jars_to_give(batch, size)) for size in sizes}
    form = JarOfferForm(request.POST or None, free=free)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            offer = services.jar_offer_make(by=user, batch=batch, **form.cleaned_data)
            messages.success(request, _("The jars are offered."))
            return redirect(offer)
    context = {
        "batch": batch,
        "form": form,
        "can_offer": any(free.values()),
        "is_called_back": is_called_back(batch),
        "instead": (NOT_EATEN, HELD_APART),
        "rules": GIVING_RULES,
    }
    return render(request, "batches/jar_offer_new.html", context)


@require_safe
def jar_offer(request: HttpRequest, pk: int) -> HttpResponse:
    return _offer_page(request, offer_for(signed_in(request), pk), JarClaimForm())


def _offer_page(request: HttpRequest, offer: JarOffer, form: JarClaimForm) -> HttpResponse:
    user = signed_in(request)
    gives = _is_theirs(user, offer)
    claims = offer.claims.select_related("person")
    context = {
        "offer": offer,
        "gives": gives,
        "form": form,
        "claims": claims if gives else claims.filter(person=user),
        "has_asked": claims.filter(person=user, state=ClaimState.ASKED).exists(),
        "is_called_back": is_called_back(offer.batch),
        "instead": (NOT_EATEN, HELD_APART),
        "rules": GIVING_RULES,
    }
    return render(request, "batches/jar_offer.html", context)


@require_POST
def jar_claim(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    offer = offer_for(user, pk)
    form = JarClaimForm(request.POST)
    if form.is_valid():
        with refusals_on(form):
            services.jar_claim_make(by=user, offer=offer, **form.cleaned_data)
            messages.success(request, _("Asked. Settle with the giver when you pick them up."))
            return redirect(offer)
    return _offer_page(request, offer, form)


@require_POST
def jar_hand_over(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    claim = claim_for(user, pk)
    firm = request.POST.get("seals_firm") == "on"
    done = _("Written down: the jars are with %(who)s now.") % {"who": claim.person}
    return _pressed(request, claim.offer, done, lambda: services.jars_hand_over(by=user, claim=claim, seals_firm=firm))


@require_POST
def jar_claim_decline(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    claim = claim_for(user, pk)
    return _pressed(request, claim.offer, _("Noted."), lambda: services.jar_claim_decline(by=user, claim=claim))


@require_POST
def jar_claim_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    claim = claim_for(user, pk)
    return _pressed(request, claim.offer, _("Noted."), lambda: services.jar_claim_withdraw(by=user, claim=claim))


@require_POST
def jar_offer_close(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    offer = offer_for(user, pk)
    return _pressed(request, offer, _("The offer is closed."), lambda: services.jar_offer_close(by=user, offer=offer))


def _pressed(request: HttpRequest, offer: JarOffer, done: str, act: Callable[[], object]) -> HttpResponse:
    """One press of a button: what came of it is said on the page it leads back to."""
    with refusals_as_messages(request):
        act()
        messages.success(request, done)
    is_visible = JarOffer.objects.visible_to(signed_in(request)).filter(pk=offer.pk).exists()
    return redirect(offer) if is_visible else redirect("batches:jar-offers")
