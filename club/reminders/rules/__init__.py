"""Every reason to remind somebody, in the order in which rules are asked and pages list them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from club.reminders.models import Reminder
from club.reminders.rules import batches, classes, equipment, fruit, jars, members
from club.reminders.rules.base import AnyRule

_ALL: tuple[AnyRule, ...] = (
    *batches.RULES,
    *members.KITCHENS,
    *fruit.RULES,
    *equipment.RULES,
    *jars.RULES,
    *members.REVIEWS,
    *classes.RULES,
)

RULES: dict[str, AnyRule] = {rule.name: rule for rule in _ALL}
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
