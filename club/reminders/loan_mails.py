"""What the mails about loans and holds say."""

from __future__ import annotations

from datetime import datetime

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from club.reminders.letters import Told, day_words, letter
from club.reminders.models import Reminder
from club.reminders.subjects import subject_id
from club.reminders.wording import Message
from inventory.equipment.models import Hold, Loan


def due_message(reminder: Reminder, now: datetime) -> Message:
    loan = _loan(reminder)

    def told() -> Told:
        said = _("%(name)s (%(code)s) is due back on %(day)s. Please bring it clean and with all its parts.")
        return _("Due back %(day)s: %(name)s") % _names(loan), [said % _names(loan), _longer()], _what_you_have()

    return letter(reminder, reverse("equipment:mine"), told)


def due_today_message(reminder: Reminder, now: datetime) -> Message:
    loan = _loan(reminder)

    def told() -> Told:
        said = _("%(name)s (%(code)s) is due back today, %(day)s. Please bring it clean and with all its parts.")
        return _("Due back today: %(name)s") % _names(loan), [said % _names(loan), _longer()], _what_you_have()

    return letter(reminder, reverse("equipment:mine"), told)


def overdue_message(reminder: Reminder, now: datetime) -> Message:
    """Kind the first time, plain from then on. The week is the last part of the occurrence."""
    loan, week = _loan(reminder), int(reminder.occurrence.rpartition(":")[2])
    told = _plainly(loan, week) if week else _kindly(loan)
    return letter(reminder, reverse("equipment:mine"), lambda: told)


def _kindly(loan: Loan) -> Told:
    said = _("%(name)s (%(code)s) was due back on %(day)s. It is easily forgotten on a shelf: could you bring it?")
    then = _("If something happened to it, tell a keeper; things break, and that is what repairs are for.")
    return _("Still with you? %(name)s") % _names(loan), [said % _names(loan), then], _what_you_have()


def _plainly(loan: Loan, week: int) -> Told:
    said = _("%(name)s (%(code)s) was due back on %(day)s and is still out with you.") % _names(loan)
    ago = ngettext("That is a week ago.", "That is %(weeks)d weeks ago.", week) % {"weeks": week}
    then = _("Others plan with it. Bring it to the next opening hour, or tell a keeper today when it will come.")
    return _("Overdue since %(day)s: %(name)s") % _names(loan), [f"{said} {ago}", then], _what_you_have()


def keepers_message(reminder: Reminder, now: datetime) -> Message:
    loan = _loan(reminder)

    def told() -> Told:
        names = _names(loan) | {"person": str(loan.person), "email": loan.person.email}
        said = _("%(name)s (%(code)s) was due back from %(person)s on %(day)s and has not come.") % names
        then = _("Mails alone did not bring it. Please ring, or write yourself: %(email)s.") % names
        return _("Not back after three weeks: %(name)s") % names, [said, then], _("Everything overdue")

    return letter(reminder, reverse("equipment:overdue"), told)


def hold_message(reminder: Reminder, now: datetime) -> Message:
    hold = Hold.objects.select_related("thing__home").get(pk=subject_id(reminder))

    def told() -> Told:
        thing = hold.thing
        where = ", ".join(filter(None, (str(thing.home or ""), thing.place)))
        names = {
            "name": thing.name,
            "code": thing.code,
            "first": day_words(hold.starts),
            "last": day_words(hold.ends),
            "where": where,
        }
        said = _("%(name)s (%(code)s) is yours from %(first)s to %(last)s. It is here: come and collect it.") % names
        at = [_("It stands in: %(where)s.") % names] if where else []
        then = _("If you do not need it after all, cancel the hold, so that somebody else can have it.")
        return _("Ready for you on %(first)s: %(name)s") % names, [said, *at, then], _("What you hold, and cancelling")

    return letter(reminder, reverse("equipment:mine"), told)


def _loan(reminder: Reminder) -> Loan:
    return Loan.objects.select_related("thing", "person").get(pk=subject_id(reminder))


def _names(loan: Loan) -> dict[str, str]:
    return {"name": loan.thing.name, "code": loan.thing.code, "day": day_words(loan.due_on)}


def _longer() -> str:
    return _("If you need it longer, ask on the page below: it is yours to keep as long as nobody waits for it.")


def _what_you_have() -> str:
    return _("What you have, and keeping it longer")
