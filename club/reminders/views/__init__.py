"""The room's pages: what could not be sent, how a person wants to be reached, her inbox, and a mail's own link."""

from __future__ import annotations

from club.reminders.views.inbox import inbox, open_one, read_all
from club.reminders.views.sending import dead, health, resend
from club.reminders.views.stopping import stop
from club.reminders.views.wishes import mailbox_works, wishes

__all__ = ["dead", "health", "inbox", "mailbox_works", "open_one", "read_all", "resend", "stop", "wishes"]
