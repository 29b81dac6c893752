"""`python3 manage.py reseal_notes`: after a new key came to the front of NOTE_KEYS, seal every note with it."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from club.classes.services.notes import needs_reseal


class Command(BaseCommand):
    help = "Seal the notes on health and access with the newest key of NOTE_KEYS. Then the older keys may go."

    def handle(self, *args: Any, **options: Any) -> None:
        done, unreadable = needs_reseal()
        self.stdout.write(f"Sealed with the newest key: {done}.")
        if unreadable:
            raise CommandError(f"No key here opens {unreadable}. Keep looking for their key: they are not lost.")
