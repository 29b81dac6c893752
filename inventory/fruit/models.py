"""Fruit that somebody can spare, who would like some, who gets how much, and what lies in the freezer."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import Count, Exists, F, OuterRef, Q, Subquery, Sum
from django.db.models.functions import Coalesce
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from club.core.clock import club_day
from club.core.fields import NameField
from club.members.models import Kitchen, User
from inventory.fruit.choices import ACTIVE_STAGES, ClaimStage, FruitState, OfferStage, ShareStage
from inventory.fruit.produce import CONTAINERS, OTHER, PRODUCE, produce_choices, units_words, weight_words
from inventory.fruit.rules import ShelfLife, season_of, shelf_life
from recipes.models import Recipe

RUN = "fruit.run_offers"
WHERE_LENGTH, ABOUT_LENGTH, NAME_LENGTH, NOTE_LENGTH = 200, 120, 60, 500


class OfferQuerySet(models.QuerySet["Offer"]):
    def visible_to(self, user: User) -> OfferQuerySet:
        """The gate: everybody sees what is offered; what was taken back only its giver, who claimed, and organisers."""
        if user.has_perm(RUN):
            return self
        mine = Q(giver=user) | Exists(Claim.objects.filter(offer=OuterRef("pk"), person=user))
        return self.filter(~Q(stage=OfferStage.TAKEN_BACK) | mine)

    def run_by(self, user: User) -> OfferQuerySet:
        """The gate for running one: its giver, and organisers."""
        return self if user.has_perm(RUN) else self.filter(giver=user)

    def claimable(self, now: datetime) -> OfferQuerySet:
        """Open for claims, or shared out with something left; with a pick-up window still ahead."""
        open_still = Q(stage=OfferStage.OPEN, closes_at__gt=now)
        has_left = Q(stage=OfferStage.SHARED, units__gt=F("shared") + F("kept"))
        return self.filter(open_still | has_left, self._window_ahead(now))

    def due_to_share(self, now: datetime) -> OfferQuerySet:
        """Claims have closed and nobody shared it out."""
        return self.filter(stage=OfferStage.OPEN, closes_at__lte=now)

    def spoils_first(self) -> OfferQuerySet:
        return self.order_by("use_by", "closes_at", "pk")

    def for_list(self, user: User) -> OfferQuerySet:
        """With its giver, its windows, how many claims it has and the person's own."""
        open_claims = Claim.objects.filter(offer=OuterRef("pk"), stage=ClaimStage.OPEN).order_by()
        return (
            self.select_related("giver")
            .prefetch_related("windows")
            .annotate(
                claims_count=Coalesce(
                    Subquery(open_claims.values("offer").annotate(n=Count("pk")).values("n")),
                    0,
                ),
                is_claimed=Exists(open_claims.filter(person=user)),
            )
        )

    @staticmethod
    def _window_ahead(now: datetime) -> Exists:
        return Exists(PickUpWindow.objects.filter(offer=OuterRef("pk"), ends_at__gt=now))


class ClaimQuerySet(models.QuerySet["Claim"]):
    def visible_to(self, user: User) -> ClaimQuerySet:
        """The gate: one's own, those on one's own offers, and all to organisers."""
        return self if user.has_perm(RUN) else self.filter(Q(person=user) | Q(offer__giver=user))

    def open(self) -> ClaimQuerySet:
        return self.filter(stage=ClaimStage.OPEN)


class ShareQuerySet(models.QuerySet["Share"]):
    def visible_to(self, user: User) -> ShareQuerySet:
        """The gate: one's own, those of one's own offers, and all to organisers."""
        return self if user.has_perm(RUN) else self.filter(Q(person=user) | Q(offer__giver=user))

    def active(self) -> ShareQuerySet:
        return self.filter(stage__in=ACTIVE_STAGES)

    def promised(self) -> ShareQuerySet:
        return self.filter(stage=ShareStage.PROMISED)

    def in_season(self, year: int) -> ShareQuerySet:
        """Promised within that season, by the club's calendar."""
        zone = timezone.get_default_timezone()
        first, last = (datetime(one, 1, 1, tzinfo=zone).astimezone(UTC) for one in (year, year + 1))
        return self.filter(promised_at__gte=first, promised_at__lt=last)

    def had_by(self, people: Iterable[int], now: datetime, *, but: int | None = None) -> dict[int, int]:
        """Grams that each person was promised or picked up this season, those of one offer left out."""
        rows = self.active().in_season(season_of(club_day(now))).filter(person__in=people).exclude(offer=but)
        sums = rows.order_by().values_list("person").annotate(had=Sum("grams"))
        return dict.fromkeys(people, 0) | dict(sums)


