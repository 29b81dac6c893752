"""What the views of offers share: the gates, and a refusal beside its field."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from django.core.exceptions import PermissionDenied, ValidationError
from django.forms import Form
from django.shortcuts import get_object_or_404

from club.core.http import told_by
from club.members.models import User
from inventory.fruit.models import Claim, Offer, Share
from inventory.fruit.offer_queries import RUN

FIELDS = {"windows": "day", "each_g": "each"}


def offer_for(user: User, pk: int) -> Offer:
    """The one gate to an offer's pages: 404 for what this person may not see, as for what is not there."""
    return get_object_or_404(Offer.objects.visible_to(user).select_related("giver"), pk=pk)


def offer_run_by(user: User, pk: int) -> Offer:
    """For its giver and organisers; 403 for somebody else who may see it."""
    offer = offer_for(user, pk)
    if not may_run(user, offer):
        raise PermissionDenied
    return offer


def may_run(user: User, offer: Offer) -> bool:
    return offer.giver_id == user.pk or user.has_perm(RUN)


def share_for(user: User, pk: int) -> Share:
    return get_object_or_404(Share.objects.visible_to(user).select_related("offer__giver", "window"), pk=pk)


def claim_for(user: User, pk: int) -> Claim:
    return get_object_or_404(Claim.objects.visible_to(user).select_related("offer"), pk=pk)


@contextmanager
def refusals_on(form: Form) -> Iterator[None]:
    """A service's refusal becomes the form's error, beside its field. Ask `form.errors` afterwards."""
    try:
        yield
    except ValidationError as error:
        for field, sentences in told_by(error).items():
            place = field if field in form.fields else FIELDS.get(field, field)
            form.add_error(place if place in form.fields else None, sentences)
