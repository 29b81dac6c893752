"""Lid lots for tests."""

from __future__ import annotations

from itertools import count
from typing import Any

from inventory.jars.models import LidLot

_numbers = count(1)


def make_lid_lot(code: str = "", maker: str = "", **fields: Any) -> LidLot:
    return LidLot.objects.create(code=code or f"LID-{next(_numbers)}", maker=maker, **fields)