class Offer(models.Model):
    """So many units of so many grams each: a unit is one gram where fruit is weighed out, else one container.

    open -> shared (in one or more rounds), or taken back. `version` is counted up with every write that the shares
    hang on: who writes claims or shares first takes the row by it, so that on every database one comes after another.
    `shared` counts the units of active shares; a constraint keeps it within what is offered.
    """

    token = models.UUIDField(unique=True, editable=False)
    giver = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="fruit_offers")
    produce = models.CharField(_("what"), max_length=24, choices=produce_choices())
    name = NameField(_("sort, or what else it is"), max_length=NAME_LENGTH, blank=True)
    state = models.CharField(_("state"), max_length=8, choices=FruitState.choices, default=FruitState.FRESH)
    frozen_on = models.DateField(_("frozen on"), null=True, blank=True)

    container = models.CharField(max_length=12, choices=list(CONTAINERS.items()), blank=True)  # empty: by weight
    unit_g = models.PositiveIntegerField(default=1)
    weight_source = models.CharField(max_length=200, blank=True)  # where a container's weight is printed; or the giver
    units = models.PositiveIntegerField()
    kept = models.PositiveIntegerField(default=0)  # what the giver keeps back of them
    shared = models.PositiveIntegerField(default=0, editable=False)

    about_where = models.CharField(_("about where"), max_length=ABOUT_LENGTH, blank=True)  # shown to all
    where = models.CharField(_("where"), max_length=WHERE_LENGTH)  # shown to those who get a share
    use_by = models.DateField(_("best used by"))
    # The giver said so; else it is our estimate.
    has_own_use_by = models.BooleanField(default=False, db_column="use_by_told")
    grown = models.CharField(_("how it was grown"), max_length=200, blank=True)
    note = models.CharField(_("note"), max_length=NOTE_LENGTH, blank=True)

    closes_at = models.DateTimeField(_("claims close"))
    stage = models.CharField(max_length=12, choices=OfferStage.choices, default=OfferStage.OPEN)
    rounds = models.PositiveSmallIntegerField(default=0, editable=False)
    version = models.PositiveIntegerField(default=0, editable=False)
    created_at = models.DateTimeField(default=timezone.now)
    shared_at = models.DateTimeField(null=True, blank=True)
    taken_back_at = models.DateTimeField(null=True, blank=True)
    taken_back_reason = models.CharField(max_length=200, blank=True)

    objects = OfferQuerySet.as_manager()

    class Meta:
        ordering = ["use_by", "pk"]
        permissions = [("run_offers", "Can see who claims, and run an offer in its giver's place")]
        indexes = [models.Index(fields=["stage", "closes_at"]), models.Index(fields=["stage", "use_by"])]
        constraints = [
            models.CheckConstraint(name="offer_of_something", condition=Q(units__gte=1, unit_g__gte=1)),
            models.CheckConstraint(
                name="offer_never_shared_out_beyond_what_is_there", condition=Q(units__gte=F("shared") + F("kept"))
            ),
            models.CheckConstraint(name="offer_by_weight_is_in_grams", condition=~Q(container="") | Q(unit_g=1)),
            models.CheckConstraint(
                name="offer_frozen_says_when",
                condition=Q(state="frozen", frozen_on__isnull=False) | (~Q(state="frozen") & Q(frozen_on=None)),
            ),
            models.CheckConstraint(name="offer_of_something_else_says_what", condition=~Q(produce=OTHER) | ~Q(name="")),
            models.CheckConstraint(
                name="offer_shared_says_when",
                condition=Q(stage="open", rounds=0) | Q(stage="taken-back") | Q(rounds__gte=1, shared_at__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return str(self.title)

    def get_absolute_url(self) -> str:
        return reverse("fruit:offer", args=[self.pk])

    @property
    def title(self) -> str | Promise:
        """ "plums", "plums, Italian", "medlars"."""
        if self.produce == OTHER:
            return self.name
        label = PRODUCE[self.produce].label
        return f"{label}, {self.name}" if self.name else label

    def amount_text(self, count: int, units: str) -> str:
        """ "3 bushels (76.2 kg)", or "12 kg": so many of its units, in the reader's own."""
        return units_words(count, container=self.container, unit_g=self.unit_g, units=units)

    @property
    def grams(self) -> int:
        return self.units * self.unit_g

    @property
    def to_share(self) -> int:
        """Units that are offered in all, what is kept back left out."""
        return self.units - self.kept

    @property
    def left(self) -> int:
        """Units that nobody was promised."""
        return self.to_share - self.shared

    @property
    def is_shared(self) -> bool:
        return self.stage == OfferStage.SHARED

    def is_run_by(self, user: User) -> bool:
        """The giver, and organisers."""
        return self.giver_id == user.pk or user.has_perm(RUN)

    def takes_claims(self, now: datetime) -> bool:
        """Until the closing moment; afterwards as long as there is something left. Pick-up windows come on top."""
        is_open = self.stage == OfferStage.OPEN and now < self.closes_at
        return is_open or (self.is_shared and self.left > 0)


class PickUpWindow(models.Model):
    """A day and hours on the club's wall clock, as people were told, and the two moments those are in UTC."""

    offer = models.ForeignKey(Offer, on_delete=models.CASCADE, related_name="windows")
    day = models.DateField()
    starts = models.TimeField()
    ends = models.TimeField()
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()

    class Meta:
        ordering = ["starts_at", "pk"]
        constraints = [
            models.CheckConstraint(name="window_ends_after_it_starts", condition=Q(ends_at__gt=F("starts_at"))),
            models.UniqueConstraint(fields=["offer", "starts_at", "ends_at"], name="one_window_per_offer_and_hours"),
        ]

    def __str__(self) -> str:
        return f"{self.day} {self.starts:%H:%M} {self.ends:%H:%M}"


class OfferPhoto(models.Model):
    """A picture, decoded and written anew as JPEG. Kept in the database: one backup holds everything."""

    offer = models.OneToOneField(Offer, on_delete=models.CASCADE, related_name="photo")
    jpeg = models.BinaryField()
    changed_at = models.DateTimeField(default=timezone.now)

    def __str__(self) -> str:
        return f"{self.offer_id} {self.changed_at:%Y-%m-%d}"


class Claim(models.Model):
    """How much of an offer would help somebody, and when they could come for it: one a person and offer, changed until
    it is shared. Amounts are in the offer's units."""

    offer = models.ForeignKey(Offer, on_delete=models.PROTECT, related_name="claims")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="fruit_claims")
    asked = models.PositiveIntegerField(_("would help"))
    least = models.PositiveIntegerField(_("least of use"), default=1)
    windows = models.ManyToManyField(PickUpWindow, related_name="claims")
    recipe = models.ForeignKey(Recipe, on_delete=models.SET_NULL, null=True, blank=True, related_name="fruit_claims")
    note = models.CharField(_("note to the giver"), max_length=200, blank=True)
    stage = models.CharField(max_length=10, choices=ClaimStage.choices, default=ClaimStage.OPEN)
    made_at = models.DateTimeField()
    changed_at = models.DateTimeField()

    objects = ClaimQuerySet.as_manager()

    class Meta:
        ordering = ["made_at", "pk"]
        indexes = [models.Index(fields=["person", "stage"])]
        constraints = [
            models.UniqueConstraint(fields=["offer", "person"], name="one_claim_per_offer_and_person"),
            models.CheckConstraint(
                name="claim_asks_for_its_least_or_more", condition=Q(least__gte=1, asked__gte=F("least"))
            ),
        ]

    def __str__(self) -> str:
        return f"{self.offer_id} {self.person_id} {self.asked}"


class SharingRound(models.Model):
    """One sharing out, kept as it was calculated: the first, or what came back shared out again.

    `parts` holds inventory.fruit.sharing.Part by the claim's key, with what each person had this season, so that a
    share can be explained for ever.
    """

    offer = models.ForeignKey(Offer, on_delete=models.PROTECT, related_name="sharing_rounds")
    number = models.PositiveSmallIntegerField()
    at = models.DateTimeField()
    # Nobody: the clock, when claims had closed.
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    supply = models.PositiveIntegerField()
    left = models.PositiveIntegerField()
    parts: models.JSONField[dict[str, Any], dict[str, Any]] = models.JSONField(default=dict)

    class Meta:
        ordering = ["offer", "number"]
        constraints = [models.UniqueConstraint(fields=["offer", "number"], name="one_round_per_offer_and_number")]

    def __str__(self) -> str:
        return f"{self.offer_id} {self.number}"


class Share(models.Model):
    """What a claim got. promised -> picked up, not picked up, or given back; a later round may add to a promise."""

    claim = models.OneToOneField(Claim, on_delete=models.PROTECT, related_name="share")
    offer = models.ForeignKey(Offer, on_delete=models.PROTECT, related_name="shares")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="fruit_shares")
    units = models.PositiveIntegerField()
    grams = models.PositiveIntegerField()
    window = models.ForeignKey(PickUpWindow, on_delete=models.PROTECT, related_name="shares")
    stage = models.CharField(_("state"), max_length=10, choices=ShareStage.choices, default=ShareStage.PROMISED)
    round_number = models.PositiveSmallIntegerField()  # the last that changed it
    promised_at = models.DateTimeField()
    changed_at = models.DateTimeField()  # when the last round gave it or added to it
    noted_at = models.DateTimeField(null=True, blank=True)
    noted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    objects = ShareQuerySet.as_manager()

    class Meta:
        ordering = ["-promised_at", "pk"]
        indexes = [models.Index(fields=["person", "stage", "promised_at"]), models.Index(fields=["stage", "window"])]
        constraints = [
            models.CheckConstraint(name="share_of_something", condition=Q(units__gte=1, grams__gte=1)),
            models.CheckConstraint(
                name="share_noted_by_whom_and_when",
                condition=Q(stage="promised", noted_at=None, noted_by=None)
                | (~Q(stage="promised") & Q(noted_at__isnull=False, noted_by__isnull=False)),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.offer_id} {self.person_id} {self.units}"


# The freezer


class FreezerState(models.TextChoices):
    FRUIT = "fruit", _("fruit")
    JUICE = "juice", _("juice")
    PUREE = "puree", _("purée")


class TakenFor(models.TextChoices):
    USED = "used", _("used")
    THROWN_AWAY = "thrown-away", _("thrown away")
    MISCOUNTED = "miscounted", _("was never there")


class FreezerQuerySet(models.QuerySet["FreezerItem"]):
    def visible_to(self, user: User) -> FreezerQuerySet:
        """The gate: a freezer is its household's own affair, whatever office somebody else holds."""
        return self.filter(kitchen__in=Kitchen.objects.usable_by(user))

    def there(self) -> FreezerQuerySet:
        return self.filter(grams_left__gt=0)

    def oldest_first(self) -> FreezerQuerySet:
        return self.order_by("frozen_on", "pk").select_related("kitchen", "put_in_by")


class FreezerItem(models.Model):
    """One lot: the same fruit, frozen on one day. Weights in whole grams; bags are counted where somebody did."""

    kitchen = models.ForeignKey(Kitchen, on_delete=models.PROTECT, related_name="freezer_items")
    freezer = models.CharField(_("which freezer"), max_length=60, blank=True)
    what = models.CharField(_("what"), max_length=80)
    produce = models.CharField(max_length=60, blank=True)  # the recipes' own word, where `what` is one
    state = models.CharField(_("kept as"), max_length=8, choices=FreezerState.choices, default=FreezerState.FRUIT)
    with_sugar = models.BooleanField(_("frozen with sugar"), default=False)
    frozen_on = models.DateField(_("frozen on"))
    grams = models.PositiveIntegerField(_("grams"))
    grams_left = models.PositiveIntegerField()
    bags = models.PositiveSmallIntegerField(_("bags or boxes"), null=True, blank=True)
    bags_left = models.PositiveSmallIntegerField(null=True, blank=True)
    note = models.CharField(_("note"), max_length=200, blank=True)
    put_in_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="freezer_items")
    created_at = models.DateTimeField(default=timezone.now)
    # The form's own token: the same form sent twice finds the lot it wrote the first time.
    token = models.UUIDField(unique=True, editable=False)

    objects = FreezerQuerySet.as_manager()

    class Meta:
        ordering = ["frozen_on", "pk"]
        indexes = [
            models.Index(fields=["kitchen", "frozen_on"], condition=Q(grams_left__gt=0), name="fruit_freezer_there")
        ]
        constraints = [
            models.CheckConstraint(name="freezer_item_weighs_something", condition=Q(grams__gte=1)),
            models.CheckConstraint(
                name="freezer_item_never_more_left_than_was", condition=Q(grams_left__lte=F("grams"))
            ),
            models.CheckConstraint(
                name="freezer_item_bags_add_up",
                condition=Q(bags=None, bags_left=None)
                | Q(bags__isnull=False, bags_left__isnull=False, bags__gte=1, bags_left__lte=F("bags")),
            ),
            models.CheckConstraint(name="freezer_item_says_what", condition=~Q(what="")),
        ]

    def __str__(self) -> str:
        return self.what

    def get_absolute_url(self) -> str:
        return reverse("fruit:freezer-item", args=[self.pk])

    @property
    def shelf_life(self) -> ShelfLife:
        return shelf_life(self.frozen_on, produce=self.produce, with_sugar=self.with_sugar)

    def weight_text(self, units: str) -> str:
        """What is left, in the reader's own units."""
        return weight_words(self.grams_left, units)

    def age_on(self, today: date) -> str:
        return self.shelf_life.age(today).value


class FreezerTaking(models.Model):
    """Some of a lot taken out. Never changed."""

    item = models.ForeignKey(FreezerItem, on_delete=models.PROTECT, related_name="takings")
    grams = models.PositiveIntegerField()
    bags = models.PositiveSmallIntegerField(default=0)
    reason = models.CharField(max_length=12, choices=TakenFor.choices, default=TakenFor.USED)
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="freezer_takings")
    at = models.DateTimeField(default=timezone.now)
    token = models.UUIDField(unique=True, editable=False)

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [models.CheckConstraint(name="freezer_taking_takes_something", condition=Q(grams__gte=1))]

    def __str__(self) -> str:
        return f"{self.item_id}: -{self.grams} g"


# The season: who gave how much and who had how much


@dataclass(frozen=True)
class SeasonRow:
    """Grams that a person had, promised or picked up, and that others had of their fruit."""

    person: User
    had_g: int
    gave_g: int


def season_rows(year: int) -> list[SeasonRow]:
    """Everybody who had or gave some, who had least first: the next tie goes to them. Three queries."""
    active = Share.objects.active().in_season(year).order_by()
    had = dict(active.values_list("person").annotate(Sum("grams")))
    gave = dict(active.values_list("offer__giver").annotate(Sum("grams")))
    people = User.objects.get_queryset().filter(pk__in={*had, *gave}).in_order()
    rows = [SeasonRow(one, had.get(one.pk, 0), gave.get(one.pk, 0)) for one in people]
    return sorted(rows, key=lambda row: row.had_g)


def season_of_person(person: User, year: int) -> SeasonRow:
    active = Share.objects.active().in_season(year)
    had = active.filter(person=person).aggregate(g=Sum("grams"))["g"]
    gave = active.filter(offer__giver=person).aggregate(g=Sum("grams"))["g"]
    return SeasonRow(person, had or 0, gave or 0)
