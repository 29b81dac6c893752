"""manage.py sweep_recipes"""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from recipes.presentation import reach_of
from recipes.services import published_sweep


class Command(BaseCommand):
    help = (
        "Judge every published recipe by the acid list as it stands now. What it refuses is held back from new plans "
        "and named here, with the jars that a withdrawal for safety would call back. Exit status 3 where one is."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        found = published_sweep()
        for swept in found:
            revision = swept.revision
            reach = reach_of(revision)
            jars = f" Jars: {reach.words}." if reach.jars else ""
            state = "held back from new plans" if swept.is_held_back else "to look at"
            self.stdout.write(f"{revision.recipe.slug} {revision.number}: {state}.{jars}")
            for why in [swept.why] if swept.is_held_back else [one.sentence for one in swept.findings]:
                self.stdout.write(f"  {why}")
        refused = sum(swept.is_held_back for swept in found)
        self.stdout.write(f"{refused} held back from new plans, {len(found) - refused} to look at.")
        if refused:
            raise SystemExit(3)
