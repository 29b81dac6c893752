"""What was put up: a batch, its jars, each look at their seals; surplus jars offered; recalls."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from fractions import Fraction
from functools import cache, reduce
from operator import or_
from typing import Any

from django.conf import settings
from django.db import connection, models
from django.db.models import (
    Case,
    Count,
    Exists,
    ExpressionWrapper,
    F,
    FloatField,
    Func,
    OuterRef,
    Prefetch,
    Q,
    Subquery,
    Sum,
    Value,
    When,
)
from django.db.models.expressions import RawSQL
from django.db.models.fields.json import KT
from django.db.models.functions import Cast, Coalesce, TruncDate
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from club.core.clock import in_utc, moment_near
from club.members.models import Kitchen, User
from inventory.batches.choices import (
    COLD,
    PRESSES_OF_A_COUNT,
    PRESSES_OF_JARS,
    BatchState,
    ClaimState,
    Container,
    Cover,
    Disposal,
    Headspace,
    LotKind,
    Measured,
    Moisture,
    OfferState,
    PressKind,
    RecallKind,
    RecallOutcome,
    Scum,
    Seal,
    Set,
    Smell,
    StageKind,
    Texture,
    Used,
    Way,
)
from inventory.batches.rules import (
    MOST_PH_HUNDREDTHS,
    NOT_REPROCESSED,
    REPROCESS_REFUSALS,
    Need,
    Phase,
    SealWindow,
    looked_at_from,
    most_ml,
    phase,
    planned_high_ml,
    seal_window,
)
from inventory.equipment.models import Thing
from inventory.fruit.models import FreezerItem, Offer
from inventory.jars.models import LidLot, SupplyLot
from inventory.jars.rules import LID_CODE_LENGTH, WEAKEST_VINEGAR_TENTHS
from recipes.engine import ProcessFound, gauge_setting, process_for
from recipes.engine.quantities import JAR_ML, JAR_SIZES
from recipes.engine.terms import Altitude, Canner, Pack, ProcessRow, Refusal
from recipes.engine.yields import Logged
from recipes.models import ProcessTable, Recipe, Revision, unsafe

# How long what people write may be; the forms and the services hold to the same.
ABANDON_REASON_LENGTH = 200
LOOK_NOTE_LENGTH = 300
OFFER_NOTE_LENGTH = 200
RECALL_REASON_LENGTH = 2000
ANSWER_NOTE_LENGTH = 300
SITUATION_LENGTH = 20
SCALE_LENGTH = 80  # of a pot's scale, as a fraction
FOOD_KEY_LENGTH = 120
FOOD_TITLE_LENGTH = 160
STAGE_NOTE_LENGTH = 300
# What a recall can be of: the kind, and the field that names the one subject.
RECALL_SUBJECTS = {
    RecallKind.REVISION.value: "revision",
    RecallKind.LID_LOT.value: "lid_lot",
    RecallKind.BATCH.value: "batch",
    RecallKind.SUPPLY_LOT.value: "supply_lot",
    RecallKind.FROZEN.value: "freezer_item",
    RecallKind.SHARED.value: "fruit_offer",
    RecallKind.CANNER.value: "canner",
}
# Of these, what a batch takes of: fields of `LotTaken` too.
LOT_SOURCES = ("supply_lot", "freezer_item", "fruit_offer")
ITEM_LENGTH = 200  # of an ingredient, as the plan calls it
STEP_LENGTH = 24  # of a step at the stove: "p2s13", "l1process"
CORRECTION_REASON_LENGTH = 300
CAPTION_LENGTH = 120
CAME_OUT_LENGTH = 500

# When the jars that still want a look last came out of a canner.
LAST_OUT = Coalesce("reprocessed_out_at", "jars_out_at")


def _cared_for(user: User, *, or_started: bool = False) -> RawSQL:
    """Keys of the batches a person made or that were made in a kitchen of theirs (or that they started for somebody,
    or have a hand in). Asked anew each time; only its words are kept.
    """
    sql, whose = _cared_for_sql(connection.vendor, or_started)
    return RawSQL(sql, [user.pk if value is None else value for value in whose])  # put together by Django


@cache
def _cared_for_sql(vendor: str, or_started: bool) -> tuple[str, tuple[Any, ...]]:
    """The statement and its values, None where the person's number stands; put together once for each kind of database,
    for every page of a batch asks it two or three times.

    Each kind is found by its own index: one condition with "or" would be asked of every batch there is.
    """
    nobody = User(pk=-1)
    rows = Batch.objects.order_by()
    found = [rows.filter(made_by=nobody), rows.filter(kitchen__in=Kitchen.objects.filter(people=nobody))]
    if or_started:
        found.append(rows.filter(started_by=nobody))
        found.append(rows.filter(pk__in=BatchHand.objects.of(nobody).values("batch")))
    first, *rest = (one.values("pk") for one in found)
    sql, values = first.union(*rest).query.sql_with_params()
    return sql, tuple(None if value == nobody.pk else value for value in values)


@dataclass(frozen=True)
class Whereabouts:
    """So many jars of one size and fate in one kitchen, or with the member they were handed to.

    `disposal` None: not settled yet.
    """

    kitchen: str
    size: str
    seal: Seal
    disposal: Disposal | None
    count: int


def _counted(jars: JarQuerySet) -> Coalesce:
    """How many they are, in a subquery of one batch's jars."""
    return Coalesce(Subquery(jars.values("batch").annotate(n=Count("pk")).values("n")), 0)


MOST_LOGGED = 200  # of a recipe's batches, the latest: what a page reads at most
FEWEST_KITCHENS = 3  # whose logs are summed up before the club sees the sum; our own choice, no source


class BatchQuerySet(models.QuerySet["Batch"]):
    def visible_to(self, user: User) -> BatchQuerySet:
        """The gate: one's own batches, those of one's own kitchens, those one started or has a hand in; who may trace
        sees all."""
        if user.has_perm("batches.trace_batch"):
            return self
        return self.filter(pk__in=_cared_for(user, or_started=True))

    def code_begins(self, start: str) -> BatchQuerySet:
        """By the beginning of the lot code, which an index finds: figures sort alike on every database."""
        figures = start[:5]
        after = str(int(figures) + 1).zfill(len(figures))
        return self.filter(lot_code__gte=figures, lot_code__lt=after, lot_code__startswith=start)

    def cared_for_by(self, user: User) -> BatchQuerySet:
        """Batches a person made, or that were made in a kitchen of theirs."""
        return self.filter(pk__in=_cared_for(user))

    def changeable_by(self, user: User) -> BatchQuerySet:
        """Who may write in a batch's log. To trace a batch is not to write in it."""
        return self if user.has_perm("batches.change_batch") else self.cared_for_by(user)

    def worked_at_by(self, user: User) -> BatchQuerySet:
        """Who may write what is done at the stove: also whoever started it for somebody else, or has a hand in it.
        Seals are not theirs."""
        if user.has_perm("batches.change_batch"):
            return self
        return self.filter(pk__in=_cared_for(user, or_started=True))

    def open(self) -> BatchQuerySet:
        """On the stove: started, and nothing logged yet."""
        return self.filter(state=BatchState.STARTED)

    def under_way_of(self, user: User) -> BatchQuerySet:
        """Own ones, and those that one started for somebody or has a hand in: on the stove, cooling, or in stages."""
        rows = self.filter(pk__in=_cared_for(user, or_started=True))
        at_the_stove = Q(way=Way.RECIPE, state__in=[BatchState.STARTED, BatchState.OUT])
        return rows.filter(at_the_stove | Q(state=BatchState.UNDERWAY))

    def under_way(self) -> BatchQuerySet:
        """In one of the stages that take days, the longest under way first."""
        return self.filter(state=BatchState.UNDERWAY).order_by("started_at", "pk")

    def seals_due(self, now: datetime) -> BatchQuerySet:
        """Out for 12 hours or more and no settling look yet, the longest wait first. An early look settles nothing."""
        out = self.filter(state=BatchState.OUT).annotate(last_out=LAST_OUT)
        return out.filter(last_out__lte=looked_at_from(now)).order_by("last_out", "pk")

    def cooling(self, now: datetime) -> BatchQuerySet:
        """Out for less than 12 hours, the soonest due first."""
        out = self.filter(state=BatchState.OUT).annotate(last_out=LAST_OUT)
        return out.filter(last_out__gt=looked_at_from(now)).order_by("last_out", "pk")

    def to_reprocess(self) -> BatchQuerySet:
        """Looked at, with jars that wait to be reprocessed, the soonest to lapse first."""

        # Asked of the jars apart: a second join would count every jar of the list twice.
        waiting = Jar.objects.filter(disposal=Disposal.REPROCESS).values("batch")
        return self.filter(state=BatchState.CHECKED, pk__in=waiting).order_by("jars_out_at", "pk")

    def done(self) -> BatchQuerySet:
        return self.filter(state__in=[BatchState.CHECKED, *COLD, BatchState.KEPT, BatchState.ABANDONED])

    def recalled(self) -> BatchQuerySet:
        """Batches with a jar that a recall or a withdrawn revision reaches, cleared ones left out (see `tracing`)."""

        return self.filter(pk__in=Jar.objects.recalled().values("batch"))

    def in_canner(self, canner: Thing, tested_on: date | None = None) -> BatchQuerySet:
        """Processed under pressure in this canner; with `tested_on` those alone that went by its gauge's test of that
        day, or began since and went by an earlier one, as that test was not recorded yet."""

        used, beside = Q(canner_card=canner, setting_psi__isnull=False), Q(card=canner, setting_psi__isnull=False)
        if tested_on is not None:
            midnight = moment_near(tested_on, time.min, timezone.get_default_timezone())
            before = Q(gauge_tested_on__lt=tested_on)
            used &= Q(gauge_tested_on=tested_on) | (before & Q(started_at__gte=midnight))
            beside &= Q(gauge_tested_on=tested_on) | (before & Q(batch__started_at__gte=midnight))
        return self.filter(used | Q(pk__in=CannerBeside.objects.filter(beside).values("batch")))

    def logged_of(self, recipe: Recipe, user: User, between: tuple[float, float]) -> tuple[Logged, bool]:
        """What the logs of a recipe teach of its yield, in one query; and whether they are the whole club's.

        A batch's figure is what its jars hold over what its plan filled them from, as the log stands after every
        correction; one that lies not `between` is only counted. The club's figures are shown once they come from
        `FEWEST_KITCHENS`, so that nobody reads one household's batch out of them; until then everybody sees those of
        their own kitchens.
        """
        jars = Jar.objects.filter(batch=OuterRef("pk")).order_by().values("batch")
        holds = Case(
            *(When(size=size, then=Value(float(ml))) for size, ml in JAR_ML.items()), output_field=FloatField()
        )
        planned = Cast(KT("plan__yield__filled_ml"), FloatField())
        logged = [BatchState.OUT, BatchState.CHECKED, *COLD]
        rows = self.filter(revision__recipe=recipe, way=Way.RECIPE, state__in=logged).annotate(
            planned_ml=planned, filled_ml=Subquery(jars.annotate(ml=Sum(holds)).values("ml"))
        )
        rows = rows.filter(planned_ml__gt=0, filled_ml__gt=0).annotate(share=F("filled_ml") / F("planned_ml"))
        rows = rows.annotate(is_own=Exists(Kitchen.objects.filter(pk=OuterRef("kitchen"), people=user)))
        rows = rows.order_by("-started_at", "-pk")[:MOST_LOGGED]
        counted = Q(share__range=between)
        own = Q(is_own=True)
        square = F("share") * F("share")
        found = rows.aggregate(
            kitchens=Count("kitchen", distinct=True),
            club_n=Count("pk", filter=counted),
            club_sum=Sum("share", filter=counted),
            club_squares=Sum(square, filter=counted),
            club_out=Count("pk", filter=~counted),
            own_n=Count("pk", filter=counted & own),
            own_sum=Sum("share", filter=counted & own),
            own_squares=Sum(square, filter=counted & own),
            own_out=Count("pk", filter=~counted & own),
        )
        is_club = found["kitchens"] >= FEWEST_KITCHENS
        values = [found[f"{'club' if is_club else 'own'}_{key}"] or 0 for key in ("n", "sum", "squares", "out")]
        return Logged(*values), is_club

    def for_list(self) -> BatchQuerySet:
        """A row of a list: recipe, kitchen, person, and the jars counted by seal, in one query.

        Jars are counted for the rows that are shown alone: joined, those of all the batches would be.
        """
        rows = self.select_related("revision__recipe", "kitchen", "made_by").defer("plan", "revision__content")
        jars = Jar.objects.filter(batch=OuterRef("pk")).order_by()
        return rows.annotate(
            jars_count=_counted(jars),
            sealed_count=_counted(jars.filter(seal=Seal.SEALED)),
            unsealed_count=_counted(jars.filter(seal=Seal.UNSEALED)),
            broken_count=_counted(jars.filter(seal=Seal.BROKEN)),
        )

    def for_cards(self) -> BatchQuerySet:
        """What a card on somebody's desk says of a batch, and nothing besides: title, kitchen, maker, hours."""
        hours = ("required_minutes", "jars_out_at", "reprocessed_out_at", "is_reprocessable", "started_at")
        names = (
            "lot_code",
            "food_title",
            "revision__recipe__title",
            "kitchen__name",
            "made_by__name",
            "made_by__email",
        )
        return self.select_related("revision__recipe", "kitchen", "made_by").only(*names, *hours)

    def for_page(self) -> BatchQuerySet:
        """Everything a batch's own page shows, in a bounded number of queries."""

        named = ("revision__recipe", "kitchen", "made_by", "started_by", "lid_lot", "canner_card", "came_out")
        return self.select_related(*named).prefetch_related(
            Prefetch(
                "jars",
                Jar.objects.select_related(
                    "place", "lid_lot", "failed_lid_lot", "set_aside__opened_by", "answer__recall", "use"
                ).order_by("number"),
            ),
            Prefetch("seal_checks", SealCheck.objects.select_related("checked_by")),
            Prefetch("canners_beside", CannerBeside.objects.select_related("card")),
        )


