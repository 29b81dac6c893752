"""The cache, with somebody to stand in for it while Redis is away. Nothing of ours but counted sign-ins lies in it.

The stand-in is this process's own memory. So wrong passwords stay counted, though each web process counts for itself:
at the worst a limit is multiplied by their number. The database could count for all of them, but then everybody who
guesses passwords would write to it, at the very time when a part of the house is down already.
"""

from __future__ import annotations

import logging
import time
from typing import Any

from django.core.cache.backends.locmem import LocMemCache
from django.core.cache.backends.redis import RedisCache
from redis.exceptions import RedisError

log = logging.getLogger(__name__)

# While it is away, a page in so many seconds tries again and has the wait.
ASK_AGAIN_AFTER_S = 5.0


def _either(name: str) -> Any:
    """The method of that name: of Redis, or of the memory while Redis is away."""

    def ask(self: RedisOrMemoryCache, *given: Any, **named: Any) -> Any:
        if time.monotonic() >= self._away_until:
            try:
                return getattr(RedisCache, name)(self, *given, **named)
            except RedisError as error:
                self._away_until = time.monotonic() + ASK_AGAIN_AFTER_S
                log.warning("The cache is away, this process counts by itself: %s", error)
        return getattr(self._stand_in, name)(*given, **named)

    return ask


class RedisOrMemoryCache(RedisCache):
    """Redis; when it does not answer, memory, and Redis again as soon as it is back."""

    def __init__(self, server: str, params: dict[str, Any]) -> None:
        super().__init__(server, params)
        self._stand_in = LocMemCache("while-redis-is-away", {k: v for k, v in params.items() if k != "OPTIONS"})
        self._away_until = 0.0

    add = _either("add")
    get = _either("get")
    set = _either("set")
    touch = _either("touch")
    delete = _either("delete")
    get_many = _either("get_many")
    has_key = _either("has_key")
    incr = _either("incr")
    set_many = _either("set_many")
    delete_many = _either("delete_many")
    clear = _either("clear")
