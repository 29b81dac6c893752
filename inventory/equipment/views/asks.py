"""What the room's views share: who asks, the gates to a thing, a hold and a loan, and a refusal beside its field."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import cast

from django.contrib import messages
from django.core.exceptions import NON_FIELD_ERRORS, PermissionDenied, ValidationError
from django.forms import Form
from django.http import Http404, HttpRequest
from django.shortcuts import get_object_or_404

from club.core.errors import AlreadyDone
from club.members.models import User
from inventory.equipment.kinds import Kind
from inventory.equipment.models import Hold, Loan, Thing, WaitingEntry
from inventory.equipment.queries import KEEP

FIELDS = {"deposit": "deposit_cents", "readings": "shown_1", "capacity": "jars_pint"}


def signed_in(request: HttpRequest) -> User:
    """The person asking. Only for views behind the sign-in."""
    return cast(User, request.user)


def keeper(request: HttpRequest) -> User:
    """403 for somebody who does not keep the things."""
    user = signed_in(request)
    if not user.has_perm(KEEP):
        raise PermissionDenied
    return user


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


@contextmanager
def refusals_on(form: Form) -> Iterator[None]:
    """A service's refusal becomes the form's error, beside its field. Ask `form.errors` afterwards."""
    try:
        yield
    except ValidationError as error:
        told = error.message_dict if hasattr(error, "error_dict") else {NON_FIELD_ERRORS: error.messages}
        for field, sentences in told.items():
            place = FIELDS.get(field, field)
            form.add_error(place if place in form.fields else None, sentences)


@contextmanager
def refusals_told(request: HttpRequest) -> Iterator[None]:
    """For a button without a form: the refusal, or that somebody was first, becomes a message on the next page."""
    try:
        yield
    except AlreadyDone as done:
        messages.info(request, str(done))
    except ValidationError as error:
        for sentence in error.messages:
            messages.error(request, sentence)