class Batch(models.Model):
    """Pots jarred together in one kitchen on one day from one revision.

    `plan` is the engine's plan as it stood when the batch was started; the columns beside it repeat what
    the process must reach, so that a later change of the kitchen's altitude cannot rewrite history.

    started -> out (cooling, seals to check) -> checked, and back to out once when jars are reprocessed.
    A freezer recipe goes started -> frozen. Anything on the stove may be given up.
    """

    lot_code = models.CharField(_("lot code"), max_length=16, unique=True)
    # The start form's own token: the same form sent twice finds the batch it made the first time.
    token = models.UUIDField(unique=True)
    way = models.CharField(max_length=8, choices=Way.choices, default=Way.RECIPE)
    # Empty: kept in stages, by a row of the tables of ferments, dried and frozen food.
    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, null=True, blank=True, related_name="batches")
    food = models.CharField(max_length=FOOD_KEY_LENGTH, blank=True)  # the row's key, as it was at the start
    food_title = models.CharField(max_length=FOOD_TITLE_LENGTH, blank=True)
    weighed_g = models.PositiveIntegerField(_("prepared food, in grams"), null=True, blank=True)
    put_up_g = models.PositiveIntegerField(_("put away, in grams"), null=True, blank=True)
    # The pH that the ferment ended with.
    ph_hundredths = models.PositiveSmallIntegerField(null=True, blank=True)
    # Of what is kept in stages or in the refrigerator; none: no figure was found in print.
    best_by = models.DateField(null=True, blank=True)
    freezer_item = models.OneToOneField(
        FreezerItem, on_delete=models.PROTECT, null=True, blank=True, related_name="batch_frozen"
    )
    kitchen = models.ForeignKey(Kitchen, on_delete=models.PROTECT, related_name="batches")
    # Whose jars they are: they take them home, look at the seals and are reminded of it.
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="batches")
    # Who pressed Start, where that was somebody else, such as the instructor of a class. Empty: the same person.
    started_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="batches_started"
    )
    state = models.CharField(max_length=12, choices=BatchState.choices, default=BatchState.STARTED)
    plan: models.JSONField[dict[str, Any], dict[str, Any]] = models.JSONField()

    pots = models.PositiveSmallIntegerField(_("pots"))
    # Of the printed amounts, for each pot, as an exact fraction ("1/2"): a scaled pot fills fewer jars.
    pot_scale = models.CharField(max_length=SCALE_LENGTH, default="1")
    altitude_m = models.DecimalField(max_digits=9, decimal_places=4)
    canner = models.CharField(max_length=16, blank=True)  # empty, as the pack: kept in the freezer
    pack = models.CharField(max_length=16, blank=True)
    jar_size = models.CharField(max_length=16)  # the largest the process covers
    required_minutes = models.PositiveSmallIntegerField(null=True, blank=True)  # none: kept in the freezer
    required_psi = models.PositiveSmallIntegerField(null=True, blank=True)
    # Of a low-temperature pasteurisation: the least degrees F of the water for all of its minutes. Empty: it boils.
    water_f = models.PositiveSmallIntegerField(null=True, blank=True)

    # The card of what it is processed in: the club's or a household's own; of several the one whose gauge reads
    # highest, the others are `canners_beside`. Empty: from before cards were asked for, or a household's canner without
    # one, of which only the test is noted.
    canner_card = models.ForeignKey(Thing, on_delete=models.PROTECT, null=True, blank=True, related_name="batches")
    # The last test of a dial gauge as it stood at the start: its day, and the most the gauge read high, in hundredths
    # of a psi (rounded up; below zero where it read low).
    gauge_tested_on = models.DateField(null=True, blank=True)
    gauge_reads_high_hundredths = models.SmallIntegerField(null=True, blank=True)
    # What the gauge must show: the table's pressure and what it reads high. Empty: boiling water, the freezer, or from
    # before gauges were corrected.
    setting_psi = models.PositiveSmallIntegerField(null=True, blank=True)

    # Whether unsealed jars may be processed again at all (see `reprocess_need`); a pie filling's never are.
    is_reprocessable = models.BooleanField(default=True)

    created_at = models.DateTimeField(default=timezone.now)
    started_at = models.DateTimeField(_("cooking began"), default=timezone.now)
    process_started_at = models.DateTimeField(_("process began"), null=True, blank=True)
    processed_minutes = models.PositiveSmallIntegerField(_("minutes processed"), null=True, blank=True)
    processed_psi = models.DecimalField(_("pressure held (psi)"), max_digits=4, decimal_places=1, null=True, blank=True)
    jars_out_at = models.DateTimeField(_("jars came out"), null=True, blank=True)
    lid_lot = models.ForeignKey(LidLot, on_delete=models.PROTECT, null=True, blank=True, related_name="batches")

    # When jars that were opened after an accident have to be in the canner again; none where nobody opened any.
    reprocess_by = models.DateTimeField(null=True, blank=True)
    # One reprocess at most, of the jars that did not seal; each jar says which lid sits on it now.
    reprocessed_minutes = models.PositiveSmallIntegerField(null=True, blank=True)
    reprocessed_psi = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    reprocessed_out_at = models.DateTimeField(null=True, blank=True)

    checked_at = models.DateTimeField(null=True, blank=True)
    note = models.TextField(_("notes"), blank=True)
    abandoned_at = models.DateTimeField(null=True, blank=True)
    abandoned_reason = models.CharField(max_length=ABANDON_REASON_LENGTH, blank=True)

    objects = BatchQuerySet.as_manager()

    class Meta:
        ordering = ["-started_at", "-pk"]
        permissions = [
            ("trace_batch", "Can trace any batch by its lot code"),
            ("start_for_others", "Can start a batch whose jars are somebody else's"),
        ]
        indexes = [
            models.Index(fields=["state", "jars_out_at"]),
            models.Index(fields=["-started_at", "-id"], name="batches_latest_first"),
        ]
        constraints = [
            models.CheckConstraint(name="batch_has_a_pot", condition=Q(pots__gte=1)),
            models.CheckConstraint(
                name="batch_is_of_a_recipe_or_of_a_weighed_food",
                condition=Q(way="recipe", revision__isnull=False, food="", weighed_g=None, freezer_item=None)
                | (
                    Q(way__in=["ferment", "dry", "freeze"], revision=None, weighed_g__isnull=False, weighed_g__gte=1)
                    & ~Q(food="")
                    & ~Q(food_title="")
                ),
            ),
            models.CheckConstraint(
                name="batch_in_stages_is_of_no_recipe",
                condition=~Q(state__in=["underway", "kept"]) | ~Q(way="recipe"),
            ),
            models.CheckConstraint(
                name="ferment_is_kept_or_canned_only_when_acid",
                condition=~Q(way="ferment")
                | Q(state__in=["underway", "abandoned"])
                | Q(ph_hundredths__isnull=False, ph_hundredths__lte=MOST_PH_HUNDREDTHS),
            ),
            models.CheckConstraint(
                name="batch_put_away_says_when_and_how_much",
                condition=~Q(state="kept") | Q(jars_out_at__isnull=False, put_up_g__isnull=False, put_up_g__gte=1),
            ),
            models.CheckConstraint(
                name="batch_started_by_another_or_nobody", condition=Q(started_by=None) | ~Q(started_by=F("made_by"))
            ),
            models.CheckConstraint(
                name="batch_out_has_its_process_log",
                condition=~Q(state__in=["out", "checked"])
                | Q(
                    required_minutes__isnull=False,
                    processed_minutes__isnull=False,
                    jars_out_at__isnull=False,
                    lid_lot__isnull=False,
                ),
            ),
            models.CheckConstraint(
                name="batch_under_pressure_has_its_pressure_log",
                condition=~Q(state__in=["out", "checked"]) | Q(required_psi=None) | Q(processed_psi__isnull=False),
            ),
            models.CheckConstraint(
                name="batch_in_the_freezer_needs_no_process",
                condition=~Q(state="frozen") | Q(required_minutes=None, jars_out_at__isnull=False),
            ),
            models.CheckConstraint(
                name="batch_in_the_refrigerator_has_no_process_and_a_date",
                condition=~Q(state="chilled")
                | Q(required_minutes=None, way="recipe", jars_out_at__isnull=False, best_by__isnull=False),
            ),
            models.CheckConstraint(
                name="batch_of_low_temperature_is_hot_enough_and_not_processed_twice",
                condition=Q(water_f=None)
                | Q(water_f__gte=180, canner="boiling-water", required_psi=None, reprocessed_out_at=None),
            ),
            models.CheckConstraint(
                name="batch_never_processed_below_the_tested_minutes",
                condition=Q(processed_minutes=None) | Q(processed_minutes__gte=F("required_minutes")),
            ),
            models.CheckConstraint(
                name="batch_never_processed_below_the_tested_pressure",
                condition=Q(processed_psi=None) | Q(processed_psi__gte=F("required_psi")),
            ),
            models.CheckConstraint(
                name="batch_setting_rests_on_the_table_and_the_test",
                condition=Q(setting_psi=None, gauge_tested_on=None, gauge_reads_high_hundredths=None)
                | (
                    Q(setting_psi__isnull=False, required_psi__isnull=False)
                    & Q(setting_psi__gte=F("required_psi"))
                    & (
                        Q(canner="weighted-gauge", gauge_tested_on=None, gauge_reads_high_hundredths=None)
                        | Q(
                            canner="dial-gauge",
                            gauge_tested_on__isnull=False,
                            gauge_reads_high_hundredths__isnull=False,
                            gauge_reads_high_hundredths__range=(-200, 200),
                            # Whole numbers of a small unit: a sum of decimals is a float on SQLite.
                            gauge_reads_high_hundredths__lte=(F("setting_psi") - F("required_psi")) * 100,
                        )
                    )
                ),
            ),
            models.CheckConstraint(
                name="batch_never_processed_below_its_setting",
                condition=Q(setting_psi=None)
                | (
                    (Q(processed_psi=None) | Q(processed_psi__gte=F("setting_psi")))
                    & (Q(reprocessed_psi=None) | Q(reprocessed_psi__gte=F("setting_psi")))
                ),
            ),
            models.CheckConstraint(
                name="batch_reprocessed_in_full",
                condition=Q(reprocessed_out_at=None, reprocessed_minutes=None, reprocessed_psi=None)
                | Q(
                    # A comparison with nothing is no refusal to a database: hence the explicit "not null".
                    Q(required_psi=None) | Q(reprocessed_psi__isnull=False, reprocessed_psi__gte=F("required_psi")),
                    reprocessed_minutes__isnull=False,
                    reprocessed_minutes__gte=F("required_minutes"),
                    reprocessed_out_at__gt=F("jars_out_at"),
                ),
            ),
            models.CheckConstraint(
                name="batch_jars_never_out_before_it_began",
                condition=Q(jars_out_at=None) | Q(jars_out_at__gte=F("started_at")),
            ),
            models.CheckConstraint(
                name="batch_given_up_says_why",
                condition=~Q(state="abandoned") | (Q(abandoned_at__isnull=False) & ~Q(abandoned_reason="")),
            ),
        ]

    def __str__(self) -> str:
        return self.lot_code

    def get_absolute_url(self) -> str:
        return reverse("batches:detail", args=[self.lot_code])

    @property
    def title(self) -> str:
        return self.food_title if self.revision is None else self.revision.recipe.title

    @property
    def cooked_from(self) -> Revision:
        """The revision of a batch by recipe. LookupError for one that is kept in stages."""
        if self.revision is None:
            raise LookupError(f"{self.lot_code} was made from no recipe")
        return self.revision

    @property
    def is_staged(self) -> bool:
        return self.way != Way.RECIPE

    @property
    def is_in_containers(self) -> bool:
        """Kept in stages and never canned: no process, no seals, no jar of the ledger."""
        return self.is_staged and self.required_minutes is None

    @property
    def altitude(self) -> Altitude:
        """Of the kitchen on the day, whatever is said of it since."""
        return Altitude(metres=Fraction(self.altitude_m))

    @property
    def printed_pots(self) -> Fraction:
        """How many times the printed recipe was cooked in all."""
        return self.pots * Fraction(self.pot_scale)

    @property
    def is_cold_kind(self) -> bool:
        """Made to be kept in the freezer or the refrigerator: no process, and no seals to look at."""
        return self.required_minutes is None and self.way in (Way.RECIPE, Way.FREEZE)

    @property
    def is_chilled_kind(self) -> bool:
        """Made to be kept in the refrigerator, for the weeks that its recipe gives it."""
        return self.required_minutes is None and bool(self.plan.get("refrigerator"))

    def chilled_until(self, day: date) -> date | None:
        """The last day, by the shorter end, of what went into the refrigerator then; None: it is kept otherwise."""
        if not self.is_chilled_kind:
            return None
        return day + timedelta(days=int(Fraction(str(self.plan["refrigerator"]["weeks"][0])) * 7))

    @property
    def last_out_at(self) -> datetime | None:
        """When the jars that still want a look last came out of a canner."""
        return self.reprocessed_out_at or self.jars_out_at

    @property
    def window(self) -> SealWindow | None:
        """The seal window that runs now; none where there are no seals to look at."""
        if self.required_minutes is None or self.last_out_at is None:
            return None
        return seal_window(self.last_out_at)

    @property
    def reprocess_until(self) -> datetime | None:
        """When reprocessing lapses, counted from the first time the jars came out.

        None where no jar may be reprocessed (any more), whatever the hour; `reprocess_refusal` says why.
        """
        used = self.reprocessed_out_at is not None
        if self.required_minutes is None or not self.is_reprocessable or used or self.jars_out_at is None:
            return None
        return seal_window(self.jars_out_at).reprocess_until

    def phase_at(self, now: datetime) -> Phase | None:
        """Where the seal window stands while seals are still to be looked at."""
        return phase(self.window, now) if self.window and self.state == BatchState.OUT else None

    def jars_to_look_at(self) -> list[Jar]:
        """Jars about which nothing was decided yet. Reads `jars`; prefetch them."""
        return [jar for jar in self.jars.all() if not jar.disposal]

    def jars_to_reprocess(self) -> list[Jar]:
        """Unsealed jars that wait for a second process. Reads `jars`; prefetch them."""
        return [jar for jar in self.jars.all() if jar.disposal == Disposal.REPROCESS]

    def most_filled_ml(self, size: str) -> Fraction:
        """The most that the pots can have filled, with one jar of this size a pot to spare."""
        if self.is_staged:
            return Fraction(self.plan["most_ml"])
        tested = self.cooked_from.tested
        return most_ml(
            (tested.stated_yield, *tested.other_yields),
            planned_ml=planned_high_ml(self.plan),
            pots=self.pots,
            printed_pots=self.printed_pots,
            jar=size,
        )

    def most_jars(self, size: str) -> int:
        """The most jars of one size the pots of this batch can have filled."""
        return int(self.most_filled_ml(size) / JAR_ML[size])

    def tested_needs(self) -> list[Need]:
        """The process planned, then the table's other tested pressures for the same jar. Empty: kept in the freezer.

        Each with what this batch's gauge must show for it.
        """
        if self.required_minutes is None:
            return []
        planned = Need(self.required_minutes, self.required_psi, self._setting(self.required_psi))
        found = self._process_found(Pack(self.pack))
        others = () if isinstance(found, Refusal) else found.others
        return [planned, *(Need(other.minutes, other.pressure_psi, other.setting_psi) for other in others)]

    def needs_at(self, altitude_m: Decimal, jar: str) -> list[Need]:
        """The tested processes of this pack and canner at that altitude for a jar of that size, the planned one first.

        Empty where no row of the table covers them.
        """
        if self.required_minutes is None:
            return []
        is_planned = (altitude_m, jar) == (self.altitude_m, self.jar_size)
        planned = [Need(self.required_minutes, self.required_psi, self._setting(self.required_psi))]
        if (
            self.water_f is not None
        ):  # by the water's heat, which no altitude changes; the table's minutes are of a boil
            return planned if jar == self.jar_size else []
        found = self._process_found(Pack(self.pack), altitude=Altitude(metres=Fraction(altitude_m)), jar=jar)
        if isinstance(found, Refusal):
            return planned if is_planned else []
        needs = [Need(found.minutes, found.pressure_psi, self._setting(found.pressure_psi))]
        needs += [Need(other.minutes, other.pressure_psi, other.setting_psi) for other in found.others]
        return [*planned, *(need for need in needs if need not in planned)] if is_planned else needs

    @property
    def reads_high(self) -> Fraction | None:
        """What its dial gauge showed too much at its last test, in psi; None: not known, or no dial gauge."""
        return _in_psi(self.gauge_reads_high_hundredths)

    def _setting(self, psi: int | None) -> int | None:
        return None if psi is None else gauge_setting(psi, self.reads_high)

    def reprocess_refusal(self, looked_at: datetime) -> Refusal | None:
        """Why a jar found unsealed at `looked_at` is not reprocessed any more; None when it may be."""
        if self.revision is not None and self.revision.is_unsafe:
            return _refusal("revision-withdrawn")
        if self.jars.recalled_here().exists():
            return _refusal("called-back")
        if self.reprocessed_out_at is not None:
            return _refusal("reprocessed-once")
        need = self.reprocess_need()
        if isinstance(need, Refusal):
            return need
        until = self.reprocess_until
        return _refusal("reprocess-lapsed") if until is None or in_utc(looked_at) >= until else None

    def reprocess_need(self) -> Need | Refusal:
        """The full time again, of a tested hot pack: contents are reheated, so a raw pack's own test does not hold.

        Where the hot pack's figures are lower than those of the first time, the first ones hold: "the same full time".
        """
        if self.required_minutes is None:
            return _refusal("no-process")
        tested = None if self.revision is None else self.revision.tested
        if tested is not None and (
            tested.kind == "pie-filling" or any(word in food for food in tested.produce for word in NOT_REPROCESSED)
        ):
            return _refusal("not-reprocessed")
        if self.pack == Pack.HOT:
            return Need(self.required_minutes, self.required_psi, self._setting(self.required_psi))
        hot = self._process_found(Pack.HOT)
        if isinstance(hot, Refusal):
            return _refusal("no-hot-pack")
        psi = None if self.required_psi is None else max(self.required_psi, hot.pressure_psi or 0)
        return Need(max(self.required_minutes, hot.minutes), psi, self._setting(psi))

    def process_rows(self) -> Sequence[ProcessRow]:
        """The rows that its process is looked up in: the recipe's, or those of the table that its food is canned by."""
        if self.revision is not None:
            return self.revision.tested.process
        tables = ProcessTable.objects.filter(key=self.plan["canned_by"], is_held_back=False)
        return [row for table in tables for row in table.table.rows]

    def _process_found(self, pack: Pack, *, altitude: Altitude | None = None, jar: str = "") -> ProcessFound | Refusal:
        """On the batch's own altitude and jar, where no other is named."""
        rows = self.process_rows()
        return process_for(
            rows,
            jar=jar or self.jar_size,
            pack=pack,
            canner=Canner(self.canner),
            altitude=altitude or self.altitude,
            reads_high=self.reads_high,
            food=self.plan.get("food"),
        )


