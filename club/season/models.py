"""What a household says of its year: what it goes through, how long an evening is, and whether it is counted."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from club.core.fields import NameField
from club.members.models import Kitchen, User
from club.season.harvest import WEEKS, Region, Weeks, regions
from inventory.batches.choices import STAGED, Container
from recipes.choices import CANNERS, JARS, kind_label
from recipes.engine.quantities import JAR_SIZES
from recipes.engine.terms import Canner
from recipes.models import Recipe

# What a year is counted in: jars of the ledger, and containers of what is kept without a process.
SIZES = {**JARS, **{one.value: one.label for one in Container}}
KEPT_KINDS = {one.value: one.label for one in STAGED}
USUAL_EVENING = 240  # minutes; our own choice, which a household changes
USUAL_EVENINGS = "56"  # Friday and Saturday, by the numbers of ISO weekdays; the same


# Up to so many households the club's season is reckoned when it is looked at; more are summed up by a periodic job.
MOST_AT_ONCE = 40


def households_of(user: User) -> models.QuerySet[Kitchen]:
    """The member's own kitchens, whose season they may see and change. A hall is nobody's household."""
    return Kitchen.objects.filter(is_hall=False, people=user).order_by("pk")


class HouseholdSeasonQuerySet(models.QuerySet["HouseholdSeason"]):
    def of(self, kitchen: Kitchen) -> HouseholdSeason:
        """What the household said, or the usual values, unsaved."""
        return self.filter(kitchen=kitchen).first() or HouseholdSeason(kitchen=kitchen)


class HouseholdSeason(models.Model):
    """How a household does its season; the values below hold where it has said nothing."""

    kitchen = models.OneToOneField(Kitchen, on_delete=models.PROTECT, related_name="season")
    evening_minutes = models.PositiveSmallIntegerField(_("minutes of an evening"), default=USUAL_EVENING)
    # Lids are counted by lot for the whole club; what lies in a drawer at home only the household knows.
    lids_at_home = models.PositiveIntegerField(_("lids at home"), default=0)
    is_counted = models.BooleanField(_("counted in what the club orders"), default=False)
    evening_days = models.CharField(_("evenings of a week"), max_length=7, default=USUAL_EVENINGS)  # "56", in order

    objects = HouseholdSeasonQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="evening_of_some_length", condition=Q(evening_minutes__gte=30, evening_minutes__lte=900)
            ),
            models.CheckConstraint(name="evening_on_some_day", condition=~Q(evening_days="")),
        ]

    def __str__(self) -> str:
        return str(self.kitchen)

    @property
    def weekdays(self) -> list[int]:
        """ISO weekdays, 1 for Monday."""
        return [int(day) for day in self.evening_days]


def households_counted() -> models.QuerySet[Kitchen]:
    """Those that chose to be counted in what the club orders, by name."""
    return Kitchen.objects.filter(is_hall=False, season__is_counted=True).order_by("name", "pk")


class ClubSummary(models.Model):
    """The club's season as it was reckoned last: the one row of its table, written anew by a periodic job.

    `sums` is `presentation.ClubSums.as_json`; empty before the first time. `next_at` is when somebody may begin again.
    """

    made_at = models.DateTimeField(null=True)
    next_at = models.DateTimeField()
    sums: models.JSONField[dict[str, Any], dict[str, Any]] = models.JSONField(default=dict)

    class Meta:
        constraints = [models.CheckConstraint(name="one_summary_of_the_club", condition=Q(pk=1))]

    def __str__(self) -> str:
        return f"{self.made_at}"


def kind_word(kind: str) -> str:
    return str(KEPT_KINDS[kind]) if kind in KEPT_KINDS else kind_label(kind)


class YearlyTargetQuerySet(models.QuerySet["YearlyTarget"]):
    def visible_to(self, user: User) -> YearlyTargetQuerySet:
        return self.filter(kitchen__in=households_of(user))

    def in_order(self) -> YearlyTargetQuerySet:
        return self.select_related("recipe").order_by("pk")


class YearlyTarget(models.Model):
    """So many jars of one size a year: of one recipe, or of a kind of some produce ("jam" of "raspberries").

    A ferment, dried or frozen food is such a kind too, counted in jars or in containers of no process.
    """

    kitchen = models.ForeignKey(Kitchen, on_delete=models.PROTECT, related_name="yearly_targets")
    recipe = models.ForeignKey(Recipe, on_delete=models.PROTECT, null=True, blank=True, related_name="yearly_targets")
    kind = models.CharField(max_length=40, blank=True)
    produce = models.CharField(max_length=80, blank=True)
    jar_size = models.CharField(max_length=16)
    jars = models.PositiveIntegerField(_("jars a year"))
    canner = models.CharField(max_length=16, blank=True)  # for what goes under pressure; empty: as the recipe has it

    objects = YearlyTargetQuerySet.as_manager()

    class Meta:
        db_table = "desk_yearlywish"  # the name it was made under
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["kitchen", "recipe", "jar_size"],
                condition=Q(recipe__isnull=False),
                name="one_wish_per_kitchen_recipe_and_size",
            ),
            models.UniqueConstraint(
                fields=["kitchen", "kind", "produce", "jar_size"],
                condition=Q(recipe=None),
                name="one_wish_per_kitchen_kind_and_size",
            ),
            models.CheckConstraint(
                name="wish_is_for_a_recipe_or_a_kind",
                condition=Q(recipe__isnull=False, kind="", produce="")
                | (Q(recipe=None) & ~Q(kind="") & ~Q(produce="")),
            ),
            models.CheckConstraint(
                name="wish_of_a_known_size",
                condition=Q(jar_size__in=JAR_SIZES)
                | Q(recipe=None, jar_size__in=Container.values, kind__in=list(KEPT_KINDS)),
            ),
            models.CheckConstraint(name="wish_for_a_jar", condition=Q(jars__gte=1)),
            models.CheckConstraint(
                name="wish_of_a_known_canner", condition=Q(canner__in=["", *(canner.value for canner in Canner)])
            ),
        ]

    def __str__(self) -> str:
        return self.title

    @property
    def title(self) -> str:
        """ "Strawberry jam" or "jam: raspberries" """
        return self.recipe.title if self.recipe is not None else f"{kind_word(self.kind)}: {self.produce}"

    @property
    def size_word(self) -> str:
        return str(SIZES[self.jar_size])

    @property
    def is_kept_in_stages(self) -> bool:
        """Planned by no recipe: it is begun by its table."""
        return self.recipe is None and self.kind in KEPT_KINDS

    @property
    def canner_word(self) -> str:
        return str(CANNERS[self.canner]) if self.canner else ""


# When produce is ripe where the club is. Rows are only added; the last one holds.

REGION_LENGTH, NOTE_LENGTH = 40, 200
SET_HARVEST = "desk.set_harvest"


class ClubRegionQuerySet(models.QuerySet["ClubRegion"]):
    def now(self) -> ClubRegion | None:
        """The region chosen last, with who chose it."""
        return self.select_related("set_by").order_by("-pk").first()


class ClubRegion(models.Model):
    """An organiser said where the club is: whose published calendar it goes by."""

    region = models.CharField(_("region"), max_length=REGION_LENGTH)
    set_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(default=timezone.now)

    objects = ClubRegionQuerySet.as_manager()

    class Meta:
        permissions = [("set_harvest", "Can say where the club is and correct harvest weeks")]

    def __str__(self) -> str:
        return str(self.known or self.region)

    @property
    def known(self) -> Region | None:
        """None where no calendar of this name is published any more."""
        return regions().get(self.region)


class HarvestWeeksQuerySet(models.QuerySet["HarvestWeeks"]):
    def now(self) -> dict[str, HarvestWeeks]:
        """The last row of each produce, where it has weeks."""
        last = {row.produce: row for row in self.select_related("set_by").order_by("pk")}
        return {produce: row for produce, row in last.items() if row.weeks is not None}


class HarvestWeeks(models.Model):
    """An organiser corrected the weeks of one produce. Without weeks the calendar's hold again."""

    produce = models.CharField(_("what"), max_length=60)
    first_week = models.PositiveSmallIntegerField(_("first week"), null=True, blank=True)
    last_week = models.PositiveSmallIntegerField(_("last week"), null=True, blank=True)
    note = NameField(_("how you know"), max_length=NOTE_LENGTH, blank=True)
    set_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(default=timezone.now)

    objects = HarvestWeeksQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(name="harvest_of_some_produce", condition=~Q(produce="")),
            models.CheckConstraint(
                name="harvest_in_weeks_of_a_year",
                condition=Q(first_week=None, last_week=None)
                | Q(first_week__gte=1, first_week__lte=WEEKS, last_week__gte=1, last_week__lte=WEEKS),
            ),
        ]

    def __str__(self) -> str:
        return self.produce

    @property
    def weeks(self) -> Weeks | None:
        return None if self.first_week is None or self.last_week is None else Weeks(self.first_week, self.last_week)
