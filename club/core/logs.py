"""What the site writes of its work: lines with the time, its zone and the request's number; mails on errors.

Importable without Django's settings: gunicorn's own log is set up before them.
"""

from __future__ import annotations

import json
import logging
import os
import re
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import datetime
from typing import TYPE_CHECKING, Any
from uuid import uuid4

from django.core.signals import request_finished
from django.dispatch import receiver

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

# A request's number follows it: into each line, the messages it sends to a worker, the mails it writes.

HEADER = "X-Request-ID"
# Of a proxy's number only what cannot break a line, a header or a page.
WELL_FORMED = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{7,63}", re.ASCII)
_current: ContextVar[str] = ContextVar("request_id", default="")

log = logging.getLogger("club.requests")


def request_id() -> str:
    """Of the request or the job that is being worked on; empty outside of any."""
    return _current.get()


def well_formed(number: str) -> str:
    """This number, or a new one where it could break something."""
    return number if WELL_FORMED.fullmatch(number) else uuid4().hex


def number_header() -> dict[str, str]:
    """For a mail: by it the lines are found that tell how the mail came about."""
    return {HEADER: request_id()} if request_id() else {}


@contextmanager
def numbered(number: str = "") -> Iterator[str]:
    """All that is done in the block goes under this number, or a new one where it is not well formed."""
    token = _current.set(well_formed(number))
    try:
        yield request_id()
    finally:
        _current.reset(token)


class RequestMiddleware:
    """The outermost: gives each request its number, and writes one line of it when it is answered.

    The line names the route, not the path: paths hold invitations, calendar addresses and other secrets.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        began = time.monotonic()
        _current.set(well_formed(request.headers.get(HEADER, "")))
        response = self.get_response(request)
        response.headers[HEADER] = request_id()
        route = route_of(request)
        if not route.startswith("healthz"):
            fields = {
                "method": request.method,
                "route": route,
                "status": response.status_code,
                "ms": round((time.monotonic() - began) * 1000),
            }
            log.info("%(method)s %(route)s %(status)d in %(ms)d ms", fields, extra={"fields": fields})
        return response


@receiver(request_finished)
def leave_number(**named: object) -> None:
    """Not before: Django has a word of its own on an answer that went through all of the middleware."""
    _current.set("")


def route_of(request: HttpRequest) -> str:
    """The pattern that a request's path matched; "?" where it matched none, or met something before."""
    found = request.resolver_match
    return found.route if found else "?"


# Lines.


def moment_of(record: logging.LogRecord) -> str:
    return datetime.fromtimestamp(record.created).astimezone().isoformat(timespec="milliseconds")


class PlainFormatter(logging.Formatter):
    """2026-08-14T18:10:00.123-06:00 INFO club.reminders.outbox [4f1c...] what was done"""

    def __init__(self) -> None:
        super().__init__("%(moment)s %(levelname)s %(name)s%(number)s %(message)s")

    def format(self, record: logging.LogRecord) -> str:
        record.moment = moment_of(record)
        record.number = f" [{request_id()}]" if request_id() else ""
        return super().format(record)


class JsonFormatter(logging.Formatter):
    """One object a line: time, level, logger, message; request_id, fields of its own and exception where there are."""

    def format(self, record: logging.LogRecord) -> str:
        told: dict[str, Any] = {
            "time": moment_of(record),
            "level": record.levelname,
            "logger": record.name,
            "message": record.getMessage(),
            "process": record.process,
        }
        if request_id():
            told["request_id"] = request_id()
        told |= getattr(record, "fields", {})
        if record.exc_info:
            told["exception"] = self.formatException(record.exc_info)
        return json.dumps(told, ensure_ascii=False, default=str)


def is_news(record: logging.LogRecord) -> bool:
    """Filter: that the site is not ready is answered to whoever asks, and is no error of the page that says so."""
    request = getattr(record, "request", None)
    return request is None or not route_of(request).startswith("healthz")


def formatter() -> dict[str, type[logging.Formatter]]:
    """What LOG_FORMAT asks for, as `logging.config` wants it."""
    return {"()": JsonFormatter if os.environ.get("LOG_FORMAT", "plain") == "json" else PlainFormatter}


# Mails.

QUIET_S = 900.0  # for so long one place in the code writes no second mail: a full disk fails on every page


class MailToAdmins(logging.Handler):
    """An error goes to ADMINS with its traceback, and with nothing of what the request sent: no fields, no cookies."""

    def __init__(self) -> None:
        super().__init__(logging.ERROR)
        self._told: dict[object, float] = {}

    def emit(self, record: logging.LogRecord) -> None:
        from django.conf import settings
        from django.core.mail import mail_admins

        if not settings.ADMINS or not self._is_news(record):
            return
        what = self._what(record)
        try:
            mail_admins(f"{record.levelname} {record.name}: {what.splitlines()[0][:120]}", self._text(record, what))
        except Exception:
            self.handleError(record)

    def _is_news(self, record: logging.LogRecord) -> bool:
        kind = record.exc_info[0] if record.exc_info else None
        place = (record.name, record.pathname, record.lineno, kind)
        now = time.monotonic()
        if now - self._told.get(place, float("-inf")) < QUIET_S:
            return False
        self._told[place] = now
        return True

    @staticmethod
    def _what(record: logging.LogRecord) -> str:
        request = getattr(record, "request", None)
        return f"{request.method} {route_of(request)}" if request is not None else record.getMessage() or "?"

    @staticmethod
    def _text(record: logging.LogRecord, what: str) -> str:
        lines = [what, f"At {moment_of(record)}, process {record.process}, request {request_id() or 'none'}."]
        if record.exc_info:
            lines.append(logging.Formatter().formatException(record.exc_info))
        lines.append(f"The same place writes no further mail for {QUIET_S / 60:.0f} minutes; the log has each time.")
        return "\n\n".join(lines)