class CannerBesideQuerySet(models.QuerySet["CannerBeside"]):
    def called_back(self) -> CannerBesideQuerySet:
        """Of a canner whose recall reaches the batch and was not cleared."""
        reaching = Recall.objects.not_cleared().of_canner_of("batch__", card="card", tested_on="gauge_tested_on")
        return self.filter(Exists(reaching), setting_psi__isnull=False)


class CannerBeside(models.Model):
    """Another canner that a batch was cooked in, beside the one that stands on the batch itself.

    `table_psi` is the pressure of the batch's tested process, `setting_psi` what this gauge must show for it; both
    empty in boiling water. The test is kept as the batch keeps that of its first canner.
    """

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="canners_beside")
    card = models.ForeignKey(Thing, on_delete=models.PROTECT, related_name="batches_beside")
    gauge_tested_on = models.DateField(null=True, blank=True)
    gauge_reads_high_hundredths = models.SmallIntegerField(null=True, blank=True)
    table_psi = models.PositiveSmallIntegerField(null=True, blank=True)
    setting_psi = models.PositiveSmallIntegerField(null=True, blank=True)
    processed_psi = models.DecimalField(_("pressure held (psi)"), max_digits=4, decimal_places=1, null=True, blank=True)

    objects = CannerBesideQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["batch", "card"], name="canner_beside_named_once"),
            models.CheckConstraint(
                name="canner_beside_rests_on_the_table_and_its_test",
                condition=Q(table_psi=None, setting_psi=None, gauge_tested_on=None, gauge_reads_high_hundredths=None)
                | (
                    Q(table_psi__isnull=False, setting_psi__isnull=False, setting_psi__gte=F("table_psi"))
                    & (
                        Q(gauge_tested_on=None, gauge_reads_high_hundredths=None)
                        | Q(
                            gauge_tested_on__isnull=False,
                            gauge_reads_high_hundredths__isnull=False,
                            gauge_reads_high_hundredths__range=(-200, 200),
                            gauge_reads_high_hundredths__lte=(F("setting_psi") - F("table_psi")) * 100,
                        )
                    )
                ),
            ),
            models.CheckConstraint(
                name="canner_beside_never_below_its_setting",
                condition=Q(processed_psi=None) | Q(setting_psi__isnull=False, processed_psi__gte=F("setting_psi")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.batch_id} {self.card_id}"

    @property
    def reads_high(self) -> Fraction | None:
        """As of a batch."""
        return _in_psi(self.gauge_reads_high_hundredths)

    def setting_for(self, psi: int | None) -> int | None:
        """What its gauge must show for a pressure of the table."""
        return None if psi is None else gauge_setting(psi, self.reads_high)


def _in_psi(hundredths: int | None) -> Fraction | None:
    return None if hundredths is None else Fraction(hundredths, 100)


def _refusal(code: str) -> Refusal:
    rule, text = REPROCESS_REFUSALS[code]
    return Refusal(code, rule.name, own_words=gettext(text), own_source=rule.source)


def _calls() -> list[Q]:
    """What a jar is called back for: one condition for each kind of recall."""
    open_ones = Recall.objects.not_cleared()
    taken, canners = LotTaken.objects.live(), open_ones.filter(canner__isnull=False).values("canner")
    return [
        unsafe("batch__revision__"),
        Q(batch__revision__in=open_ones.filter(revision__isnull=False).values("revision")),
        Q(lid_lot__in=open_ones.filter(lid_lot__isnull=False).values("lid_lot")),
        Q(batch__in=open_ones.filter(batch__isnull=False).values("batch")),
        Q(batch__in=taken.of_frozen_batches(open_ones.filter(batch__isnull=False).values("batch")).values("batch")),
        *(Q(batch__in=taken.of_called_back(source).values("batch")) for source in LOT_SOURCES),
        # The canner is named twice: it alone leads to its batches by an index.
        Q(
            Exists(open_ones.of_canner_of("batch__")),
            batch__canner_card__in=canners,
            batch__setting_psi__isnull=False,
        ),
        Q(batch__in=CannerBeside.objects.called_back().values("batch")),
    ]


@cache
def _called_back_sql(vendor: str, club_zone: str) -> tuple[str, tuple[Any, ...]]:
    """The keys of all jars that are called back, each kind of recall by its own index, and the statement's values.

    Nothing in it changes from one question to the next, and Django takes ten milliseconds to put it together: more
    than many a page besides. So that is done once for each kind of database, and for each zone of the club.
    """
    rows = Jar.objects.order_by()
    first, *rest = (rows.filter(one).values("pk") for one in _calls())
    return first.union(*rest, all=True).query.sql_with_params()


@cache
def _called_back_here_sql(vendor: str, club_zone: str) -> tuple[str, str, tuple[Any, ...]]:
    """Whether one jar is called back: what stands before and after its key, and the values that follow the key."""
    nobody = -1
    asked = Jar.objects.order_by().filter(pk=nobody).filter(reduce(or_, _calls())).values("pk").query
    # Names of its own, for what is asked around it speaks of the same tables.
    asked.change_aliases({table: f"called_{number}" for number, table in enumerate(asked.alias_map)})
    sql, values = asked.sql_with_params()
    assert values[0] == nobody
    before, after = sql.split("%s", 1)
    return before, after, values[1:]


class _CalledBackHere(Func):
    """A condition: the jar of this key is called back. Costs one jar's share, whatever was called back."""

    output_field = models.BooleanField()

    def as_sql(self, compiler: Any, connection: Any, *args: Any, **context: Any) -> tuple[str, tuple[Any, ...]]:
        key, given = compiler.compile(self.get_source_expressions()[0])
        before, after, values = _called_back_here_sql(connection.vendor, timezone.get_default_timezone_name())
        return f"EXISTS({before}{key}{after})", (*given, *values)


def has_jars_called_back(batch: str) -> Exists:
    """A condition: a jar of the batch in this column is called back. Where hardly a row is left to ask it of: it costs
    each one's jars, and nothing while there is none."""
    return Exists(Jar.objects.filter(batch=OuterRef(batch)).recalled_here())


# What takes days: the stages of a batch, each look at one, and what was measured.


class StageQuerySet(models.QuerySet["Stage"]):
    def running(self) -> StageQuerySet:
        going_on = [BatchState.UNDERWAY, BatchState.STARTED]
        return self.filter(began_at__isnull=False, ended_at=None, batch__state__in=going_on)

    def looks_due(self, now: datetime) -> StageQuerySet:
        """Running stages that nobody looked at for as long as they ask."""
        return self.running().filter(look_due_at__lte=in_utc(now))

    def ripe(self, now: datetime) -> StageQuerySet:
        """Running stages whose shortest printed time is over."""
        return self.running().filter(ends_from__lte=in_utc(now))


class Stage(models.Model):
    """A part of a batch that takes its own time: of one kept in stages, or a wait of a recipe (soaks, several days of
    brine, juice that settles). `number` is its place; one is running at most.

    `ends_from` and `ends_by` are its shortest and longest printed time, reckoned from when it began (before that, from
    when it should begin); empty: it ends by a test, not by the clock. A trigger lets none begin before the one ahead
    of it has ended.
    """

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="stages")
    number = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=12, choices=StageKind.choices)
    look_every_hours = models.PositiveSmallIntegerField(null=True, blank=True)
    begins_at = models.DateTimeField(_("should begin"))
    shortest_minutes = models.PositiveIntegerField(null=True, blank=True)
    longest_minutes = models.PositiveIntegerField(null=True, blank=True)
    ends_from = models.DateTimeField(null=True, blank=True)
    ends_by = models.DateTimeField(null=True, blank=True)
    look_due_at = models.DateTimeField(null=True, blank=True)  # counted from the last look, or from the beginning
    began_at = models.DateTimeField(_("began"), null=True, blank=True)
    ended_at = models.DateTimeField(_("ended"), null=True, blank=True)
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="stages_ended"
    )
    words = models.CharField(max_length=STAGE_NOTE_LENGTH, blank=True)  # what the recipe says, of its own wait
    note = models.CharField(max_length=STAGE_NOTE_LENGTH, blank=True)

    objects = StageQuerySet.as_manager()

    class Meta:
        ordering = ["batch", "number"]
        indexes = [
            models.Index(fields=["look_due_at"], condition=Q(ended_at=None), name="batches_stage_look_due"),
            models.Index(fields=["ends_from"], condition=Q(ended_at=None), name="batches_stage_ripe"),
        ]
        constraints = [
            models.UniqueConstraint(fields=["batch", "number"], name="one_stage_per_number"),
            models.UniqueConstraint(
                fields=["batch"], condition=Q(began_at__isnull=False, ended_at=None), name="one_running_stage_a_batch"
            ),
            models.CheckConstraint(
                name="stage_ends_after_it_began",
                condition=Q(ended_at=None, ended_by=None)
                | Q(began_at__isnull=False, ended_at__gte=F("began_at"), ended_by__isnull=False),
            ),
            models.CheckConstraint(
                name="stage_s_longest_time_is_no_shorter",
                condition=Q(ends_from=None) | Q(ends_by=None) | Q(ends_by__gte=F("ends_from")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.batch_id}/{self.number} {self.kind}"

    @property
    def is_running(self) -> bool:
        return self.began_at is not None and self.ended_at is None


class StageCheck(models.Model):
    """One look at a stage. Never changed (a trigger): who sees more later looks again."""

    stage = models.ForeignKey(Stage, on_delete=models.PROTECT, related_name="checks")
    at = models.DateTimeField()
    noted_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="stage_checks")
    scum = models.CharField(max_length=8, choices=Scum.choices, blank=True)
    cover = models.CharField(max_length=8, choices=Cover.choices, blank=True)
    smell = models.CharField(max_length=8, choices=Smell.choices, blank=True)
    moisture = models.CharField(max_length=8, choices=Moisture.choices, blank=True)
    note = models.CharField(max_length=STAGE_NOTE_LENGTH, blank=True)
    token = models.UUIDField(unique=True, editable=False)

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [
            models.CheckConstraint(
                name="stage_check_says_what_was_seen",
                condition=(~Q(scum="") & ~Q(cover="") & ~Q(smell="") & Q(moisture=""))
                | (~Q(moisture="") & Q(scum="", cover="", smell="")),
            )
        ]

    def __str__(self) -> str:
        return f"{self.stage_id} {self.at:%Y-%m-%d}"

    @property
    def words(self) -> str:
        """ "none, under the brine, clean and sour"."""
        seen = (
            self.get_scum_display(),
            self.get_cover_display(),
            self.get_smell_display(),
            self.get_moisture_display(),
        )
        return ", ".join(filter(None, seen))

    @property
    def is_spoilt(self) -> bool:
        """What the sources throw away."""
        return self.scum == Scum.MOULD or self.smell == Smell.BAD


class StageReading(models.Model):
    """What an instrument showed of a batch, or of one of its stages. Never changed (a trigger).

    `hundredths` of a pH, of a degree Brix or of a degree C; `limit_hundredths` is the food's limit on that day, where
    it has one. `calibrated_on` is the day of the test that the instrument goes by; only a test strip has none.
    """

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="readings")
    stage = models.ForeignKey(Stage, on_delete=models.PROTECT, null=True, blank=True, related_name="readings")
    measured = models.CharField(max_length=12, choices=Measured.choices)
    hundredths = models.IntegerField()
    limit_hundredths = models.IntegerField(null=True, blank=True)
    at = models.DateTimeField()
    noted_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="stage_readings")
    instrument = models.ForeignKey(Thing, on_delete=models.PROTECT, null=True, blank=True, related_name="readings")
    calibrated_on = models.DateField(null=True, blank=True)
    by_strip = models.BooleanField(default=False)
    note = models.CharField(max_length=STAGE_NOTE_LENGTH, blank=True)
    token = models.UUIDField(unique=True, editable=False)

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [
            models.CheckConstraint(
                name="reading_is_of_a_calibrated_instrument",
                condition=Q(by_strip=False, calibrated_on__isnull=False)
                | Q(by_strip=True, measured="ph", instrument=None, calibrated_on=None),
            ),
            models.CheckConstraint(
                name="reading_lies_where_it_can",
                condition=Q(measured="ph", hundredths__range=(0, 1400))
                | Q(measured="brix", hundredths__range=(0, 9500))
                | Q(measured="temperature", hundredths__range=(-4000, 20000)),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.batch_id} {self.measured} {self.value}"

    @property
    def value(self) -> Decimal:
        return Decimal(self.hundredths) / 100

    @property
    def is_above_limit(self) -> bool:
        return self.limit_hundredths is not None and self.hundredths > self.limit_hundredths


class JarQuerySet(models.QuerySet["Jar"]):
    def visible_to(self, user: User) -> JarQuerySet:
        """The gate: jars of the batches that one sees, and what was handed over to one."""
        if user.has_perm("batches.trace_batch"):
            return self
        return self.filter(Q(held_by=user) | Q(batch__in=Batch.objects.visible_to(user).values("pk")))

    def to_look_at(self) -> JarQuerySet:
        """Jars that still want a look: nothing was decided about them yet."""
        return self.filter(disposal="")

    def kept(self) -> JarQuerySet:
        """Jars that were neither thrown away nor said to be gone. Else only who had one knows whether it was eaten."""
        return self.exclude(disposal__in=[Disposal.DISCARD, Disposal.GONE])

    def to_give(self) -> JarQuerySet:
        """Sealed, on the shelf of whoever put them up; not set aside, called back or of a withdrawn revision."""

        shelf = self.filter(seal=Seal.SEALED, disposal=Disposal.SHELF, held_by=None, set_aside=None)
        return shelf.exclude(_CalledBackHere("pk"))

    def recalled(self) -> JarQuerySet:
        """Jars of a revision withdrawn for safety; and of whatever else whose recall was not cleared.

        Found from the recalls, each kind by its own index: it costs what is called back, not what there is.
        """
        sql, values = _called_back_sql(connection.vendor, timezone.get_default_timezone_name())
        return self.filter(pk__in=RawSQL(sql, values))  # put together by Django, of nobody's words

    def recalled_here(self) -> JarQuerySet:
        """The same of a few known jars, such as one batch's: each of them is asked."""
        return self.filter(_CalledBackHere("pk"))

    def full_containers(self) -> JarQuerySet:
        """Bags, boxes and jars without a process on a shelf or in a refrigerator, which nobody opened or gave away.

        What lies in a freezer is counted in the freezer's own list.
        """
        at_hand = self.filter(size__in=Container.values, disposal__in=[Disposal.SHELF, Disposal.REFRIGERATE], use=None)
        return at_hand.filter(batch__state=BatchState.KEPT)

    def sound(self) -> JarQuerySet:
        """Neither set aside nor called back."""
        return self.filter(set_aside=None).exclude(pk__in=Jar.objects.recalled().values("pk"))

    def whereabouts(self) -> list[Whereabouts]:
        """How many jars stand where, by kitchen, size and what became of them: one query, whatever the number."""
        # By kitchen, not by its name alone: two kitchens may be called the same.
        fate = ("place__name", "place", "held_by__name", "held_by", "size", "seal", "disposal")
        return [
            Whereabouts(
                kitchen=row["held_by__name"] or row["place__name"],
                size=row["size"],
                seal=Seal(row["seal"]),
                disposal=Disposal(row["disposal"]) if row["disposal"] else None,
                count=row["count"],
            )
            for row in self.order_by(*fate).values(*fate).annotate(count=Count("pk"))
        ]


class Jar(models.Model):
    """One jar of a batch, numbered from one. An empty `disposal` means that it is still to be looked at."""

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="jars")
    number = models.PositiveSmallIntegerField()
    size = models.CharField(max_length=16)
    seal = models.CharField(max_length=10, choices=Seal.choices, default=Seal.UNCHECKED)
    disposal = models.CharField(max_length=12, choices=Disposal.choices, blank=True)
    place = models.ForeignKey(Kitchen, on_delete=models.PROTECT, related_name="jars")
    lid_lot = models.ForeignKey(LidLot, on_delete=models.PROTECT, null=True, blank=True, related_name="jars")
    # The lot of the first lid, where that one failed and the jar was reprocessed under another.
    failed_lid_lot = models.ForeignKey(
        LidLot, on_delete=models.PROTECT, null=True, blank=True, related_name="jars_failed"
    )
    # The member it was handed over to; empty: it stays with the people of the kitchen.
    held_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="jars_held"
    )
    # The last answer to a recall that was about this very jar; set apart, a jar is told by this alone.
    answer = models.ForeignKey(
        "RecallAnswer", on_delete=models.PROTECT, null=True, blank=True, related_name="jars_meant"
    )

    # Not eaten and not handed on, until somebody has looked into what went wrong with it.
    set_aside = models.ForeignKey("JarsSetAside", on_delete=models.PROTECT, null=True, blank=True, related_name="jars")

    objects = JarQuerySet.as_manager()

    class Meta:
        ordering = ["batch", "number"]
        constraints = [
            models.CheckConstraint(
                name="jar_set_aside_is_not_handed_on", condition=Q(set_aside=None) | Q(held_by=None)
            ),
            models.UniqueConstraint(fields=["batch", "number"], name="one_jar_per_number"),
            models.CheckConstraint(
                name="jar_stands_where_its_seal_allows",
                condition=Q(seal="unchecked", disposal="")
                | Q(seal="sealed", disposal__in=["", "shelf"])
                | Q(seal="unsealed", disposal__in=["", "reprocess", "refrigerate", "freeze"])
                | Q(seal="opened", disposal__in=["reprocess", "refrigerate"])
                | Q(seal="broken", disposal="discard")
                # What dried or went sour stands in a container; a jar without a process is never on a shelf.
                | Q(seal="none", disposal__in=["freeze", "refrigerate"])
                | Q(seal="none", disposal="shelf", size__in=Container.values)
                # Whatever its seal: after a recall or an accident. Of one not looked at yet the seal is not known.
                | (~Q(seal="broken") & Q(disposal__in=["discard", "gone", "returned"])),
            ),
            models.CheckConstraint(
                name="jar_is_gone_or_returned_by_an_answer",
                condition=~Q(disposal__in=["gone", "returned"]) | Q(answer__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.batch_id}/{self.number}"

    @property
    def is_there(self) -> bool:
        """Neither handed on, thrown away, nor opened or given away as a container. Reads `use`; select it."""
        return self.held_by_id is None and self.disposal != Disposal.DISCARD and getattr(self, "use", None) is None

    @property
    def is_set_apart(self) -> bool:
        """By an answer to a recall that was not cleared since; it stands where it stood, and nobody eats from it."""
        said = self.answer
        return said is not None and said.outcome == RecallOutcome.SET_APART and not said.recall.is_cleared


class ContainerUse(models.Model):
    """One container that was opened or given away: no ledger counts these, so each is told here, once. A trigger lets
    in none of a jar that the ledger counts, and keeps what is written.
    """

    jar = models.OneToOneField(Jar, on_delete=models.PROTECT, related_name="use")
    what = models.CharField(max_length=8, choices=Used.choices)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="containers_used")
    token = models.UUIDField(unique=True, editable=False)

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [
            models.CheckConstraint(name="container_use_of_a_known_kind", condition=Q(what__in=Used.values)),
        ]

    def __str__(self) -> str:
        return f"{self.jar_id} {self.what}"


class JarsSetAsideQuerySet(models.QuerySet["JarsSetAside"]):
    def open(self) -> JarsSetAsideQuerySet:
        return self.filter(settled_at=None)


class JarsSetAside(models.Model):
    """Jars of a batch that something went wrong with, put where nobody takes them for others.

    Open until they are thrown away, or somebody who may judge it found them sound; `note` says why.
    """

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="set_asides")
    situation = models.CharField(max_length=SITUATION_LENGTH)  # a name of `accidents.Situation`
    opened_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="set_asides")
    opened_at = models.DateTimeField()
    token = models.UUIDField(unique=True, editable=False)
    settled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="set_asides_settled"
    )
    settled_at = models.DateTimeField(null=True, blank=True)
    is_sound = models.BooleanField(default=False)
    note = models.CharField(_("how it was found out"), max_length=ANSWER_NOTE_LENGTH, blank=True)

    objects = JarsSetAsideQuerySet.as_manager()

    class Meta:
        ordering = ["-opened_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                name="set_aside_settled_says_by_whom",
                condition=Q(settled_at=None, settled_by=None, is_sound=False, note="")
                | Q(settled_at__gte=F("opened_at"), settled_by__isnull=False),
            ),
            models.CheckConstraint(name="set_aside_found_sound_says_how", condition=Q(is_sound=False) | ~Q(note="")),
        ]

    def __str__(self) -> str:
        return f"{self.batch_id} {self.situation}"


