"""Small checks that several services share."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied, ValidationError
from django.utils.translation import gettext_lazy as _

from club.core.text import seen
from club.members.models import Units, User


def require_perm(user: User, *perms: str) -> None:
    if not user.has_perms(perms):
        raise PermissionDenied


def clean_name(name: str, *, longest: int, field: str = "name") -> str:
    plain = seen(name)
    if not plain:
        raise ValidationError({field: _("Write a name.")})
    if len(plain) > longest:
        raise ValidationError({field: _("A name has at most %(longest)d letters.") % {"longest": longest}})
    return plain


def clean_units(units: str) -> Units:
    if units not in Units.values:
        raise ValidationError({"units": _("Choose metric or US units.")})
    return Units(units)
