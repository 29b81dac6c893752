"""What the outbox is measured against: a Celery task for each mail, with nothing kept, asked or noted."""

from __future__ import annotations

import django
from celery import shared_task

from club.celery import app

django.setup()

from django.core.mail import EmailMultiAlternatives, get_connection  # noqa: E402

__all__ = ["app"]

kept = []


@shared_task(name="raw.send")
def send(to: str, message_id: str, subject: str, text: str, html: str, keep: bool) -> None:
    """As one writes it: a connection for each mail. With `keep`, one connection for the life of the process."""
    mail = EmailMultiAlternatives(subject, text, to=[to], headers={"Message-ID": message_id})
    mail.attach_alternative(html, "text/html")
    if keep:
        if not kept:
            kept.append(get_connection())
            kept[0].open()
        mail.connection = kept[0]
    mail.send()
