from __future__ import annotations

import pytest


@pytest.fixture(autouse=True)
def club_address(settings):
    """What links in mails begin with."""
    settings.SITE_URL = "https://club.example.test"
