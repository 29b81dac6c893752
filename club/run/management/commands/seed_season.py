"""`python3 manage.py seed_season --scale season`: a made-up club of any size on an empty site, to measure on."""

from __future__ import annotations

import time
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from club.run.demo import PASSWORD, DemoRefused, demo_load, signs_of_others
from club.run.seeds import SCALES, SeedRefused, season_seed
from inventory.jars.services import ledger_audit


class Command(BaseCommand):
    help = "Lay down the demo club and upon it a made-up season, on an empty site with a loaded library."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--scale", choices=SCALES, default="season", help="How large; season is a million jars.")
        parser.add_argument("--seed", type=int, default=1)
        parser.add_argument(
            "--even-here",
            action="store_true",
            help="Also where the variables are those of a site for others: it invents people with a known password.",
        )

    def handle(self, *args: Any, scale: str, seed: int, even_here: bool, **options: Any) -> None:
        if (signs := signs_of_others()) and not even_here:
            raise CommandError(
                f"This looks like a site for others ({', '.join(signs)}), and a season invents people whose password "
                "everybody knows: nothing was laid down. Say --even-here on a database that is only for trials."
            )
        if not settings.NOTE_KEYS:
            raise CommandError("Set NOTE_KEYS: the demo's sign-ups bring notes, which are kept sealed or not at all.")
        began = time.monotonic()

        def tell(what: str) -> None:
            self.stdout.write(f"{time.monotonic() - began:6.1f} s  {what}")

        now = timezone.now()
        try:
            demo_load(now=now)
            tell("the demo club")
            season_seed(SCALES[scale], now=now, password=PASSWORD, seed=seed, tell=tell)
        except (DemoRefused, SeedRefused) as refused:
            raise CommandError(str(refused)) from refused
        audit = ledger_audit()
        if not audit.is_sound:
            raise CommandError("\n".join(audit.problems[:20]))
        tell(f"the books are sound: {audit.movements} movements, every size sums to zero")
        self.stdout.write(f"Sign in as member-1@season.example, or as a person of the demo, with {PASSWORD}")
