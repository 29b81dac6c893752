"""Every reason to remind somebody. A rule is a query for what is due now, so nothing hangs on an event being seen."""

from __future__ import annotations

from collections.abc import Iterable
from types import ModuleType

from django.utils.translation import gettext_lazy as _

from club.reminders import orders, seals, supplies, thing_mails, things
from club.reminders.models import Reminder
from club.reminders.terms import Rule

# Each family of rules is a module with its RULES, and `words(subjects)`: what each subject is about.
FAMILIES: tuple[ModuleType, ...] = (orders,)

RULES: dict[str, Rule] = {
    rule.name: rule
    for rule in (
        Rule(
            "seal-check",
            _("look at the seals"),
            seals.first_look_due,
            seals.first_look_still_due,
            seals.first_look_message,
        ),
        Rule(
            "seal-second-call",
            _("look at the seals, second call"),
            seals.second_call_due,
            seals.second_call_still_due,
            seals.second_call_message,
        ),
        Rule(
            "gauge-due",
            _("test a gauge or a meter"),
            things.gauge_due,
            things.gauge_still_due,
            thing_mails.gauge_message,
        ),
        Rule(
            "loan-due",
            _("bring a thing back"),
            things.loan_due,
            things.loan_due_still_due,
            thing_mails.loan_due_message,
        ),
        Rule(
            "loan-overdue",
            _("bring a thing back, overdue"),
            things.loan_overdue,
            things.loan_overdue_still_due,
            thing_mails.loan_overdue_message,
        ),
        Rule(
            "thing-offer",
            _("a thing is free for you"),
            things.offer_due,
            things.offer_still_due,
            thing_mails.offer_message,
        ),
        Rule("supply-low", _("buy more"), supplies.low_due, supplies.low_still_due, supplies.low_message),
        Rule("supply-past", _("past its date"), supplies.past_due, supplies.past_still_due, supplies.past_message),
        # After the seals, which cannot wait.
        *(rule for family in FAMILIES for rule in family.RULES),
    )
}


def with_words(reminders: Iterable[Reminder]) -> list[tuple[Reminder, str]]:
    """Each reminder and what it is about, in words: "look at the seals, 26329-KXT". A few queries, however many."""
    rows = list(reminders)
    subjects = {one.subject for one in rows}
    about = seals.lot_codes(subjects) | supplies.names(subjects) | things.words(subjects)
    for family in FAMILIES:
        about |= family.words(subjects)
    return [(one, f"{RULES[one.rule].title}, {about.get(one.subject, '')}") for one in rows if one.rule in RULES]
