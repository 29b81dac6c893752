"""The line to the mail server: one connection for many mails, opened anew when it broke."""

from __future__ import annotations

import contextlib
import smtplib
from types import TracebackType
from typing import Self
from urllib.parse import urlsplit

from django.conf import settings
from django.core.mail import EmailMultiAlternatives, get_connection
from django.core.mail.backends.base import BaseEmailBackend
from django.core.mail.backends.smtp import EmailBackend as SmtpBackend

from club.reminders.models import Reminder
from club.reminders.outcomes import message_id
from club.reminders.routing import mail_headers
from club.reminders.terms import Rule
from club.reminders.wording import Message

# Our own choice, no source: servers that limit the mails of one connection allow more than this.
MAILS_A_CONNECTION = 50
# Refusals of one mail. After anything else nobody knows what the server waits for.
OF_THE_MAIL = (smtplib.SMTPRecipientsRefused, smtplib.SMTPDataError)


def mail_of(reminder: Reminder, rule: Rule, message: Message) -> EmailMultiAlternatives:
    host = urlsplit(settings.SITE_URL).hostname or "localhost"
    key = (reminder.rule, reminder.subject, reminder.occurrence, reminder.person_id)
    headers = {"Message-ID": message_id(*key, host=host), **mail_headers(reminder, rule)}
    mail = EmailMultiAlternatives(message.subject, message.text, to=[reminder.person.email], headers=headers)
    mail.attach_alternative(message.html, "text/html")
    return mail


class MailLine:
    """Use it in a `with` block; `send` raises what the server, or its absence, raised."""

    def __init__(self) -> None:
        self._smtp: SmtpBackend | None = None
        self._carried = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._hang_up()

    def send(self, mail: EmailMultiAlternatives) -> None:
        mail.connection = self._connection()
        try:
            mail.send()
        except OF_THE_MAIL:
            raise
        except Exception:
            self._drop()
            raise
        self._carried += 1

    def _connection(self) -> BaseEmailBackend:
        """A connection that was just seen to work. A server may hang up between two mails: that is no failure."""
        if self._carried >= MAILS_A_CONNECTION:
            self._hang_up()
        elif self._smtp is not None and not self._answers():
            self._drop()
        if self._smtp is None:
            made = get_connection()
            if not isinstance(made, SmtpBackend):
                return made
            made.open()
            self._smtp, self._carried = made, 0
        return self._smtp

    def _answers(self) -> bool:
        talk = self._smtp.connection if self._smtp is not None else None
        try:
            return talk is not None and talk.noop()[0] == 250
        except (smtplib.SMTPException, OSError):
            return False

    def _hang_up(self) -> None:
        if self._smtp is not None:
            with contextlib.suppress(smtplib.SMTPException, OSError):
                self._smtp.close()
        self._smtp = None

    def _drop(self) -> None:
        """Without a word: the server may no longer listen, and we would wait for its answer."""
        if self._smtp is not None and self._smtp.connection is not None:
            self._smtp.connection.close()
        self._smtp = None
