"""How a person wants to be reached, and their inbox: every write to either."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, time
from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F, Value
from django.db.models.functions import Concat
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext_lazy as _

from club.core.clock import zone_names
from club.members.models import User
from club.reminders.models import BAR, SUNDAY, NotificationSettings, Reminder, ReminderState, notification_settings_of
from club.reminders.rules import RULES
from club.reminders.rules.base import AnyRule

if TYPE_CHECKING:
    from club.reminders.models import ReminderQuerySet

# Every write to how a person is reached. Each is one transaction; who asks is the person, or their mail.
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
) -> None:
    """What a person says of themselves. `mailed`: the kinds they want by mail; others are on the site alone.

    What they said of kinds that no longer concern them (a keeper's, once) is kept as it was.
    Raises ValidationError by field.
    """
    _check(zone_name, digest_weekday, digest_hour)
    wanted, offered = set(mailed), {rule.name for rule in kinds_for(by) if rule.may_mute}
    if not wanted <= offered:
        raise ValidationError({"mailed": _("That is no kind of reminder that you could choose.")})
    muted = (notification_settings_of(by).muted_kinds - offered) | (offered - wanted)
    values = {
        "zone_name": zone_name,
        "quiet_from": quiet_from,
        "quiet_until": quiet_until,
        "digest_weekday": digest_weekday,
        "digest_hour": digest_hour,
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


# What a person was told, on the site: each reminder that was mailed or shown to them, and whether it was read.

TOLD = (ReminderState.SENT, ReminderState.SHOWN)
MOST_COUNTED = 99


def inbox_of(person: User) -> ReminderQuerySet:
    """The gate: their own, told to them, the latest first."""
    rows = Reminder.objects.filter(person=person, state__in=TOLD).exclude(headline="")
    return rows.order_by(F("sent_at").desc(nulls_last=True), "-pk")


def unread_count(person: User) -> int:
    """One query. No further than `MOST_COUNTED` and one: that many is "many"."""
    return inbox_of(person).filter(read_at=None).order_by()[: MOST_COUNTED + 1].count()


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