class SealCheck(models.Model):
    """One look at a batch's seals: who, when, and what was counted then."""

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="seal_checks")
    token = models.UUIDField(unique=True)
    checked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="seal_checks")
    checked_at = models.DateTimeField()
    was_early = models.BooleanField(default=False)
    sealed = models.PositiveSmallIntegerField()
    unsealed = models.PositiveSmallIntegerField()
    broken = models.PositiveSmallIntegerField()
    note = models.CharField(max_length=LOOK_NOTE_LENGTH, blank=True)

    class Meta:
        ordering = ["-checked_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.batch_id} {self.checked_at:%Y-%m-%d %H:%M}"


class JarOfferQuerySet(models.QuerySet["JarOffer"]):
    def open(self) -> JarOfferQuerySet:
        return self.filter(state=OfferState.OPEN)

    def sound(self) -> JarOfferQuerySet:
        """Without a jar that is called back, or whose recipe was withdrawn."""
        return self.exclude(batch__in=Jar.objects.recalled().values("batch"))

    def visible_to(self, user: User) -> JarOfferQuerySet:
        """The gate: what is open and sound is for every member; the rest for its giver and who asked for some."""
        theirs = Q(giver=user) | Q(pk__in=JarClaim.objects.filter(person=user).values("offer"))
        return self.filter(theirs | Q(pk__in=JarOffer.objects.open().sound().values("pk")))

    def for_list(self) -> JarOfferQuerySet:
        """A row of a list: recipe, giver, and how many jars can still be had."""
        rows = self.select_related("batch__revision__recipe", "giver").defer("batch__plan", "batch__revision__content")
        free = Count("jars", filter=Q(jars__is_live=True, jars__claim=None))
        return rows.annotate(left=free).order_by("-created_at", "-pk")


class JarOffer(models.Model):
    """So many sealed jars of one size and batch. `by_choice`: the giver chooses; else who comes first has them."""

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="jar_offers")
    size = models.CharField(max_length=16)
    giver = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="jar_offers")
    by_choice = models.BooleanField(_("I choose who gets them"), default=False)
    note = models.CharField(_("note"), max_length=OFFER_NOTE_LENGTH, blank=True)
    state = models.CharField(max_length=8, choices=OfferState.choices, default=OfferState.OPEN)
    created_at = models.DateTimeField(default=timezone.now)
    closed_at = models.DateTimeField(null=True, blank=True)
    token = models.UUIDField(unique=True, editable=False)

    objects = JarOfferQuerySet.as_manager()

    class Meta:
        ordering = ["-created_at", "-pk"]
        constraints = [
            models.CheckConstraint(name="jar_offer_of_a_known_size", condition=Q(size__in=JAR_SIZES)),
            models.CheckConstraint(
                name="jar_offer_closed_says_when",
                condition=Q(state="open", closed_at=None) | Q(state="closed", closed_at__gte=F("created_at")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.batch_id} {self.size}"

    def get_absolute_url(self) -> str:
        return reverse("batches:jar-offer", args=[self.pk])


class JarClaim(models.Model):
    """Somebody would like so many. asked -> handed over, declined by the giver, or withdrawn by who asked."""

    offer = models.ForeignKey(JarOffer, on_delete=models.PROTECT, related_name="claims")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="jar_claims")
    count = models.PositiveSmallIntegerField(_("jars"))
    state = models.CharField(max_length=10, choices=ClaimState.choices, default=ClaimState.ASKED)
    asked_at = models.DateTimeField(default=timezone.now)
    settled_at = models.DateTimeField(null=True, blank=True)
    token = models.UUIDField(unique=True, editable=False)

    class Meta:
        ordering = ["asked_at", "pk"]
        constraints = [
            models.CheckConstraint(name="jar_claim_asks_for_a_jar", condition=Q(count__gte=1)),
            models.UniqueConstraint(
                fields=["offer", "person"], condition=Q(state="asked"), name="one_open_claim_per_offer_and_person"
            ),
            models.CheckConstraint(
                name="jar_claim_settled_says_when",
                condition=Q(state="asked", settled_at=None) | (~Q(state="asked") & Q(settled_at__isnull=False)),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.offer_id} {self.person_id}: {self.count}"


class OfferedJar(models.Model):
    """One jar of an offer; `claim` is who it is kept for, or went to. A jar is in one live offer at most."""

    offer = models.ForeignKey(JarOffer, on_delete=models.PROTECT, related_name="jars")
    jar = models.ForeignKey(Jar, on_delete=models.PROTECT, related_name="offered")
    claim = models.ForeignKey(JarClaim, on_delete=models.PROTECT, null=True, blank=True, related_name="jars")
    is_live = models.BooleanField(default=True)

    class Meta:
        ordering = ["offer", "jar"]
        constraints = [
            models.UniqueConstraint(fields=["jar"], condition=Q(is_live=True), name="one_live_offer_of_a_jar")
        ]

    def __str__(self) -> str:
        return f"{self.offer_id}/{self.jar_id}"


class RecallQuerySet(models.QuerySet["Recall"]):
    def open(self) -> RecallQuerySet:
        """People are still asked for what they did with their jars."""
        return self.filter(closed_at=None)

    def of_canner_of(self, batch: str, *, card: str = "", tested_on: str = "") -> RecallQuerySet:
        """In a subquery: those that reach the outer row's batch by its canner; `batch` is the way there ("batch__").

        `card` and `tested_on` are the outer row's columns where they are not the batch's own.
        """
        began = ExpressionWrapper(OuterRef(f"{batch}started_at"), output_field=models.DateTimeField())
        day = TruncDate(began, tzinfo=timezone.get_default_timezone())
        tested = OuterRef(tested_on or f"{batch}gauge_tested_on")
        went_by = Q(canner_tested_on=None) | Q(canner_tested_on=tested)
        went_by |= Q(canner_tested_on__gt=tested, canner_tested_on__lte=day)  # as in `in_canner`
        # Also after it was entered: the log may move the beginning of the cooking.
        since = Q(opened_at__gte=OuterRef(f"{batch}started_at")) | Q(opened_at__gte=OuterRef(f"{batch}created_at"))
        return self.filter(went_by, since, canner=OuterRef(card or f"{batch}canner_card"))

    def not_cleared(self) -> RecallQuerySet:
        """Open, or closed without the jars having been found sound: nobody hands these on."""
        return self.filter(is_cleared=False)

    def for_list(self) -> RecallQuerySet:
        """A row of a list or a page, in one query; the plan and the recipe's text are left behind."""
        subjects = ("revision__recipe", "lid_lot", "batch__revision__recipe")
        lots = ("supply_lot__supply", "freezer_item", "fruit_offer__giver")
        named = self.select_related(*subjects, *lots, "canner", "opened_by", "closed_by")
        return named.defer("revision__content", "batch__plan", "batch__revision__content")


class Recall(models.Model):
    """One recall of just one subject. `opened_by` may be empty only where the library withdrew a revision."""

    kind = models.CharField(max_length=10, choices=RecallKind.choices)
    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, null=True, blank=True, related_name="recalls")
    lid_lot = models.ForeignKey(LidLot, on_delete=models.PROTECT, null=True, blank=True, related_name="recalls")
    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, null=True, blank=True, related_name="recalls")
    supply_lot = models.ForeignKey(SupplyLot, on_delete=models.PROTECT, null=True, blank=True, related_name="recalls")
    freezer_item = models.ForeignKey(
        FreezerItem, on_delete=models.PROTECT, null=True, blank=True, related_name="recalls"
    )
    fruit_offer = models.ForeignKey(Offer, on_delete=models.PROTECT, null=True, blank=True, related_name="recalls")
    # What was processed under pressure in it before the recall was opened; of a dial gauge only what went by the test
    # of this day, which was its last good one.
    canner = models.ForeignKey(Thing, on_delete=models.PROTECT, null=True, blank=True, related_name="recalls")
    canner_tested_on = models.DateField(null=True, blank=True)
    reason = models.TextField(_("why"))
    opened_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="recalls_opened"
    )
    opened_at = models.DateTimeField(default=timezone.now)
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="recalls_closed"
    )
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_note = models.TextField(_("how it ended"), blank=True)
    # Looked into, and the jars were found sound: only then may they be handed on again.
    is_cleared = models.BooleanField(default=False)
    token = models.UUIDField(unique=True, editable=False)

    objects = RecallQuerySet.as_manager()

    class Meta:
        ordering = ["-opened_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                name="recall_is_of_just_one_subject",
                condition=reduce(
                    or_,
                    (
                        Q(kind=kind, **{f"{field}__isnull": field != own for field in RECALL_SUBJECTS.values()})
                        for kind, own in RECALL_SUBJECTS.items()
                    ),
                ),
            ),
            models.CheckConstraint(
                name="recall_goes_by_a_gauge_s_test_of_a_canner",
                condition=Q(canner_tested_on=None) | Q(canner__isnull=False),
            ),
            models.CheckConstraint(name="recall_says_why", condition=~Q(reason="")),
            models.CheckConstraint(
                name="recall_was_opened_by_somebody", condition=Q(opened_by__isnull=False) | Q(kind="revision")
            ),
            models.CheckConstraint(
                name="recall_closed_says_how_it_ended",
                condition=Q(closed_at=None, closed_by=None, closed_note="", is_cleared=False)
                | (Q(closed_at__gte=F("opened_at"), closed_by__isnull=False) & ~Q(closed_note="")),
            ),
            *(
                models.UniqueConstraint(
                    fields=[subject],
                    condition=Q(closed_at=None, **{f"{subject}__isnull": False}),
                    name=f"one_open_recall_of_a_{subject}",
                )
                for subject in RECALL_SUBJECTS.values()
                if subject != "canner"
            ),
            # Each failed test of a gauge has a recall of its own, of what went by the good test before.
            models.UniqueConstraint(
                fields=["canner", "canner_tested_on"],
                condition=Q(closed_at=None, canner__isnull=False),
                name="one_open_recall_of_a_canner_by_each_test",
            ),
            # To a database nothing equals nothing: without a day they are all of the one canner.
            models.UniqueConstraint(
                fields=["canner"],
                condition=Q(closed_at=None, canner__isnull=False, canner_tested_on=None),
                name="one_open_recall_of_a_canner",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.subject_words}"

    def get_absolute_url(self) -> str:
        return reverse("batches:recall", args=[self.pk])

    @property
    def subject_words(self) -> str:
        """ "Plum jam, revision 2", "LID 40 (maker)", "26257-KXT, Plum jam", "Cider vinegar, lot A123"."""
        if self.revision is not None:
            return _("%(recipe)s, revision %(n)s") % {"recipe": self.revision.recipe.title, "n": self.revision.number}
        if self.batch is not None:
            return f"{self.batch.lot_code}, {self.batch.title}"
        if self.freezer_item is not None:
            params = {"what": self.freezer_item, "day": date_format(self.freezer_item.frozen_on, "j M Y")}
            return _("%(what)s, frozen on %(day)s") % params
        if self.fruit_offer is not None:
            return _("%(what)s shared by %(who)s") % {"what": self.fruit_offer.title, "who": self.fruit_offer.giver}
        if self.canner is not None and self.canner_tested_on is not None:
            params = {"canner": self.canner, "day": date_format(self.canner_tested_on, "j M Y")}
            return _("%(canner)s, what went by its test of %(day)s") % params
        return str(self.lid_lot or self.supply_lot or self.canner)


