from __future__ import annotations

import logging

from celery import shared_task
from django.conf import settings
from django.utils import timezone
from kombu.exceptions import OperationalError

from club.reminders import outbox, push

log = logging.getLogger(__name__)


@shared_task(name="club.reminders.tasks.gather_and_send")  # type: ignore[untyped-decorator]
def gather_and_send() -> None:
    outbox.gather_and_send(timezone.now(), call_senders=call_senders)


@shared_task(name="club.reminders.tasks.send")  # type: ignore[untyped-decorator]
def send() -> None:
    outbox.send_due(timezone.now())


@shared_task(name="club.reminders.tasks.push_to_phones")  # type: ignore[untyped-decorator]
def push_to_phones() -> None:
    push.push_round(timezone.now())


def call_senders(number: int) -> None:
    """Only help: with the broker away the sender who calls does it alone.

    A call that nobody hears soon is void: workers that are busy now must be free for the next round.
    """
    soon = max(1.0, settings.REMINDER_TICK_SECONDS / 6)
    try:
        for _ in range(number):
            send.apply_async(expires=soon, retry=False)
    except OperationalError as error:
        log.warning("No further senders: %s", error)
