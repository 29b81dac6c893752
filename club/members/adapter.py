"""Where allauth asks us: sign-up is by invitation only; mails carry the club's name and lead to its own address."""

from __future__ import annotations

import logging
from typing import Any
from urllib.parse import urlsplit

from allauth.account.adapter import DefaultAccountAdapter
from django.conf import settings
from django.http import HttpRequest

from club.members.models import User

log = logging.getLogger(__name__)


class InvitationOnlyAdapter(DefaultAccountAdapter):  # type: ignore[misc]
    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False

    def format_email_subject(self, subject: str) -> str:
        return f"{settings.CLUB_NAME}: {subject}"

    def send_notification_mail(
        self, template_prefix: str, user: User, context: dict[str, Any] | None = None, email: str | None = None
    ) -> None:
        """To the person by name, also where nobody is signed in (any more). What it tells of is done already, so a
        mail server that is away does not break the page that says so.
        """
        try:
            super().send_notification_mail(template_prefix, user, {**(context or {}), "user": user}, email)
        except OSError:
            log.exception("%s could not be mailed to %s", template_prefix, user.pk)

    def get_reset_password_from_key_url(self, key: str) -> str:
        return at_home(super().get_reset_password_from_key_url(key))

    def get_email_confirmation_url(self, request: HttpRequest, emailconfirmation: Any) -> str:
        return at_home(super().get_email_confirmation_url(request, emailconfirmation))

    def _get_login_attempts_cache_key(self, request: HttpRequest, **credentials: Any) -> str:
        """Wrong passwords are counted by address alone. allauth counts them by the request's host and port as well,
        which whoever asks may write as they like: each port would have its own five tries.
        """
        return str(credentials.get("email") or credentials.get("username") or "").strip().lower()


def at_home(url: str) -> str:
    """The same page at SITE_URL: a mail never leads to a host and port that a request named."""
    return f"{settings.SITE_URL}{urlsplit(url).path}"
