"""Where allauth asks us: sign-up is by invitation only, and its mails carry the club's name."""

from __future__ import annotations

from allauth.account.adapter import DefaultAccountAdapter
from django.conf import settings
from django.http import HttpRequest


class InvitationOnlyAdapter(DefaultAccountAdapter):  # type: ignore[misc]
    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False

    def format_email_subject(self, subject: str) -> str:
        return f"{settings.CLUB_NAME}: {subject}"
