"""A person's private calendar address: made, made anew (the old one is dead at once), and closed."""

from __future__ import annotations

import secrets
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from club.members.models import CalendarAddress, User

TOKEN_BYTES = 32  # nobody guesses it


@transaction.atomic
def calendar_address_renew(*, by: User, now: datetime | None = None) -> CalendarAddress:
    """A new address; whoever had the old one sees nothing any more."""
    told = {"token": secrets.token_urlsafe(TOKEN_BYTES), "made_at": now or timezone.now()}
    address, _made = CalendarAddress.objects.update_or_create(person=by, defaults=told)
    return address


@transaction.atomic
def calendar_address_close(*, by: User) -> bool:
    """No address at all. False when there was none."""
    return CalendarAddress.objects.filter(person=by).delete()[0] > 0
