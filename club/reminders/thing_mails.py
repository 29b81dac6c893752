"""What the mails about things lent say."""

from __future__ import annotations

from datetime import date, datetime

from django.urls import reverse
from django.utils.translation import gettext as _

from club.reminders.letters import Told, day_words, hour_words, letter
from club.reminders.models import Reminder
from club.reminders.subjects import subject_id
from club.reminders.wording import Message
from inventory.equipment.models import Thing, WaitingEntry


def gauge_message(reminder: Reminder, now: datetime) -> Message:
    thing = Thing.objects.get(pk=subject_id(reminder))
    lapses = date.fromisoformat(reminder.occurrence.partition(":")[0])

    def told() -> Told:
        names = {"code": thing.code, "name": thing.name, "day": day_words(lapses)}
        said = _("The test of %(code)s, %(name)s, lapses on %(day)s. From that day on it cannot be handed over.")
        then = _("Hold it against the reference before then and write down what both showed.")
        return _("To test before %(day)s: %(code)s") % names, [said % names, then], _("Record the test")

    return letter(reminder, reverse("equipment:test", args=[thing.code]), told)


def offer_message(reminder: Reminder, now: datetime) -> Message:
    entry = WaitingEntry.objects.select_related("hold__thing").get(pk=subject_id(reminder))
    hold, until = entry.hold, entry.offer_until
    assert hold is not None  # a constraint of the table: what is offered names both
    assert until is not None

    def told() -> Told:
        names = {
            "name": hold.thing.name,
            "code": hold.thing.code,
            "first": day_words(hold.starts),
            "last": day_words(hold.ends),
        }
        said = _("%(name)s (%(code)s) is free for you from %(first)s to %(last)s.") % names
        then = _("Take it or leave it until %(hour)s; after that it is offered to the next in line.") % {
            "hour": hour_words(until)
        }
        return _("Free for you: %(name)s") % names, [said, then], _("Take it, or leave the line")

    return letter(reminder, reverse("equipment:mine"), told)
