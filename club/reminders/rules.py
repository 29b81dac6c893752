"""Every reason to remind somebody. A rule is a query for what is due now, so nothing hangs on an event being seen."""

from __future__ import annotations

from collections.abc import Iterable
from types import ModuleType

from django.utils.functional import Promise

from club.reminders import (
    class_notes,
    class_thanks,
    classes,
    digest,
    freezer,
    fruit,
    keeping,
    kitchens,
    loans,
    orders,
    recalls,
    reviews,
    seals,
    supplies,
    things,
)
from club.reminders.models import Reminder
from club.reminders.terms import Rule

# Each family of rules is a module with its RULES, and `words(subjects)`: what each subject is about.
FAMILIES: tuple[ModuleType, ...] = (
    recalls,
    seals,
    keeping,
    kitchens,
    freezer,
    fruit,
    things,
    loans,
    supplies,
    orders,
    reviews,
    classes,
    class_notes,
    class_thanks,
    digest,
)

RULES: dict[str, Rule] = {rule.name: rule for family in FAMILIES for rule in family.RULES}


def with_words(reminders: Iterable[Reminder]) -> list[tuple[Reminder, str]]:
    """Each reminder and what it is about, in words: "look at the seals, 26329-KXT". A few queries, however many."""
    rows = list(reminders)
    subjects = {one.subject for one in rows}
    about: dict[str, str | Promise] = {}
    for family in FAMILIES:
        about |= family.words(subjects)
    return [(one, f"{RULES[one.rule].title}, {about.get(one.subject, '')}") for one in rows if one.rule in RULES]
