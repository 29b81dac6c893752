"""From a mail server's word to the person whose mailbox it is about."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from urllib.parse import urlsplit

from django.conf import settings

from club.members.models import User
from club.reminders.bounces import Bounce, Notification
from club.reminders.models import Reminder, ReminderState
from club.reminders.outcomes import message_id
from club.reminders.wishes import mailbox_note_bounce

# Mail servers try for five days by common practice, no source; a report that comes later than this is about nothing.
SENT_WITHIN = timedelta(days=14)


def bounces_note(*, notification: Notification, now: datetime) -> list[User]:
    """Note each bounce for the person it is about; returns those of whom it is news.

    The address must be the one she has now, and the mail one of ours to her, by its Message-ID: a stranger who writes
    in our name can make her mail server refuse that, and it must not cost her our mails. A report that names no
    Message-ID counts when a reminder was mailed to her lately.
    """
    noted = []
    for bounce in notification.bounces:
        for person in User.objects.filter(email__in={*bounce.addresses, notification.to}, is_active=True):
            ids = set(_sent_lately(person, now))
            is_ours = notification.message_id in ids if notification.message_id else bool(ids)
            if is_ours and mailbox_note_bounce(person=person, reason=_reason(bounce), now=now):
                noted.append(person)
    return noted


def _sent_lately(person: User, now: datetime) -> Iterator[str]:
    host = urlsplit(settings.SITE_URL).hostname or "localhost"
    sent = Reminder.objects.filter(person=person, state=ReminderState.SENT, sent_at__gte=now - SENT_WITHIN)
    for key in sent.values_list("rule", "subject", "occurrence", "person_id"):
        yield message_id(*key, host=host)


def _reason(bounce: Bounce) -> str:
    return f"{bounce.status}: {bounce.reason}" if bounce.reason != bounce.status else bounce.status
