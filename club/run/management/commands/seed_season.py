"""`python3 manage.py seed_season`: a long made-up season in an empty register, for benchmarks."""

from __future__ import annotations

import time
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from club.members.models import User
from club.run.seeds import SeedRefused, equipment_seed


class Command(BaseCommand):
    help = "Fill an empty register with a made-up season of things and loans, to measure pages on."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--things", type=int, default=1000)
        parser.add_argument("--loans", type=int, default=50_000)

    def handle(self, *args: Any, things: int, loans: int, **options: Any) -> None:
        people = list(User.objects.get_queryset().filter(is_active=True).order_by("pk"))
        began = time.monotonic()
        try:
            equipment_seed(things=things, loans=loans, people=people, now=timezone.now())
        except SeedRefused as refused:
            raise CommandError(str(refused)) from refused
        self.stdout.write(f"{things} things and {loans} loans, in {time.monotonic() - began:.1f} s.")
