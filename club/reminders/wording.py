"""Plain values that rules and senders hand to each other."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True)
class Due:
    """One thing due to one person. `occurrence` tells two of the same kind apart: a later hour, a second round."""

    subject: str
    occurrence: str
    person_id: int
    due_at: datetime


@dataclass(frozen=True)
class Message:
    """A mail's subject line, its body twice, and the page where the thing is done. The link signs nobody in."""

    subject: str
    text: str
    html: str
    link: str
