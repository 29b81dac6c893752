"""What things cost."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from club.members.models import User
from recipes.engine.quantities import AmountError, parse_amount
from recipes.indexing import price_key
from recipes.models import Price

MOST_CENTS = 100_000_00
LONGEST_ITEM = 80
LONGEST_PACKAGE = 40


@transaction.atomic
def price_note(*, by: User, item: str, package: str, cents: int, token: UUID, now: datetime | None = None) -> Price:
    """Note what a package of something costs. A token that noted a price before gives that price.

    ValidationError, by field, for a thing without a name, a package that is no amount, or a price that is no price.
    """
    if not by.has_perm("recipes.add_price"):
        raise PermissionDenied
    key, package = price_key(item), " ".join(package.split())
    problems = _problems(key, package, cents)
    if problems:
        raise ValidationError(problems)
    try:
        with transaction.atomic():
            return Price.objects.create(
                item=key, package=package, cents=cents, by=by, at=now or timezone.now(), token=token
            )
    except IntegrityError:
        made = Price.objects.filter(token=token, by=by).first()
        if made is None:
            raise ValidationError(_("This form was used before. Open the page again.")) from None
        return made


def _problems(key: str, package: str, cents: int) -> dict[str, str]:
    problems = {}
    if not 0 < len(key) <= LONGEST_ITEM:
        problems["item"] = _("Say what it is, in at most %(most)s letters.") % {"most": LONGEST_ITEM}
    try:
        amount = parse_amount(package)
        if len(package) > LONGEST_PACKAGE or amount.value <= 0:
            problems["package"] = _("Say what one package holds, such as 4 lb, 1 l or 12 each.")
    except AmountError as error:
        problems["package"] = str(error)
    if not 0 < cents <= MOST_CENTS:
        problems["price"] = _("A price lies above 0.00 and at most at %(most)s.") % {"most": f"{MOST_CENTS / 100:,.2f}"}
    return problems
