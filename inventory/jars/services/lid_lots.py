"""Writes to the jar room."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Value
from django.db.models.functions import Lower
from django.utils.translation import gettext as _

from club.members.models import User
from inventory.jars.models import LidLot, code_key

CODE_LENGTH = 60
MAKER_LENGTH = 80


@transaction.atomic
def lid_lot_get_or_add(*, by: User, code: str, maker: str = "") -> LidLot:
    """The lot of that code and maker, added when it is new. Case, dashes and spaces make no other lot.

    ValidationError on `lid_code` or `lid_maker`; PermissionDenied for somebody who may not put up batches.
    """
    if not by.has_perm("batches.add_batch"):
        raise PermissionDenied
    code, maker = " ".join(code.split()), " ".join(maker.split())
    _check(code, maker)
    # By the very function of the unique constraint: the database's "iexact" folds other letters than its LOWER.
    lots = LidLot.objects.coded(code).alias(maker_key=Lower("maker")).filter(maker_key=Lower(Value(maker)))
    found = lots.first()
    if found is not None:
        return found
    try:
        with transaction.atomic():
            return LidLot.objects.create(code=code, maker=maker)
    except IntegrityError:  # somebody else added it between the look and the write
        return lots.get()


def _check(code: str, maker: str) -> None:
    if not code_key(code):
        raise ValidationError(
            {"lid_code": _("Give the lot code printed on the box of lids, or what the club wrote on it.")}
        )
    if len(code) > CODE_LENGTH:
        raise ValidationError({"lid_code": _("A lid lot code has at most %(n)s characters.") % {"n": CODE_LENGTH}})
    if len(maker) > MAKER_LENGTH:
        raise ValidationError({"lid_maker": _("A maker's name has at most %(n)s characters.") % {"n": MAKER_LENGTH}})
