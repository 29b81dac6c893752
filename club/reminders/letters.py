"""A reminder's letter: greeting, paragraphs and one link, in plain text and HTML; at its foot, how to stop its kind.

Neither link signs anybody in.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime

from django.conf import settings
from django.template.loader import render_to_string
from django.utils import timezone, translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from club.reminders.models import Reminder
from club.reminders.stopping import stop_link
from club.reminders.wording import Message

Told = tuple[str, list[str], str]


def letter(reminder: Reminder, path: str, told: Callable[[], Told]) -> Message:
    """`told` gives the subject line, the paragraphs and what the link does, in the club's zone and language."""
    zone = timezone.get_default_timezone()  # a worker has no visitor whose zone it could take
    with timezone.override(zone), translation.override(settings.LANGUAGE_CODE):
        subject, paragraphs, action = told()
        link = settings.SITE_URL + path
        context = {
            "greeting": _("Hello %(name)s,") % {"name": reminder.person.get_short_name()},
            "paragraphs": paragraphs,
            "action": action,
            "link": link,
            "stop_link": _stop_link(reminder),
            "club_name": settings.CLUB_NAME,
        }
        return Message(
            subject=" ".join(subject.split()),
            text=render_to_string("reminders/mail/letter.txt", context),
            html=render_to_string("reminders/mail/letter.html", context),
            link=link,
        )


def _stop_link(reminder: Reminder) -> str:
    """Where its person stops mails of this kind; nothing for a kind that nobody may mute."""
    from club.reminders.rules import RULES  # which are made of the modules whose letters these are

    return stop_link(reminder.person_id, reminder.rule) if RULES[reminder.rule].may_mute else ""


def day_words(day: date) -> str:
    return date_format(day, "l j F")


def hour_words(moment: datetime | None) -> str:
    """In the club's zone, with day and zone named: "Sunday 1 November, 17:10 (MST)" leaves nothing to guess."""
    return date_format(timezone.localtime(moment), "l j F, H:i (T)") if moment else ""
