"""Delivery status notifications (RFC 3464): which address a mail server gave up on, and for which of our mails.

Pure: bytes in, plain values out. Whatever is no such notification says nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from email import message_from_bytes, message_from_string
from email.message import Message
from email.utils import parseaddr
from urllib.parse import urlsplit

from django.conf import settings

from club.members.models import User
from club.reminders.models import Reminder, ReminderState
from club.reminders.outbox import message_id
from club.reminders.services import mailbox_note_bounce

REPORT, STATUS = "multipart/report", "message/delivery-status"
WHOLE_MAIL, ITS_HEAD = "message/rfc822", "text/rfc822-headers"
FAILED, FOR_GOOD = "failed", "5."


@dataclass(frozen=True)
class Bounce:
    """Mail to this address, as it was written on it or as the last server knew it, is not delivered for good."""

    addresses: tuple[str, ...]
    status: str
    reason: str


@dataclass(frozen=True)
class Notification:
    """What a mail server says of one mail. `message_id`, with its brackets, and `to` are those of the mail that came
    back; empty where the report leaves them out.
    """

    message_id: str
    to: str
    bounces: tuple[Bounce, ...]


def notification_read(raw: bytes) -> Notification | None:
    """None when it is no delivery status notification. Only its own parts count, not those of the mail it returns."""
    mail = message_from_bytes(raw)
    parts = _inner(mail) if mail.get_content_type() == REPORT else []
    blocks = [block for part in parts if part.get_content_type() == STATUS for block in _inner(part)]
    if not blocks:
        return None
    head = next(_heads(parts), Message())
    bounces = tuple(bounce for block in blocks for bounce in _bounces(block))
    return Notification(_plain(head["Message-ID"]), _address(_plain(head["To"])), bounces)


def _bounces(block: Message) -> Iterator[Bounce]:
    """One for a failure for good; nothing for a delay, a relay, or a trouble that may pass (4.x.x)."""
    status = _plain(block["Status"])
    recipients = (_plain(block[name]) for name in ("Original-Recipient", "Final-Recipient"))
    addresses = tuple(filter(None, (_address(typed.partition(";")[2]) for typed in recipients)))
    if _plain(block["Action"]).lower() == FAILED and status.startswith(FOR_GOOD) and addresses:
        said = _plain(block["Diagnostic-Code"]).partition(";")[2].strip()
        yield Bounce(addresses, status, said or status)


def _heads(parts: list[Message]) -> Iterator[Message]:
    """The head of the mail that came back, whole or alone."""
    for part in parts:
        if part.get_content_type() == WHOLE_MAIL:
            yield from _inner(part)
        elif part.get_content_type() == ITS_HEAD:
            yield message_from_string(str(part.get_payload()))


def _inner(part: Message) -> list[Message]:
    payload = part.get_payload()
    return [inner for inner in payload if isinstance(inner, Message)] if isinstance(payload, list) else []


def _plain(value: object) -> str:
    """A header on one line."""
    return " ".join(str(value or "").split())


def _address(text: str) -> str:
    return parseaddr(text.strip())[1].lower()


# From a mail server's word to the person whose mailbox it is about.

# Mail servers try for five days by common practice, no source; a report that comes later than this is about nothing.
SENT_WITHIN = timedelta(days=14)


def bounces_note(*, notification: Notification, now: datetime) -> list[User]:
    """Note each bounce for the person it is about; returns those of whom it is news.

    The address must be the one they have now, and the mail one of ours to them, by its Message-ID: a stranger who
    writes in our name can make their mail server refuse that, and it must not cost them our mails. A report that names
    no Message-ID counts when a reminder was mailed to them lately.
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