class RecallAnswer(models.Model):
    """What somebody did with the jars of one batch in one place. Never changed: who does more later answers again.

    `where` is the place of the holding that it settles (see `tracing`). Empty only in old answers, from before places
    were asked for, of people who held jars in several: these settle nothing.
    """

    recall = models.ForeignKey(Recall, on_delete=models.PROTECT, related_name="answers")
    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="recall_answers")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="recall_answers")
    where = models.CharField(max_length=30, blank=True)
    outcome = models.CharField(max_length=10, choices=RecallOutcome.choices)
    jars = models.PositiveSmallIntegerField(_("jars"), default=0)
    note = models.CharField(_("note"), max_length=ANSWER_NOTE_LENGTH, blank=True)
    answered_at = models.DateTimeField(default=timezone.now)
    token = models.UUIDField(unique=True, editable=False)

    class Meta:
        ordering = ["-answered_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                name="recall_answer_counts_what_it_names",
                condition=Q(outcome="none-left", jars=0) | (~Q(outcome="none-left") & Q(jars__gte=1)),
            )
        ]

    def __str__(self) -> str:
        return f"{self.recall_id} {self.batch_id} {self.outcome}"


class LotTakenQuerySet(models.QuerySet["LotTaken"]):
    def live(self) -> LotTakenQuerySet:
        """Those that still stand; one that was a slip was taken back."""
        return self.filter(taken_back_at=None)

    def called_back(self) -> LotTakenQuerySet:
        """Of a lot whose recall was not cleared."""
        return reduce(or_, (self.of_called_back(source) for source in LOT_SOURCES))

    def of_called_back(self, source: str) -> LotTakenQuerySet:
        """Of one kind of lot (of LOT_SOURCES) alone."""
        lots = Recall.objects.not_cleared().filter(**{f"{source}__isnull": False}).values(source)
        return self.filter(**{f"{source}__in": lots})

    def of_frozen_batches(self, batches: Any) -> LotTakenQuerySet:
        """Out of a freezer, of the food that one of these batches froze."""
        return self.filter(freezer_item__batch_frozen__in=batches)

    def for_page(self) -> LotTakenQuerySet:
        """With what its words read, in one query."""
        return self.select_related("supply_lot__supply", "freezer_item", "fruit_offer__giver", "by").order_by("pk")


