"""Every rule by its name; how a person wants to be reached, mail that came back, and their inbox: every write to these.

The outbox has its writes beside it (`outbox`).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from email import message_from_bytes, message_from_string
from email.message import Message
from email.utils import parseaddr
from functools import cache
from typing import TYPE_CHECKING, Any

from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from django.db.models import F, IntegerField, Subquery, Value
from django.db.models.functions import Concat
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext_lazy as _

from club.core.clock import zone_names
from club.members.models import User
from club.reminders.models import (
    BAR,
    PUSHED,
    SUNDAY,
    NightlyAudit,
    NotificationSettings,
    Reminder,
    ReminderState,
    notification_settings_of,
)
from club.reminders.rules import AnyRule, batches, classes, fruit, members, store

if TYPE_CHECKING:
    from club.reminders.models import ReminderQuerySet

# Every reason to remind somebody, in the order in which rules are asked and pages list them.

RULES: dict[str, AnyRule] = {
    rule.name: rule
    for rule in (
        *batches.RULES,
        *members.KITCHENS,
        *members.SIGN_IN,
        *fruit.RULES,
        *store.RULES,
        *members.REVIEWS,
        *classes.RULES,
        *members.AUDITS,
    )
}
DIGEST = members.WeeklyDigest(RULES)  # which lists what the others showed on the site
RULES[DIGEST.name] = DIGEST


def with_titles(reminders: Iterable[Reminder]) -> list[tuple[Reminder, str]]:
    """Each reminder and what it is about: "look at the seals, 26329-KXT". One query for each kind of subject."""
    rows = [one for one in reminders if one.rule in RULES]
    keys: defaultdict[str, set[int]] = defaultdict(set)
    rules: dict[str, AnyRule] = {}
    for one in rows:
        prefix = RULES[one.rule].prefix
        keys[prefix].add(one.subject_id)
        rules.setdefault(prefix, RULES[one.rule])
    names = {prefix: rules[prefix].names(wanted) for prefix, wanted in keys.items()}
    return [(one, f"{RULES[one.rule].title}, {names[RULES[one.rule].prefix].get(one.subject_id, '')}") for one in rows]


# How a person is reached. Each is one transaction; who asks is the person, or their mail.
#
# A mail's own unsubscribe link and a mail server's bounce come without anybody signed in: those two take the person.

REASON_LENGTH = 300


def kinds_for(person: User) -> list[AnyRule]:
    """The kinds of reminder that can ever be due to this person."""
    return [rule for rule in RULES.values() if not rule.only_to or person.has_role(*rule.only_to)]


@transaction.atomic
def notification_settings_change(
    *,
    by: User,
    zone_name: str,
    quiet_from: time,
    quiet_until: time,
    digest_weekday: int | None,
    digest_hour: int,
    mailed: Iterable[str],
    pushed: Iterable[str] = (),
) -> None:
    """What a person says of themselves. `mailed`: the kinds they want by mail; others are on the site alone. `pushed`:
    those of PUSHED that their phones show as well.

    What they said of kinds that no longer concern them (a keeper's, once) is kept as it was.
    Raises ValidationError by field.
    """
    _check(zone_name, digest_weekday, digest_hour)
    wanted, offered = set(mailed), {rule.name for rule in kinds_for(by) if rule.may_mute}
    if not wanted <= offered:
        raise ValidationError({"mailed": _("That is no kind of reminder that you could choose.")})
    shown = set(pushed)
    if not shown <= set(PUSHED):
        raise ValidationError({"pushed": _("That is no kind of reminder that you could choose.")})
    muted = (notification_settings_of(by).muted_kinds - offered) | (offered - wanted)
    values = {
        "zone_name": zone_name,
        "quiet_from": quiet_from,
        "quiet_until": quiet_until,
        "digest_weekday": digest_weekday,
        "digest_hour": digest_hour,
        "pushed": BAR + "".join(f"{kind}{BAR}" for kind in sorted(shown)),
        "muted": BAR + "".join(f"{kind}{BAR}" for kind in sorted(muted)),
    }
    NotificationSettings.objects.update_or_create(person=by, defaults=values)


def _check(zone_name: str, digest_weekday: int | None, digest_hour: int) -> None:
    if zone_name and zone_name not in zone_names():
        raise ValidationError({"zone_name": _("Choose a time zone of the list.")})
    if digest_weekday is not None and not 0 <= digest_weekday <= SUNDAY:
        raise ValidationError({"digest_weekday": _("Choose a day of the week.")})
    if not 0 <= digest_hour <= 23:
        raise ValidationError({"digest_hour": _("Choose an hour from 0 to 23.")})


@transaction.atomic
def kind_mute(*, person: User, kind: str) -> bool:
    """From now on they see this kind on the site alone. False when it may not be muted. Twice is as good as once."""
    rule = RULES.get(kind)
    if rule is None or not rule.may_mute:
        return False
    NotificationSettings.objects.get_or_create(person=person)
    # One UPDATE: of two links pressed at once, neither forgets the other.
    heard = NotificationSettings.objects.filter(person=person).exclude(muted__contains=f"{BAR}{kind}{BAR}")
    heard.update(muted=Concat(F("muted"), Value(f"{kind}{BAR}")))
    return True


@transaction.atomic
def mailbox_note_bounce(*, person: User, reason: str, now: datetime | None = None) -> bool:
    """Their address sent our mail back for good: no mail until they say otherwise. False when that was known."""
    NotificationSettings.objects.get_or_create(person=person)
    news = NotificationSettings.objects.filter(person=person).exclude(bounced_address=person.email)
    values = {"bounced_address": person.email, "bounce_reason": reason[:REASON_LENGTH]}
    return news.update(bounced_at=now or timezone.now(), **values) == 1


@transaction.atomic
def mailbox_confirm(*, by: User) -> None:
    """The person says that their address takes our mail again."""
    NotificationSettings.objects.filter(person=by).update(bounced_address="", bounced_at=None, bounce_reason="")


# Delivery status notifications (RFC 3464): which address a mail server gave up on, and for which of our mails. Reading
# one is pure: bytes in, plain values out. Whatever is no such notification says nothing.

REPORT, STATUS = "multipart/report", "message/delivery-status"
WHOLE_MAIL, ITS_HEAD = "message/rfc822", "text/rfc822-headers"
FAILED, FOR_GOOD = "failed", "5."


@dataclass(frozen=True)
class Bounce:
    """Mail to this address, as it was written on it or as the last server knew it, is not delivered for good."""

    addresses: tuple[str, ...]
    status: str
    reason: str

    @property
    def text(self) -> str:
        return f"{self.status}: {self.reason}" if self.reason != self.status else self.status


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
    head = _head_of_returned(parts)
    bounces = tuple(bounce for block in blocks if (bounce := _bounce(block)) is not None)
    return Notification(_plain(head["Message-ID"]), _address(_plain(head["To"])), bounces)


def _bounce(block: Message) -> Bounce | None:
    """A failure for good; None for a delay, a relay, or a trouble that may pass (4.x.x)."""
    status = _plain(block["Status"])
    recipients = (_plain(block[name]) for name in ("Original-Recipient", "Final-Recipient"))
    addresses = tuple(filter(None, (_address(typed.partition(";")[2]) for typed in recipients)))
    if _plain(block["Action"]).lower() != FAILED or not status.startswith(FOR_GOOD) or not addresses:
        return None
    reason = _plain(block["Diagnostic-Code"]).partition(";")[2].strip()
    return Bounce(addresses, status, reason or status)


def _head_of_returned(parts: list[Message]) -> Message:
    """The head of the mail that came back, whole or alone; an empty one where the report leaves it out."""
    for part in parts:
        if part.get_content_type() == WHOLE_MAIL and (mails := _inner(part)):
            return mails[0]
        if part.get_content_type() == ITS_HEAD:
            return message_from_string(str(part.get_payload()))
    return Message()


def _inner(part: Message) -> list[Message]:
    payload = part.get_payload()
    return [inner for inner in payload if isinstance(inner, Message)] if isinstance(payload, list) else []


def _plain(value: object) -> str:
    """A header on one line."""
    return " ".join(str(value or "").split())


def _address(text: str) -> str:
    return parseaddr(text.strip())[1].lower()


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
            sent = Reminder.objects.filter(person=person, state=ReminderState.SENT, sent_at__gte=now - SENT_WITHIN)
            ids = {reminder.message_id for reminder in sent}
            is_ours = notification.message_id in ids if notification.message_id else bool(ids)
            if is_ours and mailbox_note_bounce(person=person, reason=bounce.text, now=now):
                noted.append(person)
    return noted


# The inbox: each reminder that was mailed or shown to the person, and whether they read it.

RECEIVED = (ReminderState.SENT, ReminderState.SHOWN)
MOST_COUNTED = 99


def inbox_of(person: User) -> ReminderQuerySet:
    """The gate: their own that were mailed or shown to them, the latest first."""
    rows = Reminder.objects.filter(person=person, state__in=RECEIVED).exclude(headline="")
    return rows.order_by(F("sent_at").desc(nulls_last=True), "-pk")


class _CountOf(Subquery):
    """How many rows a query has, as a column of another; the query may end at a limit."""

    template = "(SELECT COUNT(*) FROM (%(subquery)s) counted)"
    output_field = IntegerField()


def unread_and_roles(person: User) -> tuple[int, frozenset[str]]:
    """What waits unread, and the names of the person's roles, in one query: every page's head wants both.

    Counted no further than `MOST_COUNTED` and one: that many is "many".
    """
    sql, whose = _unread_and_roles_sql(connection.vendor)
    with connection.cursor() as cursor:
        cursor.execute(sql, [person.pk if one is None else one for one in whose])
        rows = cursor.fetchall()
    return (rows[0][0] if rows else 0), frozenset(name for _count, name in rows if name)


@cache
def _unread_and_roles_sql(vendor: str) -> tuple[str, tuple[Any, ...]]:
    """The statement and its values, None where the person's number stands. Django takes a millisecond to put it
    together, which is half of a page's head; so it does once for each kind of database.
    """
    nobody = -1
    unread = inbox_of(User(pk=nobody)).filter(read_at=None).order_by().values("pk")[: MOST_COUNTED + 1]
    asked = User.objects.filter(pk=nobody).values_list(_CountOf(unread), "groups__name")
    sql, values = asked.query.sql_with_params()
    return sql, tuple(None if value == nobody else value for value in values)


@transaction.atomic
def reminder_open(*, by: User, reminder: Reminder, now: datetime | None = None) -> str:
    """Mark the reminder read, keeping the first time it was; returns the page where the thing is done."""
    inbox_of(by).order_by().filter(pk=reminder.pk, read_at=None).update(read_at=now or timezone.now())
    is_ours = url_has_allowed_host_and_scheme(reminder.path, allowed_hosts=None)
    return reminder.path if is_ours and reminder.path.startswith("/") else ""


@transaction.atomic
def inbox_read_all(*, by: User, now: datetime | None = None) -> int:
    """Mark all of theirs read; returns how many were not."""
    return inbox_of(by).order_by().filter(read_at=None).update(read_at=now or timezone.now())


# Of a former member nothing is kept here.


@transaction.atomic
def person_forget(*, person: User) -> None:
    """Everything that was written to them, and how they wanted it. Checks no permission: its caller has."""
    Reminder.objects.filter(person=person).delete()
    NotificationSettings.objects.filter(person=person).delete()


# The nightly audit: taken once a club day, and what it found.

AUDIT_FROM = time(3)  # by the club's clock; a site that sleeps at night makes it when it wakes
AUDIT_LEASE = timedelta(hours=2)  # then whoever began it counts as gone
MOST_FINDINGS = 50


def audit_take(now: datetime) -> NightlyAudit | None:
    """The audit of this club day, for whoever is the first to ask for it; None for everybody else."""
    wall = timezone.localtime(now, timezone.get_default_timezone())
    if wall.time() < AUDIT_FROM or NightlyAudit.objects.filter(day=wall.date(), ended_at__isnull=False).exists():
        return None
    ours = NightlyAudit.objects.filter(day=wall.date(), ended_at=None)
    if ours.filter(began_at__lt=now - AUDIT_LEASE).update(began_at=now) == 1:
        return ours.get()
    try:
        with transaction.atomic():
            return NightlyAudit.objects.create(day=wall.date(), began_at=now)
    except IntegrityError:  # somebody makes it
        return None


def audit_note(*, audit: NightlyAudit, findings: Mapping[str, Sequence[str]], now: datetime) -> None:
    """`findings`: by the name of what was looked at, what does not go together, one sentence each."""
    lines = [f"{name}: {sentence}" for name, sentences in findings.items() for sentence in sentences]
    more = [f"... and {len(lines) - MOST_FINDINGS} more"] if len(lines) > MOST_FINDINGS else []
    NightlyAudit.objects.filter(pk=audit.pk).update(
        ended_at=now, problems=len(lines), findings="\n".join(lines[:MOST_FINDINGS] + more)
    )
