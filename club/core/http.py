"""What the rooms' views share."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING, cast

from allauth.account.decorators import reauthentication_required
from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse

from club.core.errors import AlreadyDone

if TYPE_CHECKING:
    from club.members.models import User


def signed_in(request: HttpRequest) -> User:
    """The person asking. Only for views behind the sign-in."""
    return cast("User", request.user)


def allow(request: HttpRequest, *permissions: str) -> User:
    """The person asking, who holds one of the permissions. PermissionDenied for anybody else."""
    user = signed_in(request)
    if not any(user.has_perm(permission) for permission in permissions):
        raise PermissionDenied
    return user


@reauthentication_required  # type: ignore[untyped-decorator]
def ask_again(request: HttpRequest) -> None:
    """Before what a passer-by at an open browser must not do: whoever has not just said their password, or shown
    their second factor, is asked for it, and what they sent is done then.
    """


@contextmanager
def refusals_on(form: BaseForm, places: Mapping[str, str] | None = None) -> Iterator[None]:
    """A service's refusal becomes the form's error, beside its field. Ask `form.errors` afterwards.

    `places` names the form's field for what the service calls otherwise; what has no field stands above the form.
    """
    try:
        yield
    except ValidationError as error:
        for field, sentences in messages_by_field(error).items():
            place = field if field in form.fields else (places or {}).get(field)
            form.add_error(place if place in form.fields else None, sentences)


def messages_by_field(error: ValidationError) -> dict[str, list[str]]:
    """What a refusal says, by field; "" where it is about no field."""
    return error.message_dict if hasattr(error, "error_dict") else {"": error.messages}


@contextmanager
def refusals_as_messages(request: HttpRequest) -> Iterator[None]:
    """For a button without a form: the refusal, or that somebody was first, becomes a message on the next page."""
    try:
        yield
    except AlreadyDone as done:
        messages.info(request, str(done))
    except ValidationError as error:
        for sentence in error.messages:
            messages.error(request, sentence)


def picture(jpeg: bytes | memoryview, *, kept_for: int) -> HttpResponse:
    """A picture of the members' own, which their browser may keep for so many seconds. Opened by itself it is a picture
    and nothing else, whatever somebody may have got into its bytes."""
    headers = {
        "Cache-Control": f"private, max-age={kept_for}",
        "Content-Disposition": 'inline; filename="picture.jpg"',
        "Content-Security-Policy": "default-src 'none'; sandbox",
    }
    return HttpResponse(bytes(jpeg), content_type="image/jpeg", headers=headers)
