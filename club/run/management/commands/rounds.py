"""`python3 manage.py rounds`: whether the rounds of reminders go on, for whoever can start worker and beat again."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.management import BaseCommand, CommandError
from django.utils import timezone

from club.reminders.outbox import health_at
from club.run.site import ROUND_PATIENCE_S, rounds_stand_still


class Command(BaseCommand):
    help = (
        "Exit with 1 when database and broker answer and yet no round of reminders has ended for minutes: worker and "
        "beat are then to be started again. Asked more often than every ten minutes it may call a fresh worker late."
    )
    requires_system_checks: list[str] = []

    def handle(self, *args: Any, **options: Any) -> None:
        patience_s = max(ROUND_PATIENCE_S, 5 * settings.REMINDER_TICK_SECONDS)
        if rounds_stand_still(health_at(timezone.now()), patience_s=patience_s):
            raise CommandError(f"No round of reminders has ended for {patience_s / 60:.0f} minutes.")
        self.stdout.write("The rounds of reminders go on, or wait for the database or the broker.")
