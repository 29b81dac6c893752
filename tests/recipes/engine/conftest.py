"""The engine needs nothing of the site, so its tests switch nothing on."""

from __future__ import annotations

import pytest


@pytest.fixture(autouse=True)
def plain_parts():
    """Stands in for the site-wide fixture of the same name, which changes Django's settings."""
