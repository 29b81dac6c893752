"""What the room's views share: who asks, the gate to a place, and a refusal put beside its field."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import cast

from django.core.exceptions import NON_FIELD_ERRORS, PermissionDenied, ValidationError
from django.forms import Form
from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from club.members.models import User
from inventory.jars.models import Place
from inventory.jars.queries import KEEP


def signed_in(request: HttpRequest) -> User:
    """The person asking. Only for views behind the sign-in."""
    return cast(User, request.user)


def keeper(request: HttpRequest) -> User:
    """The person asking, who keeps the ledger; 403 for others."""
    user = signed_in(request)
    if not user.has_perm(KEEP):
        raise PermissionDenied
    return user


def place_for(user: User, pk: int) -> Place:
    """The one gate to a place's page: 404 for what this person may not see, as for what is not there."""
    return get_object_or_404(Place.objects.usable_by(user), pk=pk)


@contextmanager
def refusals_on(form: Form) -> Iterator[None]:
    """A service's refusal becomes the form's error, beside its field. Ask `form.errors` afterwards."""
    try:
        yield
    except ValidationError as error:
        told = error.message_dict if hasattr(error, "error_dict") else {NON_FIELD_ERRORS: error.messages}
        for field, sentences in told.items():
            form.add_error(field if field in form.fields else None, sentences)


def before_asked(request: HttpRequest) -> int | None:
    """The key to read on from; anything that is no number begins at the latest."""
    text = request.GET.get("before", "")
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 19 else None
