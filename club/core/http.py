"""What the room's views share."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, cast

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.forms import Form
from django.http import HttpRequest

from club.core.errors import AlreadyDone

if TYPE_CHECKING:
    from club.members.models import User


def signed_in(request: HttpRequest) -> User:
    """The person asking. Only for views behind the sign-in."""
    return cast("User", request.user)


def allow(request: HttpRequest, perm: str) -> User:
    user = signed_in(request)
    if not user.has_perm(perm):
        raise PermissionDenied
    return user


@contextmanager
def refusals_on(form: Form) -> Iterator[None]:
    """A service's refusal becomes the form's error, beside its field. Ask `form.errors` afterwards."""
    try:
        yield
    except ValidationError as error:
        for field, sentences in told_by(error).items():
            form.add_error(field if field in form.fields else None, sentences)


def told_by(error: ValidationError) -> dict[str, list[str]]:
    """What a refusal says, by field; "" where it is about no field."""
    return error.message_dict if hasattr(error, "error_dict") else {"": error.messages}


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
