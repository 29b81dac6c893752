"""Read what a mail server sent back, so that a mailbox that is gone is not written to again and again."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from club.reminders.services import bounces_note, notification_read

MOST_BYTES = 2_000_000  # a report returns our own mail at most; the rest is not read


class Command(BaseCommand):
    help = (
        "Reads one delivery status notification (RFC 3464) from FILE, or from standard input for -, and notes for the "
        "person that their address sends our mail back. A mail server pipes in what comes to the address of MAIL_FROM. "
        "Another mail changes nothing and is no error, so that the mail server has nothing to send back in turn."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE", help="a file with one mail, or - for standard input")

    def handle(self, *args: Any, **options: Any) -> None:
        notification = notification_read(_bytes_of(options["file"]))
        if notification is None:
            self.stdout.write("No delivery status notification: nothing noted.")
            return
        noted = bounces_note(notification=notification, now=timezone.now())
        for person in noted:
            self.stdout.write(f"Noted: mail to {person.email} comes back.")
        if not noted:
            self.stdout.write("Nothing to note: no failure for good of a mail of ours, or known already.")


def _bytes_of(name: str) -> bytes:
    if name == "-":
        return sys.stdin.buffer.read(MOST_BYTES)
    try:
        with Path(name).open("rb") as file:
            return file.read(MOST_BYTES)
    except OSError as error:
        raise CommandError(f"{name} cannot be read: {error.strerror}") from error
