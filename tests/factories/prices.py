"""Noted prices for tests; the figures are invented."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import Any

from django.utils import timezone

from recipes.models import Price


def make_price(
    *, by: Any, item: str = "sugar", package: str = "2 kg", cents: int = 300, at: datetime | None = None
) -> Price:
    return Price.objects.create(
        item=item, package=package, cents=cents, by=by, at=at or timezone.now(), token=uuid.uuid4()
    )