class LotTaken(models.Model):
    """From which lot a batch took one ingredient. No lot at all is an answer too: nobody could read one.

    `strength_tenths` and `use_by` repeat what the lot's label says (a trigger sees that they agree), so that the
    database itself refuses what may not be canned with.
    """

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="lots_taken")
    kind = models.CharField(max_length=12, choices=LotKind.choices)
    item = models.CharField(max_length=ITEM_LENGTH)
    supply_lot = models.ForeignKey(SupplyLot, on_delete=models.PROTECT, null=True, blank=True, related_name="taken")
    freezer_item = models.ForeignKey(FreezerItem, on_delete=models.PROTECT, null=True, blank=True, related_name="taken")
    fruit_offer = models.ForeignKey(Offer, on_delete=models.PROTECT, null=True, blank=True, related_name="taken")
    strength_tenths = models.PositiveSmallIntegerField(null=True, blank=True)  # of a percent of acid: 5 % is 50
    use_by = models.DateField(null=True, blank=True)
    taken_on = models.DateField()  # the club's day on which the cooking began
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="lots_taken")
    at = models.DateTimeField(default=timezone.now)
    token = models.UUIDField(unique=True, editable=False)
    taken_back_at = models.DateTimeField(null=True, blank=True)
    taken_back_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    objects = LotTakenQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                name="vinegar_is_canned_with_from_5_percent",
                condition=Q(kind="vinegar", strength_tenths__isnull=False, strength_tenths__gte=WEAKEST_VINEGAR_TENTHS)
                | (~Q(kind="vinegar") & Q(strength_tenths=None)),
            ),
            models.CheckConstraint(
                name="nothing_past_its_date_is_canned_with", condition=Q(use_by=None) | Q(use_by__gte=F("taken_on"))
            ),
            models.CheckConstraint(
                name="lot_taken_is_of_one_source",
                condition=(Q(kind="fruit", supply_lot=None) & (Q(freezer_item=None) | Q(fruit_offer=None)))
                | (~Q(kind="fruit") & Q(freezer_item=None, fruit_offer=None)),
            ),
            models.CheckConstraint(
                name="lot_taken_back_says_when_and_by_whom",
                condition=Q(taken_back_at=None, taken_back_by=None)
                | Q(taken_back_at__isnull=False, taken_back_by__isnull=False),
            ),
            models.CheckConstraint(name="lot_taken_of_a_known_kind", condition=Q(kind__in=LotKind.values)),
            *(
                models.UniqueConstraint(
                    fields=["batch", "item", source],
                    condition=Q(taken_back_at=None, **{f"{source}__isnull": False}),
                    name=f"one_note_of_a_{source}",
                )
                for source in ("supply_lot", "freezer_item", "fruit_offer")
            ),
            models.UniqueConstraint(
                fields=["batch", "item"],
                condition=Q(taken_back_at=None, supply_lot=None, freezer_item=None, fruit_offer=None),
                name="one_note_without_a_lot",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.batch_id} {self.item}"

    @property
    def strength_text(self) -> str:
        """In percent of acid: "5", "5.5"; empty for what is no vinegar."""
        return "" if self.strength_tenths is None else f"{self.strength_tenths / 10:g}"


