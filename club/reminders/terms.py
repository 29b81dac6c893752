"""What a rule is: a query for what is due now, so that nothing hangs on an event being seen."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from django.utils.functional import Promise

from club.members.choices import Role
from club.reminders.models import Reminder
from club.reminders.wording import Due, Message


@dataclass(frozen=True)
class Rule:
    """`due(now)`: what is due at `now`; asked each minute, so it must stay true for longer than that.

    `still_due(reminder, now)`: asked again just before sending; False when it was settled meanwhile.
    `message(reminder, now)`: what to say, for a reminder that is still due.
    `may_mute`: whether a person may choose to see it on the site alone. `may_wait`: whether it waits for the end of her
    quiet hours. `keeps_a_week`: whether it is as good a few days later, and so goes into the weekly digest of those
    who want one; what hangs on a day or an hour does not keep.
    `only_to`: who can ever hear of it, by role; nothing: everybody.
    `after_lost_lease`: a sender that died with the mail in its hand leaves it unknown whether the mail went out.
    "again" where a second word costs less than one that nobody hears (seals, recalls); "hold" keeps it back and shows
    it to an organiser.
    """

    name: str
    title: str | Promise
    due: Callable[[datetime], Iterator[Due]]
    still_due: Callable[[Reminder, datetime], bool]
    message: Callable[[Reminder, datetime], Message]
    may_mute: bool = True
    may_wait: bool = True
    keeps_a_week: bool = False
    only_to: frozenset[Role] = frozenset()
    after_lost_lease: Literal["again", "hold"] = "again"
