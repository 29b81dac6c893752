"""What services of every room raise besides Django's own refusals."""

from __future__ import annotations

from typing import TypeVar

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

Row = TypeVar("Row")


class AlreadyDone(Exception):
    """The thing asked for was done before, by this press or by somebody else's. The message says so to a person.

    One class for the whole house: a room that uses another's services catches theirs with its own.
    """


def form_reused() -> ValidationError:
    """For whoever sends a form whose token made something else before."""
    return ValidationError(_("This form was used for something else already. Open the page again."))


def same_form(made: Row, **fields: object) -> Row:
    """What the token of a form made the first time; ValidationError where that was another's, or something else."""
    if any(getattr(made, name) != value for name, value in fields.items()):
        raise form_reused()
    return made
