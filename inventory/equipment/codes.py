"""The code on a thing's label: how it is written, and how it is read from a typing hand or a scanner."""

from __future__ import annotations

import re
from urllib.parse import urlsplit

CODE_LENGTH = 20
_WRITTEN = re.compile(r"[A-Z0-9]+(-[A-Z0-9]+)*")
_LAST_PART = re.compile(r"/t/([^/]+)/?$")


def code_written(text: str) -> str | None:
    """The code as a label prints it: capitals, digits and single dashes. None when it cannot be one."""
    code = re.sub(r"[\s_-]+", "-", text.strip()).strip("-").upper()
    return code if len(code) <= CODE_LENGTH and _WRITTEN.fullmatch(code) else None


def code_key(text: str) -> str:
    """Letters and digits only, in capitals: codes are compared without the dashes and spaces somebody typed."""
    return re.sub(r"[^A-Za-z0-9]", "", text).upper()


def code_scanned(text: str) -> str:
    """The code somebody typed, or the one in the address that a label's square holds."""
    found = _LAST_PART.search(urlsplit(text.strip()).path)
    return found[1] if found else text.strip()
