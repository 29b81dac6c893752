"""Full containers without a process, opened or given away at home."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from club.core.clock import now_or
from club.core.errors import AlreadyDone
from club.core.ledger import part_token
from club.members.models import User
from inventory.batches.models import Batch, ContainerUse, JarQuerySet
from inventory.jars.services import NotEnough


@transaction.atomic
def containers_use(
    *, by: User, among: JarQuerySet, count: int, what: str, token: UUID, now: datetime | None = None
) -> Sequence[ContainerUse]:
    """Write down that so many of these were opened or given away, the oldest first.

    Only what this person put up, or what stands in a kitchen of theirs; none that is set aside or called back. The
    same token again finds what it wrote. NotEnough where there are fewer, AlreadyDone where somebody else of the
    household took one of them meanwhile: nothing is written then. PermissionDenied for who may put up nothing.
    """
    if not by.has_perm("batches.add_batch"):
        raise PermissionDenied
    now = now_or(now)
    tokens = [part_token(token, f"container {number}") for number in range(count)]
    if before := list(ContainerUse.objects.filter(token__in=tokens, by=by).order_by("pk")):
        return before
    full = among.full_containers().sound().filter(batch__in=Batch.objects.cared_for_by(by).values("pk"))
    there = full.count()
    if there < count:
        text = _("There are %(there)s good ones of these on your shelf, not %(wanted)s.")
        raise NotEnough(text % {"there": there, "wanted": count}, there=there)
    jars = full.order_by("batch__jars_out_at", "batch", "number")[:count]
    try:
        with transaction.atomic():
            return [
                ContainerUse.objects.create(jar=jar, what=what, at=now, by=by, token=one)
                for jar, one in zip(jars, tokens, strict=True)
            ]
    except IntegrityError:  # somebody else of the household pressed at the same moment
        raise AlreadyDone(_("Somebody opened one of these at the same moment. Look at the page anew.")) from None
