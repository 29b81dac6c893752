from __future__ import annotations

import pytest

from club.settings import broker_url, cache_url


@pytest.mark.parametrize(
    ("redis_url", "broker", "cache"),
    [
        ("redis://host:6379/0", "redis://host:6379/0", "redis://host:6379/1"),
        ("redis://:secret@host:6379/4", "redis://:secret@host:6379/4", "redis://:secret@host:6379/5"),
        ("redis://host", "redis://host", "redis://host/1"),
        ("unix:///run/b.sock", "redis+socket:///run/b.sock?virtual_host=0", "unix:///run/b.sock?db=1"),
        ("unix:///run/b.sock?db=2", "redis+socket:///run/b.sock?virtual_host=2", "unix:///run/b.sock?db=3"),
    ],
)
def test_the_cache_never_lives_in_the_queues_database(redis_url, broker, cache):
    assert broker_url(redis_url) == broker
    assert cache_url(redis_url) == cache
