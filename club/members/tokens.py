"""The link in an invitation: its nonce, signed and stamped with the time. The database row has the last word."""

from __future__ import annotations

import secrets
from datetime import timedelta
from enum import StrEnum

from django.core import signing

SALT = "kettlehall.invitation"


class Closed(StrEnum):
    """Why an invitation's link does not work."""

    FORGED = "forged"
    EXPIRED = "expired"
    REPLACED = "replaced"
    WITHDRAWN = "withdrawn"
    USED = "used"


class InvitationClosed(Exception):
    """The link is no (longer) good; `reason` says why."""

    def __init__(self, reason: Closed) -> None:
        super().__init__(reason.value)
        self.reason = reason


def new_nonce() -> str:
    return secrets.token_urlsafe(32)


def token_for(nonce: str) -> str:
    return signing.TimestampSigner(salt=SALT).sign(nonce)


def nonce_from(token: str, *, good_for: timedelta) -> str:
    """The nonce that `token` carries. Raises InvitationClosed for a forged or an outdated token."""
    try:
        return signing.TimestampSigner(salt=SALT).unsign(token, max_age=good_for)
    except signing.SignatureExpired as error:
        raise InvitationClosed(Closed.EXPIRED) from error
    except signing.BadSignature as error:
        raise InvitationClosed(Closed.FORGED) from error