class PressQuerySet(models.QuerySet["Press"]):
    def live(self) -> PressQuerySet:
        """Those that still stand, in the order in which they count; neither slips nor the rows that took them back."""
        return self.filter(taken_back=None).exclude(kind=PressKind.TAKEN_BACK).order_by("at", "pk")

    def in_order(self) -> PressQuerySet:
        return self.select_related("by").order_by("at", "pk")


class Press(models.Model):
    """One press on the cook's page. Rows are written once and never changed or deleted (a trigger).

    `at` is the moment that counts, by the server's clock; `client_at` what the phone's own clock showed, `received_at`
    when it reached the server, perhaps hours later. `is_doubtful`: the phone's clock was moved in between, so `at` is
    the stricter of two. `count` numbers how often the minutes of the step were begun anew.
    """

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="presses")
    token = models.UUIDField(unique=True, editable=False)
    kind = models.CharField(max_length=12, choices=PressKind.choices)
    step = models.CharField(max_length=STEP_LENGTH)
    count = models.PositiveSmallIntegerField(default=0)
    psi = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    size = models.CharField(max_length=16, blank=True)
    # The code on a box of lids; what was seen of a stage, "scum=none cover=under smell=clean"; a pH, "3.5".
    words = models.CharField(max_length=LID_CODE_LENGTH, blank=True)
    takes_back = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="taken_back"
    )
    at = models.DateTimeField()
    client_at = models.DateTimeField(null=True, blank=True)
    received_at = models.DateTimeField(default=timezone.now)
    is_doubtful = models.BooleanField(default=False)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="presses")

    objects = PressQuerySet.as_manager()

    class Meta:
        ordering = ["at", "pk"]
        indexes = [models.Index(fields=["batch", "at"], name="presses_of_a_batch")]
        constraints = [
            models.UniqueConstraint(
                fields=["batch", "step", "kind", "count"],
                condition=Q(kind__in=[kind.value for kind in PRESSES_OF_A_COUNT]),
                name="press_once_for_each_count",
            ),
            models.CheckConstraint(name="press_of_a_known_kind", condition=Q(kind__in=PressKind.values)),
            models.CheckConstraint(
                name="press_says_what_its_kind_says",
                condition=Q(kind="gauge", psi__gt=0, size="", words="")
                | (Q(kind__in=["lids", "looked", "ph"], psi=None, size="") & ~Q(words=""))
                | (Q(kind__in=[kind.value for kind in PRESSES_OF_JARS], psi=None, words="") & ~Q(size=""))
                | Q(kind__in=["done", "began", "fell", "taken-back"], psi=None, size="", words=""),
            ),
            models.CheckConstraint(
                name="press_taken_back_by_one_that_says_so",
                condition=Q(kind="taken-back", takes_back__isnull=False) | (~Q(kind="taken-back") & Q(takes_back=None)),
            ),
            models.CheckConstraint(name="press_is_not_ahead", condition=Q(at__lte=F("received_at"))),
        ]

    def __str__(self) -> str:
        return f"{self.batch_id} {self.step} {self.kind}"


