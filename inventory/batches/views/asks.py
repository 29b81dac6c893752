"""What the room's views share: who asks, the gate to a batch, and a refusal put beside its field."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import cast

from django.core.exceptions import NON_FIELD_ERRORS, PermissionDenied, ValidationError
from django.forms import Form
from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from club.members.models import User
from inventory.batches.models import Batch


def signed_in(request: HttpRequest) -> User:
    """The person asking. Only for views behind the sign-in."""
    return cast(User, request.user)


def batch_for(user: User, lot_code: str) -> Batch:
    """The one gate to a batch's pages: 404 for what this person may not see, as for what is not there."""
    return get_object_or_404(Batch.objects.visible_to(user).for_page(), lot_code=lot_code)


def batch_to_write(user: User, lot_code: str) -> Batch:
    """As `batch_for`, and 403 for somebody who may see the batch but not write in its log."""
    batch = batch_for(user, lot_code)
    if not Batch.objects.changeable_by(user).filter(pk=batch.pk).exists():
        raise PermissionDenied
    return batch


def batch_at_the_stove(user: User, lot_code: str) -> Batch:
    """As `batch_to_write`, for the process log and giving up: also for whoever started it for somebody else."""
    batch = batch_for(user, lot_code)
    if not Batch.objects.worked_at_by(user).filter(pk=batch.pk).exists():
        raise PermissionDenied
    return batch


@contextmanager
def refusals_on(form: Form) -> Iterator[None]:
    """A service's refusal becomes the form's error, beside its field. Ask `form.errors` afterwards."""
    try:
        yield
    except ValidationError as error:
        told = error.message_dict if hasattr(error, "error_dict") else {NON_FIELD_ERRORS: error.messages}
        for field, sentences in told.items():
            form.add_error(_place(form, field), sentences)


def _place(form: Form, field: str) -> str | None:
    """The form's own field; a problem of all the jar counts goes to the first of them."""
    sizes = getattr(form, "sizes", ())
    if field == "jars" and sizes:
        return f"jars_{sizes[0]}"
    return field if field in form.fields else None
