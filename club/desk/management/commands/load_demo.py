"""Lay down the demo club on an empty site."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from club.desk.demo import PASSWORD, SIGN_INS, DemoRefused, demo_lay_down


class Command(BaseCommand):
    help = "Lay down the demo club (invented people and batches) on an empty site with a loaded library."

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            club = demo_lay_down(now=timezone.now())
        except DemoRefused as refused:
            raise CommandError(str(refused)) from refused
        laid = f"{len(club.people)} people, {len(club.kitchens)} kitchens, {len(club.batches)} batches"
        self.stdout.write(f"Demo club laid down: {laid}.")
        for email, role in SIGN_INS:
            self.stdout.write(f"  {email}  ({role})")
        self.stdout.write(f"  password for each: {PASSWORD}")
