"""Two thousand requests that nobody means: no answer of 5xx, and the books agree afterwards."""

from __future__ import annotations

import os

import pytest

from tests.permissions.fuzz_walk import Walk, invariants
from tests.permissions.test_who_may_what import TABLE

REQUESTS = int(os.environ.get("FUZZ_REQUESTS", "2000"))


@pytest.mark.django_db
@pytest.mark.long
@pytest.mark.once
def test_no_request_breaks_the_site_or_its_books():
    walk = Walk()
    walk.go(REQUESTS, TABLE)
    assert walk.asked >= REQUESTS
    assert walk.broken == []
    assert list(invariants()) == []
    # It got somewhere: pages were shown, presses were taken, and much was refused.
    assert min(walk.statuses[code] for code in (200, 302, 403, 404)) > REQUESTS // 50, walk.statuses
