from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from typing import Any

from django.core.wsgi import get_wsgi_application
from django.utils.http import parse_header_parameters

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "club.settings")

django_application = get_wsgi_application()


def application(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
    """The site, for requests in UTF-8. Django decodes with whatever codec a request names, also with one that is no
    encoding of text or that gives half a letter: it breaks on them, here or where the answer is written.
    """
    if is_utf8(environ.get("CONTENT_TYPE", "")):
        return django_application(environ, start_response)
    start_response("400 Bad Request", [("Content-Type", "text/plain; charset=utf-8")])
    return [b"This site reads UTF-8 only.\n"]


def is_utf8(content_type: str) -> bool:
    """Whether a Content-Type names no charset, or UTF-8."""
    try:
        _kind, parameters = parse_header_parameters(content_type)
    except ValueError:
        return False
    return parameters.get("charset", "utf-8").lower() in ("utf-8", "utf8")
