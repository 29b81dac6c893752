"""What every page may show of the house itself."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest


def house(request: HttpRequest) -> dict[str, Any]:
    return {"club_name": settings.CLUB_NAME}