class SignedLogQuerySet(models.QuerySet["SignedLog"]):
    def for_page(self) -> SignedLogQuerySet:
        """With whoever signed and what it names, the newest first; one query."""
        return self.select_related("signed_by", "lid_lot", "recall").order_by("-number")


class SignedLog(models.Model):
    """The log of a batch as somebody signed it: number 0 the first, each further one a correction of the one before.

    Rows are written once and never changed or deleted (a trigger); the first is copied from the batch when it is
    corrected the first time. The batch's own columns follow the newest row that reaches the tested process: figures
    below it are kept here alone, and `finding` says what makes the jars unsafe then. A recall or a setting aside goes
    with each finding; while the newest row has one, or by whoever wrote it, neither is found sound (triggers).

    `jars` is the number by size; `psi_beside` what further canners held, by the code of their card. `required_minutes`,
    `required_psi` and `setting_psi` are the tested process that the figures were held against.
    """

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="signed_logs")
    number = models.PositiveSmallIntegerField()
    token = models.UUIDField(unique=True, editable=False)
    # Empty only for a first log that the jar ledger does not know, from before it was kept.
    signed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="logs_signed"
    )
    signed_at = models.DateTimeField()
    reason = models.CharField(_("why"), max_length=CORRECTION_REASON_LENGTH, blank=True)

    altitude_m = models.DecimalField(max_digits=9, decimal_places=4)
    jar_size = models.CharField(max_length=16)
    required_minutes = models.PositiveSmallIntegerField(null=True, blank=True)
    required_psi = models.PositiveSmallIntegerField(null=True, blank=True)
    setting_psi = models.PositiveSmallIntegerField(null=True, blank=True)
    started_at = models.DateTimeField()
    process_started_at = models.DateTimeField(null=True, blank=True)
    minutes = models.PositiveSmallIntegerField(null=True, blank=True)
    psi = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    psi_beside: models.JSONField[dict[str, str], dict[str, str]] = models.JSONField(default=dict)
    jars_out_at = models.DateTimeField()
    jars: models.JSONField[dict[str, int], dict[str, int]] = models.JSONField()
    lid_lot = models.ForeignKey(LidLot, on_delete=models.PROTECT, null=True, blank=True, related_name="logs_signed")

    headspace = models.CharField(max_length=8, choices=Headspace.choices, blank=True)  # empty: as tested

    finding = models.TextField(blank=True)
    recall = models.ForeignKey(Recall, on_delete=models.PROTECT, null=True, blank=True, related_name="logs")
    set_aside = models.ForeignKey(JarsSetAside, on_delete=models.PROTECT, null=True, blank=True, related_name="logs")

    objects = SignedLogQuerySet.as_manager()

    class Meta:
        ordering = ["batch", "number"]
        constraints = [
            models.UniqueConstraint(fields=["batch", "number"], name="one_signed_log_per_number"),
            models.CheckConstraint(
                name="log_corrected_says_who_and_why",
                condition=Q(number=0, reason="") | (Q(number__gte=1, signed_by__isnull=False) & ~Q(reason="")),
            ),
            models.CheckConstraint(
                name="log_below_the_tested_process_is_a_finding",
                # A comparison with nothing is no refusal to a database: hence the explicit "not null".
                condition=~Q(finding="")
                | Q(required_minutes=None)
                | (
                    Q(minutes__isnull=False, minutes__gte=F("required_minutes"))
                    & (Q(required_psi=None) | Q(psi__isnull=False, psi__gte=F("required_psi")))
                    & (Q(setting_psi=None) | Q(psi__isnull=False, psi__gte=F("setting_psi")))
                ),
            ),
            models.CheckConstraint(
                name="log_with_a_finding_takes_its_jars_back",
                condition=Q(finding="", recall=None, set_aside=None)
                | (~Q(finding="") & (Q(recall__isnull=False) | Q(set_aside__isnull=False))),
            ),
            models.CheckConstraint(name="signed_log_out_after_it_began", condition=Q(jars_out_at__gte=F("started_at"))),
        ]

    def __str__(self) -> str:
        return f"{self.batch_id}/{self.number}"


class BatchHandQuerySet(models.QuerySet["BatchHand"]):
    def of(self, user: User) -> BatchHandQuerySet:
        """Those that this person said yes to and has not left."""
        return self.filter(person=user, accepted_at__isnull=False, ended_at=None)

    def asking(self, user: User) -> BatchHandQuerySet:
        """What this person is asked and has not answered, the oldest first."""
        waiting = self.filter(person=user, accepted_at=None, ended_at=None, batch__state__in=HANDED_IN)
        named = waiting.select_related("batch__revision__recipe", "batch__kitchen", "asked_by")
        return named.defer("batch__plan", "batch__revision__content").order_by("asked_at", "pk")

    def live(self) -> BatchHandQuerySet:
        """Asked or accepted, and not over; with the names that a page shows."""
        return self.filter(ended_at=None).select_related("person", "asked_by").order_by("asked_at", "pk")


# A batch takes another pair of hands until its seals were looked at.
HANDED_IN = (BatchState.STARTED, BatchState.UNDERWAY, BatchState.OUT)


class BatchHand(models.Model):
    """Somebody beside the one whose jars they are: sees the batch and works at its stove. `takes_over`: is asked to be
    the one whose they are; once they say so, whoever was it keeps a row of this kind.

    asked -> accepted -> ended, or asked -> ended (declined, or taken back). One live row a person and batch, and one
    open question to take over a batch: two people never take over both.
    """

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="hands")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="batch_hands")
    takes_over = models.BooleanField(default=False)
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="batch_hands_asked")
    asked_at = models.DateTimeField()
    accepted_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    token = models.UUIDField(unique=True, editable=False)

    objects = BatchHandQuerySet.as_manager()

    class Meta:
        ordering = ["asked_at", "pk"]
        indexes = [models.Index(fields=["person"], condition=Q(ended_at=None), name="batches_hand_live")]
        constraints = [
            models.UniqueConstraint(
                fields=["batch", "person"], condition=Q(ended_at=None), name="one_live_hand_a_person_and_batch"
            ),
            models.UniqueConstraint(
                fields=["batch"],
                condition=Q(takes_over=True, accepted_at=None, ended_at=None),
                name="one_open_handing_over_a_batch",
            ),
            models.CheckConstraint(
                name="hand_in_its_order",
                condition=(Q(accepted_at=None) | Q(accepted_at__gte=F("asked_at")))
                & (Q(ended_at=None) | Q(ended_at__gte=F("asked_at"))),
            ),
            # Who took a batch over is named on the batch itself from then on.
            models.CheckConstraint(
                name="hand_that_took_over_is_over",
                condition=Q(takes_over=False) | Q(accepted_at=None) | Q(ended_at__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.batch_id} {self.person_id}"


class BatchPhoto(models.Model):
    """A picture of a batch's jars, or of what is wrong with one; decoded and written anew. For those who see the batch.

    Of a fault its words say what it is, for whoever judges it later.
    """

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="photos")
    token = models.UUIDField(unique=True, editable=False)
    jpeg = models.BinaryField()
    is_fault = models.BooleanField(default=False)
    caption = models.CharField(_("what it shows"), max_length=CAPTION_LENGTH)
    added_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="batch_photos")
    added_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["added_at", "pk"]
        constraints = [models.CheckConstraint(name="batch_photo_says_what_it_shows", condition=~Q(caption=""))]

    def __str__(self) -> str:
        return self.caption


class CameOutQuerySet(models.QuerySet["CameOut"]):
    def before(self, user: User, recipe_id: int) -> CameOutQuerySet:
        """Of this recipe, any revision, by this person or a household of theirs; the newest first, in one query."""
        mine = Batch.objects.cared_for_by(user).filter(revision__recipe=recipe_id)
        named = self.filter(batch__in=mine.values("pk")).select_related("batch", "noted_by")
        return named.defer("batch__plan").order_by("-batch__started_at", "-pk")


class CameOut(models.Model):
    """How a batch turned out to eat, for whoever cooks the recipe again in that household. No matter of safety."""

    batch = models.OneToOneField(Batch, on_delete=models.PROTECT, related_name="came_out")
    set_how = models.CharField(_("how it set"), max_length=8, choices=Set.choices, blank=True)
    texture = models.CharField(_("to the bite"), max_length=8, choices=Texture.choices, blank=True)
    note = models.CharField(_("for the next time"), max_length=CAME_OUT_LENGTH, blank=True)
    noted_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="batches_noted")
    noted_at = models.DateTimeField(default=timezone.now)

    objects = CameOutQuerySet.as_manager()

    class Meta:
        verbose_name_plural = _("how batches came out")
        constraints = [
            models.CheckConstraint(
                name="came_out_says_something", condition=~Q(set_how="") | ~Q(texture="") | ~Q(note="")
            )
        ]

    def __str__(self) -> str:
        return f"{self.batch_id} {self.words}"

    @property
    def words(self) -> str:
        """ "set: too soft; to the bite: as it should be"."""
        texts = []
        if self.set_how:
            texts.append(gettext("set: %(how)s") % {"how": self.get_set_how_display()})
        if self.texture:
            texts.append(gettext("to the bite: %(how)s") % {"how": self.get_texture_display()})
        return "; ".join(texts)
