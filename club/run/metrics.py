"""Figures for Prometheus: what each page takes, and how outbox, queue, audits and backups do.

Off unless METRICS_TOKEN is set; then `/metrics` answers whoever brings that token, and nobody else learns that it is
there. Each web process counts into files of its own under the data folder, which the one that is asked adds up.
"""

from __future__ import annotations

import hmac
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

import redis
from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.db import connection
from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from club.core.logs import route_of
from club.reminders.models import NightlyAudit
from club.reminders.outbox import PATIENCE_S, health_at, not_ready_because

if TYPE_CHECKING:
    from prometheus_client import Counter, Histogram
    from prometheus_client.core import GaugeMetricFamily

SECONDS = (0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10)
QUEUE = "celery"


@dataclass(frozen=True)
class Counted:
    requests: Counter
    seconds: Histogram
    queries: Counter


@cache
def counted() -> Counted:
    """Made once a process, and only where they are wanted: the package looks at its folder when it is imported."""
    from prometheus_client import Counter, Histogram

    return Counted(
        Counter("kettlehall_requests", "Requests answered", ["route", "method", "status"]),
        Histogram("kettlehall_request_seconds", "From the first view to the answer", ["route"], buckets=SECONDS),
        Counter("kettlehall_queries", "Statements sent to the database", ["route"]),
    )


class MetricsMiddleware:
    """Counts each request by its route, never by its path: there are as many paths as things in the club."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        began, queries = time.monotonic(), 0

        def count(execute: Callable[..., Any], *sent: Any) -> Any:
            nonlocal queries
            queries += 1
            return execute(*sent)

        with connection.execute_wrapper(count):
            response = self.get_response(request)
        route, counts = route_of(request), counted()
        counts.requests.labels(route, request.method, response.status_code).inc()
        counts.seconds.labels(route).observe(time.monotonic() - began)
        counts.queries.labels(route).inc(queries)
        return response


@login_not_required
@never_cache
@require_safe
def page(request: HttpRequest) -> HttpResponse:
    kind, _blank, token = request.headers.get("Authorization", "").partition(" ")
    wanted = settings.METRICS_TOKEN
    if not wanted or kind != "Bearer" or not hmac.compare_digest(token.encode(), wanted.encode()):
        raise Http404
    from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, generate_latest
    from prometheus_client.multiprocess import MultiProcessCollector

    registry = CollectorRegistry()
    MultiProcessCollector(registry)  # type: ignore[no-untyped-call]
    registry.register(House())
    return HttpResponse(generate_latest(registry), content_type=CONTENT_TYPE_LATEST)


class House:
    """What is asked of database and broker each time somebody comes for the figures."""

    def collect(self) -> Iterator[GaugeMetricFamily]:
        from prometheus_client.core import GaugeMetricFamily

        for name, (words, value) in figures_now().items():
            if value is not None:
                yield GaugeMetricFamily(f"kettlehall_{name}", words, value=value)


def figures_now() -> dict[str, tuple[str, float | None]]:
    """Name, words, value; None for what cannot be told just now, or never happened."""
    now = timezone.now()
    found = health_at(now)
    is_there = found["database"] == "ok"
    audit = NightlyAudit.objects.filter(ended_at__isnull=False).first() if is_there else None
    ended = audit.ended_at if audit else None
    backup = found.get("last_backup_s_ago")
    return {
        "ready": ("1 while the site does all of its work", float(not not_ready_because(found))),
        "outbox_lag_seconds": ("How late the oldest reminder is", found["oldest_due_reminder_late_s"]),
        "outbox_waiting": ("Reminders that wait to be sent", found["reminders_waiting"]),
        "dead_letters": ("Reminders given up", found["reminders_given_up"]),
        "last_round_age_seconds": ("Since the rules were last asked", found["last_tick_s_ago"]),
        "queue_length": ("Messages that no worker has taken", queue_length()),
        "audit_problems": ("What the last nightly audit found", audit.problems if audit else None),
        "audit_age_seconds": ("Since the last nightly audit", (now - ended).total_seconds() if ended else None),
        "backup_age_seconds": ("Since the last backup", backup if isinstance(backup, int) else None),
    }


def queue_length() -> int | None:
    try:
        with redis.from_url(settings.REDIS_URL, socket_connect_timeout=PATIENCE_S, socket_timeout=PATIENCE_S) as client:
            return int(client.llen(QUEUE))
    except redis.RedisError:
        return None
