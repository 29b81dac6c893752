"""A reminder's letter: greeting, paragraphs and one link, in plain text and HTML. The link signs nobody in."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from django.conf import settings
from django.template.loader import render_to_string
from django.utils import timezone, translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from club.reminders.models import Reminder
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
            "club_name": settings.CLUB_NAME,
        }
        return Message(
            subject=" ".join(subject.split()),
            text=render_to_string("reminders/mail/letter.txt", context),
            html=render_to_string("reminders/mail/letter.html", context),
            link=link,
        )


def day_words(day: date) -> str:
    return date_format(day, "l j F")
