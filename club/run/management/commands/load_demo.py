"""Lay down the demo club on an empty site."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from club.run.demo import PASSWORD, SIGN_INS, DemoRefused, demo_load, signs_of_others


class Command(BaseCommand):
    help = "Lay down the demo club (invented people and batches) on an empty site with a loaded library."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--force",
            action="store_true",
            help="Also where there are people already. Never where the variables are those of a site for others: the "
            "password is known to everybody.",
        )

    def handle(self, *args: Any, force: bool, **options: Any) -> None:
        if signs := signs_of_others():
            raise CommandError(
                f"This looks like a site for others ({', '.join(signs)}), and everybody knows the demo's password: "
                "nothing was laid down. Unset what is named, if nobody else can reach this site."
            )
        try:
            club = demo_load(now=timezone.now(), among_others=force)
        except DemoRefused as refused:
            raise CommandError(str(refused)) from refused
        laid = f"{len(club.people)} people, {len(club.kitchens)} kitchens, {len(club.batches)} batches"
        self.stdout.write(f"Demo club laid down: {laid}.")
        for email, role in SIGN_INS:
            self.stdout.write(f"  {email}  ({role})")
        self.stdout.write(f"  password for each: {PASSWORD}")
