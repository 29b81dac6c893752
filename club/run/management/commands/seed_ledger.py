"""`python3 manage.py seed_ledger --movements 1000000`: an invented season of the jar ledger, for benchmarks."""

from __future__ import annotations

import time
from argparse import ArgumentParser
from typing import Any

from django.core.management import BaseCommand, CommandError
from django.db import transaction
from django.utils import timezone

from club.members.models import Kitchen, User
from club.run.seeds import ledger_seed
from inventory.jars.models import Balance
from inventory.jars.services import kitchen_place, ledger_audit, person_place, store_place


class Command(BaseCommand):
    help = "Lay down an invented season of jar movements among the people and kitchens there are. For a trial site."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--movements", type=int, default=1_000_000)
        parser.add_argument("--kitchens", type=int, default=200, help="Invented kitchens to add, to have that many.")
        parser.add_argument("--seed", type=int, default=1)
        parser.add_argument("--yes", action="store_true", help="I know that this invents jars on this site.")

    def handle(self, *args: Any, **options: Any) -> None:
        if not options["yes"]:
            raise CommandError("This invents jars that nobody has. Say --yes on a site that is only for trials.")
        by = User.objects.get_queryset().filter(is_active=True).order_by("pk").first()
        if by is None:
            raise CommandError("There is nobody yet who could have moved jars: run load_demo first.")
        began = time.monotonic()
        with transaction.atomic():
            count = ledger_seed(
                movements=options["movements"],
                by=by,
                places=[store_place(), *(kitchen_place(one) for one in _kitchens(options["kitchens"]))],
                people=[person_place(one) for one in User.objects.get_queryset().order_by("pk")[:1000]],
                lots=list(Balance.objects.exclude(batch=None).order_by().values_list("batch", flat=True).distinct()),
                until=timezone.now(),
                seed=options["seed"],
            )
        took = time.monotonic() - began
        self.stdout.write(f"{count} movements in {took:.1f} s, {count / max(took, 0.001):,.0f} a second.")
        audit = ledger_audit()
        if not audit.is_sound:
            raise CommandError("\n".join(audit.problems[:20]))
        self.stdout.write(f"The books are sound: {audit.movements} movements, every size sums to zero.")


def _kitchens(wanted: int) -> list[Kitchen]:
    there = list(Kitchen.objects.order_by("pk"))
    missing = range(len(there), wanted)
    return there + Kitchen.objects.bulk_create(Kitchen(name=f"Invented kitchen {number}") for number in missing)
