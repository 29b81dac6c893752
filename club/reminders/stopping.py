"""The link in a mail that stops mails of its kind to its person, and does nothing else: it signs nobody in.

Signed and without an end: a mail is kept for years, and its link should still do what it says.
"""

from __future__ import annotations

from django.conf import settings
from django.core import signing
from django.urls import reverse

SALT = "kettlehall.reminders.stop"


def stop_link(person_id: int, kind: str) -> str:
    """The whole address. The same for the same person and kind, so that a mail sent again is the same mail."""
    return settings.SITE_URL + reverse("reminders:stop", args=[stop_token(person_id, kind)])


def stop_token(person_id: int, kind: str) -> str:
    return signing.Signer(salt=SALT).sign_object([person_id, kind])


def token_read(token: str) -> tuple[int, str] | None:
    """Whom and which kind a token is for; None for one that we did not make."""
    try:
        person_id, kind = signing.Signer(salt=SALT).unsign_object(token)
    except (signing.BadSignature, ValueError, TypeError):
        return None
    return person_id, kind
