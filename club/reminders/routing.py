"""How a reminder reaches its person: by mail now, by mail later, or on the site alone."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.conf import settings

from club.reminders.models import Reminder, Wishes
from club.reminders.quiet import quiet_until
from club.reminders.stopping import stop_link
from club.reminders.terms import Rule
from club.reminders.wishes_models import wishes_of


@dataclass(frozen=True)
class Route:
    """`not_before`: put it off until then. Without `by_mail` it is shown on the site alone."""

    by_mail: bool = True
    not_before: datetime | None = None


def route_for(reminder: Reminder, rule: Rule, now: datetime) -> Route:
    """As its person wishes. One query at most; none where the row was read with "person__wishes".

    What is shown on the site alone is shown at once: it wakes nobody.
    """
    wishes = wishes_of(reminder.person)
    if is_site_alone(wishes, rule):
        return Route(by_mail=False)
    if rule.may_wait:
        return Route(not_before=quiet_until(now, wishes.quiet, wishes.zone))
    return Route()


def is_site_alone(wishes: Wishes, rule: Rule) -> bool:
    """Her mailbox sends our mail back, or she muted the kind, or it waits for her digest, which lists it."""
    is_muted = rule.may_mute and rule.name in wishes.muted_kinds
    return wishes.is_bounced or is_muted or (wishes.has_digest and rule.may_wait and rule.keeps_a_week)


def mail_headers(reminder: Reminder, rule: Rule) -> dict[str, str]:
    """Headers of the mail beside those that every reminder has.

    Auto-Submitted keeps absence notes quiet (RFC 3834). A kind that may be muted names where (RFC 2369), and that one
    POST there is enough (RFC 8058), which that RFC allows for https alone.
    """
    headers = {"Auto-Submitted": "auto-generated"}
    if rule.may_mute:
        headers["List-Unsubscribe"] = f"<{stop_link(reminder.person_id, rule.name)}>"
        if settings.IS_HTTPS:
            headers["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"
    return headers
