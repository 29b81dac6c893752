"""Who comes to a session of the demo club, who waits and who gave a seat up, with the clock turned back."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from typing import Any

from club.classes.models import ClassSession
from club.classes.services.seats import seats_move_on, signup_cancel, signup_place
from club.members.models import User


def seats_lay_down(
    told: Iterable[Mapping[str, Any]], session: ClassSession, people: Mapping[str, User], now: datetime
) -> None:
    """`told`: the tables `seat` of the demo file, in the order in which people signed up for this one session.

    Nothing is dated before sign-up opened, whatever the file says.
    """
    rows = list(told)
    made = {}
    for one in rows:
        made[one["by"]] = signup_place(
            by=people[one["by"]],
            session=session,
            places=2 if "with" in one else 1,
            companion=one.get("with", ""),
            needs=one.get("needs", ""),
            now=_ago(one["hours_ago"], session, now),
        )
    for one in rows:
        if "gave_up_hours_ago" in one:
            at = _ago(one["gave_up_hours_ago"], session, now)
            signup_cancel(by=people[one["by"]], signup=made[one["by"]], now=at)
    seats_move_on(now)


def _ago(hours: int, session: ClassSession, now: datetime) -> datetime:
    return max(now - timedelta(hours=hours), session.signup_opens_at)
