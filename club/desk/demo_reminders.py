"""How people of the demo club want to be reached, laid down through the service; the others have said nothing."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import time
from typing import Any

from club.members.models import User
from club.reminders.wishes import kinds_for, wishes_change


def wishes_lay_down(told: Mapping[str, Any], people: Mapping[str, User]) -> None:
    for one in told.get("wishes", []):
        by = people[one["by"]]
        wishes_change(
            by=by,
            zone_name=one.get("zone", ""),
            quiet_from=time.fromisoformat(one["quiet_from"]),
            quiet_until=time.fromisoformat(one["quiet_until"]),
            digest_weekday=one.get("digest_weekday"),
            digest_hour=one.get("digest_hour", 8),
            mailed=[rule.name for rule in kinds_for(by) if rule.may_mute and rule.name not in one["site_alone"]],
        )
