"""Equipment, how it is and was, and who has it when."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any, Literal

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Exists, F, OuterRef, Q, Subquery
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from club.core.fields import NameField
from club.members.choices import Skill
from club.members.models import Kitchen, User
from inventory.equipment.choices import (
    CANNER_KINDS,
    FACTS,
    NO_SKILL,
    PARTS_KINDS,
    TESTED_KINDS,
    Condition,
    HoldState,
    Kind,
    KindFacts,
    Occasion,
    Part,
    PartsOutcome,
    PartState,
    ThingState,
    Verdict,
    WaitState,
)
from inventory.equipment.rules import (
    CODE_LENGTH,
    DAY,
    FURTHEST_AHEAD_DAYS,
    MOST_TURNAROUND_DAYS,
    NAME_LENGTH,
    NOTE_LENGTH,
    PLACE_LENGTH,
    Reading,
    Span,
    code_key,
    days_between,
    free_spans,
    highest_error,
    runs,
    worst_error,
)

# Reads of the room: who may see what, which things are free, due or overdue, and what a page needs with them.

KEEP = "equipment.keep_things"


class ThingQuerySet(models.QuerySet["Thing"]):
    def visible_to(self, user: User) -> ThingQuerySet:
        """The gate: every member sees what is lent and in repair; what is retired is the keepers' to see."""
        return self if user.has_perm(KEEP) else self.exclude(state=ThingState.RETIRED)

    def canners_for(self, user: User) -> ThingQuerySet:
        """The gate to what somebody may process jars in: the club's canners, and those of their own households.

        Of `Thing.everything`; retired ones are left out.
        """
        theirs = Q(household=None) | Q(pk__in=self.owned_by(user).values("pk"))
        return self.filter(theirs, kind__in=CANNER_KINDS).exclude(state=ThingState.RETIRED)

    def owned_by(self, user: User) -> ThingQuerySet:
        """The gate to the cards of one's own households' canners. Of `Thing.everything`."""
        return self.filter(household__in=Kitchen.objects.filter(people=user, is_hall=False).values("pk"))

    def coded(self, code: str) -> ThingQuerySet:
        key = code_key(code)
        return self.filter(code_key=key) if key else self.none()

    def in_service(self) -> ThingQuerySet:
        """What may be lent: neither in repair nor retired, and with all its parts."""

        return self.filter(state=ThingState.IN_SERVICE).exclude(pk__in=Loan.objects.short_of_parts().values("thing"))

    def short_of_parts(self) -> ThingQuerySet:
        """What came back without a part, and nobody has settled it yet."""

        return self.filter(pk__in=Loan.objects.short_of_parts().values("thing"))

    def search(self, words: str) -> ThingQuerySet:
        """By what stands on the label, in the name or at its place."""
        found = self
        for word in words.split()[:6]:
            key = code_key(word)
            by_code = Q(code_key__contains=key) if key else Q()
            found = found.filter(by_code | Q(name__icontains=word) | Q(place__icontains=word))
        return found

    def at_counter(self, words: str, today: date) -> ThingQuerySet:
        """What the words may mean at the counter: the thing itself, or what somebody called so has or collects."""
        people = User.objects.get_queryset().called(words) if len(words) > 1 else User.objects.none()
        out = Loan.objects.open().filter(person__in=people).values("thing")
        held = Hold.objects.to_collect(today).filter(person__in=people).values("thing")
        named = self.search(words).values("pk")
        found = self.filter(Q(pk__in=named) | Q(pk__in=out) | Q(pk__in=held))
        return found.exclude(state=ThingState.RETIRED).order_by("code")

    def with_status(self, today: date) -> ThingQuerySet:
        """Each row with what a tag needs: its open loan, whether today is taken, its last test, what part it lacks.

        No further query.
        """

        open_loan = Loan.objects.filter(thing=OuterRef("pk"), returned_at=None)
        last_test = InstrumentTest.objects.filter(thing=OuterRef("pk")).order_by("-tested_on", "-pk")
        short = Loan.objects.short_of_parts().filter(thing=OuterRef("pk"))
        return self.annotate(
            missing_parts=Subquery(short.values("missing_parts")[:1]),
            out_until=Subquery(open_loan.values("due_on")[:1]),
            is_taken_today=Exists(ThingDay.objects.filter(thing=OuterRef("pk"), day=today)),
            test_lapses_on=Subquery(last_test.values("lapses_on")[:1]),
            test_verdict=Subquery(last_test.values("verdict")[:1]),
        )

    def free_on_day(self, today: date) -> ThingQuerySet:
        """In service, not out, and nobody has the day."""

        is_out = Exists(Loan.objects.filter(thing=OuterRef("pk"), returned_at=None))
        is_taken = Exists(ThingDay.objects.filter(thing=OuterRef("pk"), day=today))
        return self.in_service().filter(~is_out, ~is_taken)

    def looks_wanted(self, by: date) -> ThingQuerySet:
        """Things with parts that nobody looked at, or not in the year before `by`; the longest ago first."""
        last = PartsLook.objects.filter(thing=OuterRef("pk")).order_by("-looked_on", "-pk")
        rows = self.filter(kind__in=PARTS_KINDS).exclude(state=ThingState.RETIRED)
        rows = rows.annotate(look_due_on=Subquery(last.values("due_on")[:1]))
        wanted = rows.filter(Q(look_due_on=None) | Q(look_due_on__lte=by))
        return wanted.order_by(models.F("look_due_on").asc(nulls_first=True), "code")

    def tests_wanted(self, by: date) -> ThingQuerySet:
        """Instruments never tested, failed, or whose test is no longer good on `by`; the longest lapsed first. A
        thermometer only once it has been tested at all."""
        wanted = Q(test_lapses_on__lte=by) | Q(test_verdict=Verdict.FAILED)
        wanted |= Q(test_lapses_on=None, kind__in=TESTED_KINDS)
        rows = self.exclude(state=ThingState.RETIRED)
        return rows.with_status(by).filter(wanted).order_by(models.F("test_lapses_on").asc(nulls_first=True), "code")

    def tests_lapsing(self, today: date, by: date) -> list[tuple[int, date]]:
        """(key, day it lapses) of instruments that passed and are good still, but lapse on `by` or before."""
        wanted = ("pk", "test_lapses_on", "test_verdict")
        rows = self.tests_wanted(by).values_list(*wanted)
        return [(pk, day) for pk, day, verdict in rows if verdict == Verdict.PASSED and day > today]


class ThingDayQuerySet(models.QuerySet["ThingDay"]):
    def between(self, first: date, last: date) -> ThingDayQuerySet:
        return self.filter(day__range=(first, last))


class HoldQuerySet(models.QuerySet["Hold"]):
    def visible_to(self, user: User) -> HoldQuerySet:
        """The gate: one's own; keepers see all."""
        return self if user.has_perm(KEEP) else self.filter(person=user)

    def to_collect(self, today: date) -> HoldQuerySet:
        """Still to be collected: held or offered, and not gone by."""
        return self.filter(state__in=[HoldState.HELD, HoldState.OFFERED], ends__gte=today)


class LoanQuerySet(models.QuerySet["Loan"]):
    def visible_to(self, user: User) -> LoanQuerySet:
        """The gate: one's own; keepers see all."""
        return self if user.has_perm(KEEP) else self.filter(person=user)

    def open(self) -> LoanQuerySet:
        return self.filter(returned_at=None)

    def short_of_parts(self) -> LoanQuerySet:
        """Returned without a part, and nobody has settled it yet: at most one of each thing."""
        return self.filter(returned_at__isnull=False, parts_settled_at=None).exclude(missing_parts="")

    def deposit_open(self) -> LoanQuerySet:
        """Back, and nobody has noted what became of the deposit; the longest ago first."""
        rows = self.filter(returned_at__isnull=False, deposit_cents__gt=0, deposit_settled_at=None)
        return rows.order_by("returned_at", "pk")

    def overdue(self, today: date) -> LoanQuerySet:
        """Due before today and not back, the longest wait first."""
        return self.open().filter(due_on__lt=today).order_by("due_on", "pk")

    def with_names(self) -> LoanQuerySet:
        return self.select_related("thing", "person")


class WaitingQuerySet(models.QuerySet["WaitingEntry"]):
    def visible_to(self, user: User) -> WaitingQuerySet:
        return self if user.has_perm(KEEP) else self.filter(person=user)

    def in_line(self) -> WaitingQuerySet:
        """Waiting or just offered: those who count as waiting."""
        return self.filter(state__in=[WaitState.WAITING, WaitState.OFFERED])

    def waiting(self) -> WaitingQuerySet:
        return self.filter(state=WaitState.WAITING)


_AnyThing = models.Manager.from_queryset(ThingQuerySet)


class LentManager(_AnyThing["Thing"]):
    """What the club lends: a household's own canner is not among it, whatever is asked."""

    def get_queryset(self) -> ThingQuerySet:
        return ThingQuerySet(self.model, using=self._db).filter(household=None)


# A thing, its picture, how it looked each time somebody looked, and the tests of its gauge or scale.


class Thing(models.Model):
    """Something the club lends, or a household's own canner. Its code is on its label and never means another thing.

    `objects` are those of the club; `everything` has the canners that households keep a card of as well, which nobody
    borrows: they are named in a batch, and tested and looked over by the people of `household`.
    """

    code = models.CharField(_("code"), max_length=CODE_LENGTH)
    code_key = models.CharField(max_length=CODE_LENGTH, unique=True, editable=False)
    # The form's own token: the same form sent twice finds the thing it made the first time.
    token = models.UUIDField(null=True, blank=True, unique=True, editable=False)
    kind = models.CharField(_("kind"), max_length=24, choices=Kind.choices)
    name = NameField(_("name"), max_length=NAME_LENGTH)
    # How many jars of each size stand in one layer, such as {"pint": 9, "quart": 7}.
    capacity: models.JSONField[dict[str, int], dict[str, int]] = models.JSONField(default=dict, blank=True)
    # Sizes that stand in it two layers deep, a rack between them (TWO_LAYERS), such as ["pint"].
    two_layers: models.JSONField[list[str], list[str]] = models.JSONField(default=list, blank=True)
    home = models.ForeignKey(Kitchen, on_delete=models.PROTECT, null=True, blank=True, related_name="things")
    # The kitchen whose own it is; empty: the club's.
    household = models.ForeignKey(
        Kitchen, on_delete=models.PROTECT, null=True, blank=True, related_name="own_canners", editable=False
    )
    place = models.CharField(_("where it stands"), max_length=PLACE_LENGTH, blank=True)
    deposit_cents = models.PositiveIntegerField(_("deposit in cents"), default=0)
    deposit_note = models.CharField(_("about the deposit"), max_length=NOTE_LENGTH, blank=True)
    care = models.TextField(_("care"), blank=True)
    # Empty: as the kind has it.
    turnaround_own = models.PositiveSmallIntegerField(_("days for cleaning"), null=True, blank=True)
    # What whoever borrows it must have learned. Empty: as the kind has it; NO_SKILL: nothing.
    skill_own = models.CharField(_("skill to borrow it"), max_length=40, blank=True)
    state = models.CharField(max_length=12, choices=ThingState.choices, default=ThingState.IN_SERVICE)
    state_note = models.CharField(max_length=300, blank=True)
    created_at = models.DateTimeField(default=timezone.now)

    objects = LentManager()
    everything = ThingQuerySet.as_manager()

    class Meta:
        ordering = ["code"]
        default_manager_name = "everything"  # a copy or a foreign key leaves nothing out
        indexes = [models.Index(fields=["kind", "state"])]
        permissions = [
            ("keep_things", "Can keep the things lent: add, test, hand over, take back"),
            ("hold_for_class", "Can hold things for a class or another purpose of the club's"),
        ]
        constraints = [
            models.CheckConstraint(name="thing_has_a_code", condition=~Q(code_key="")),
            models.CheckConstraint(name="thing_has_a_name", condition=~Q(name="")),
            models.CheckConstraint(
                name="thing_of_a_household_is_a_canner",
                condition=Q(household=None)
                | Q(kind__in=CANNER_KINDS, home=None, deposit_cents=0, household__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.code_key = code_key(self.code)
        super().save(*args, **kwargs)

    def get_absolute_url(self) -> str:
        return reverse("equipment:thing" if self.household_id is None else "equipment:own-canner", args=[self.code])

    @property
    def facts(self) -> KindFacts:
        return FACTS[self.kind]

    @property
    def at_once(self) -> dict[str, int]:
        """How many jars of each size it takes at once, both layers of those that stand in two."""
        return {size: count * (2 if size in self.two_layers else 1) for size, count in self.capacity.items()}

    @property
    def turnaround_days(self) -> int:
        return self.facts.turnaround_days if self.turnaround_own is None else self.turnaround_own

    @property
    def skill(self) -> str:
        """What whoever borrows it must have learned; "" where nothing is asked."""
        wanted = self.skill_own or self.facts.skill
        return "" if wanted == NO_SKILL else wanted

    @property
    def skill_label(self) -> str:
        return str(Skill(self.skill).label) if self.skill else ""

    @property
    def is_lent(self) -> bool:
        """Whether it may be held and handed over at all."""
        return self.state == ThingState.IN_SERVICE


class ThingPhoto(models.Model):
    """A picture, decoded and written anew as JPEG. Kept in the database: one backup holds everything."""

    thing = models.OneToOneField(Thing, on_delete=models.CASCADE, related_name="photo")
    jpeg = models.BinaryField()
    changed_at = models.DateTimeField(default=timezone.now)

    def __str__(self) -> str:
        return f"{self.thing_id} {self.changed_at:%Y-%m-%d}"


class ConditionNote(models.Model):
    """How a thing was, each time somebody looked: never changed, only added to."""

    thing = models.ForeignKey(Thing, on_delete=models.PROTECT, related_name="condition_notes")
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    occasion = models.CharField(max_length=12, choices=Occasion.choices)
    condition = models.CharField(max_length=8, choices=Condition.choices)
    note = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["-at", "-pk"]
        indexes = [models.Index(fields=["thing", "-at"])]

    def __str__(self) -> str:
        return f"{self.thing_id} {self.at:%Y-%m-%d} {self.condition}"


class InstrumentTest(models.Model):
    """A dial gauge's test, or a calibration: what the reference said and what the instrument showed."""

    thing = models.ForeignKey(Thing, on_delete=models.PROTECT, related_name="tests")
    token = models.UUIDField(unique=True)
    tested_on = models.DateField()
    reference = models.CharField(max_length=160)  # what it was held against
    # [["10", "10.5"], ...]: reference and shown, as exact decimals in text
    readings: models.JSONField[list[list[str]], list[list[str]]] = models.JSONField()
    verdict = models.CharField(max_length=8, choices=Verdict.choices)
    lapses_on = models.DateField()  # the first day on which it is no longer good
    note = models.CharField(max_length=300, blank=True)
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["-tested_on", "-pk"]
        indexes = [models.Index(fields=["thing", "-tested_on", "-id"])]

    def __str__(self) -> str:
        return f"{self.thing_id} {self.tested_on} {self.verdict}"

    @property
    def read(self) -> list[Reading]:
        return [Reading(Decimal(reference), Decimal(shown)) for reference, shown in self.readings]

    @property
    def error(self) -> Decimal:
        return worst_error(self.read)

    @property
    def reads_high(self) -> Decimal:
        """The most it showed above the truth at any reading; below zero where it read low at all of them."""
        return highest_error(self.read)

    @property
    def measure(self) -> str:
        return str(self.thing.facts.measure or "")


class PartsLook(models.Model):
    """One look at the parts of a canner; it wants another a year later. `findings` maps a part to its state."""

    thing = models.ForeignKey(Thing, on_delete=models.PROTECT, related_name="parts_looks")
    token = models.UUIDField(unique=True)
    looked_on = models.DateField()
    findings: models.JSONField[dict[str, str], dict[str, str]] = models.JSONField()
    due_on = models.DateField()  # the first day on which the next look is due
    note = models.CharField(max_length=300, blank=True)
    looked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    looked_at = models.DateTimeField()

    class Meta:
        ordering = ["-looked_on", "-pk"]
        indexes = [models.Index(fields=["thing", "-looked_on", "-id"])]
        constraints = [
            models.CheckConstraint(name="parts_look_due_later", condition=Q(due_on__gt=F("looked_on"))),
        ]

    def __str__(self) -> str:
        return f"{self.thing_id} {self.looked_on}"

    @property
    def found(self) -> list[tuple[Part, PartState]]:
        return [(Part(part), PartState(state)) for part, state in self.findings.items()]


# Holds, loans and waiting lines. That two holds never share a day of a thing is the database's own rule.


class Hold(models.Model):
    """Keeps a thing for somebody from one day to another, both included, and then for its cleaning.

    offered -> held -> out (handed over: there is a loan) -> back. Offered or held may be cancelled.
    """

    thing = models.ForeignKey(Thing, on_delete=models.PROTECT, related_name="holds")
    # The form's own token: the same form sent twice finds the hold it made the first time.
    token = models.UUIDField(unique=True)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="holds")
    # A class or another purpose of the club's; the person then answers for it.
    purpose = models.CharField(_("what for"), max_length=120, blank=True)
    starts = models.DateField()
    ends = models.DateField()
    kept_until = models.DateField()  # with the days for cleaning
    state = models.CharField(max_length=10, choices=HoldState.choices, default=HoldState.HELD)
    placed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    placed_at = models.DateTimeField()

    objects = HoldQuerySet.as_manager()

    class Meta:
        ordering = ["starts", "pk"]
        indexes = [models.Index(fields=["thing", "state", "starts"]), models.Index(fields=["person", "state", "ends"])]
        constraints = [
            models.CheckConstraint(name="hold_ends_after_it_starts", condition=Q(ends__gte=F("starts"))),
            models.CheckConstraint(name="hold_kept_until_its_end_or_later", condition=Q(kept_until__gte=F("ends"))),
        ]

    def __str__(self) -> str:
        return f"{self.thing_id} {self.starts} {self.ends}"

    @property
    def span(self) -> Span:
        return Span(self.starts, self.ends)


class ThingDay(models.Model):
    """One day of one thing, taken by one hold. The unique key is what refuses a clash, on every database."""

    thing = models.ForeignKey(Thing, on_delete=models.PROTECT, related_name="taken_days", db_index=False)
    day = models.DateField()
    hold = models.ForeignKey(Hold, on_delete=models.CASCADE, related_name="taken_days")

    objects = ThingDayQuerySet.as_manager()

    class Meta:
        ordering = ["day"]
        constraints = [models.UniqueConstraint(fields=["thing", "day"], name="one_hold_per_thing_and_day")]

    def __str__(self) -> str:
        return f"{self.thing_id} {self.day}"


class Loan(models.Model):
    """A thing in somebody's hands, from hand-over to return, each with its condition and by whom."""

    thing = models.ForeignKey(Thing, on_delete=models.PROTECT, related_name="loans")
    hold = models.OneToOneField(Hold, on_delete=models.PROTECT, related_name="loan")
    token = models.UUIDField(unique=True)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="loans")
    purpose = models.CharField(_("what for"), max_length=120, blank=True)
    due_on = models.DateField(_("due back"))
    deposit_cents = models.PositiveIntegerField(default=0)  # taken at hand-over
    # Parts of its kind that were there when it went out: what is ticked when it comes back.
    parts_out: models.JSONField[list[str], list[str]] = models.JSONField(default=list, blank=True)

    handed_over_at = models.DateTimeField()
    handed_over_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    condition_out = models.CharField(max_length=8, choices=Condition.choices)
    note_out = models.CharField(max_length=300, blank=True)

    returned_at = models.DateTimeField(null=True, blank=True)
    return_token = models.UUIDField(null=True, blank=True, unique=True)
    taken_back_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    condition_in = models.CharField(max_length=8, choices=Condition.choices, blank=True)
    missing_parts = models.CharField(_("missing or damaged parts"), max_length=300, blank=True)
    note_in = models.CharField(max_length=300, blank=True)

    # What was missing at the return is an open matter until a keeper settles it; so long the thing stays in.
    parts_settled_at = models.DateTimeField(null=True, blank=True)
    parts_settled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    parts_outcome = models.CharField(max_length=10, choices=PartsOutcome.choices, blank=True)
    parts_note = models.CharField(max_length=300, blank=True)

    # How the deposit was settled. At a moment, by nobody and with no sum: from before this was noted.
    deposit_settled_at = models.DateTimeField(null=True, blank=True)
    deposit_settled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    deposit_back_cents = models.PositiveIntegerField(null=True, blank=True)
    deposit_note = models.CharField(max_length=300, blank=True)

    objects = LoanQuerySet.as_manager()

    class Meta:
        ordering = ["-handed_over_at", "-pk"]
        indexes = [
            models.Index(fields=["returned_at", "due_on"]),
            models.Index(fields=["person", "returned_at"]),
            models.Index(fields=["thing", "-handed_over_at"]),
            models.Index(fields=["-handed_over_at", "-id"]),
            models.Index(
                name="loan_deposit_open",
                fields=["returned_at"],
                condition=Q(deposit_cents__gt=0, deposit_settled_at=None, returned_at__isnull=False),
            ),
        ]
        constraints = [
            models.UniqueConstraint(fields=["thing"], name="one_open_loan_per_thing", condition=Q(returned_at=None)),
            # A returned loan with a part missing stands in the way of the next one, as an open loan does.
            models.UniqueConstraint(
                fields=["thing"],
                name="no_loan_while_a_part_is_missing",
                condition=Q(returned_at=None) | (~Q(missing_parts="") & Q(parts_settled_at=None)),
            ),
            models.CheckConstraint(
                name="loan_parts_settled_by_whom_and_how",
                condition=Q(parts_settled_at=None, parts_settled_by=None, parts_outcome="", parts_note="")
                | (
                    Q(parts_settled_at__isnull=False, returned_at__isnull=False)
                    & ~Q(missing_parts="")
                    & Q(parts_settled_by__isnull=False, parts_outcome__in=["back", "replaced", "mended", "withdrawn"])
                )
                | Q(parts_settled_at__isnull=False, parts_settled_by=None, parts_outcome="before"),
            ),
            models.CheckConstraint(
                name="loan_deposit_settled_by_whom_and_how",
                condition=Q(deposit_settled_at=None, deposit_settled_by=None, deposit_back_cents=None, deposit_note="")
                | (
                    Q(
                        deposit_settled_at__isnull=False,
                        deposit_settled_by__isnull=False,
                        returned_at__isnull=False,
                        deposit_back_cents__isnull=False,
                        deposit_back_cents__lte=F("deposit_cents"),
                        deposit_cents__gt=0,
                    )
                    & (Q(deposit_back_cents=F("deposit_cents")) | ~Q(deposit_note=""))
                )
                | Q(deposit_settled_at__isnull=False, deposit_settled_by=None, deposit_back_cents=None),
            ),
            models.CheckConstraint(
                name="loan_back_says_by_whom_and_how",
                condition=Q(returned_at=None, taken_back_by=None, condition_in="")
                | (Q(returned_at__gte=F("handed_over_at"), taken_back_by__isnull=False) & ~Q(condition_in="")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.thing_id} {self.due_on}"


class WaitingEntry(models.Model):
    """Somebody's place in the line for a kind: so many days, somewhere between two dates.

    waiting -> offered (a hold keeps the thing for a day) -> taken, or lapsed when it was not answered.
    """

    kind = models.CharField(max_length=24, choices=Kind.choices)
    token = models.UUIDField(unique=True)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="waits")
    days = models.PositiveSmallIntegerField(_("days"), validators=[MinValueValidator(1)])
    not_before = models.DateField()
    not_after = models.DateField()
    joined_at = models.DateTimeField()
    state = models.CharField(max_length=8, choices=WaitState.choices, default=WaitState.WAITING)
    hold = models.OneToOneField(Hold, on_delete=models.PROTECT, null=True, blank=True, related_name="wait")
    offered_at = models.DateTimeField(null=True, blank=True)
    offer_until = models.DateTimeField(null=True, blank=True)

    objects = WaitingQuerySet.as_manager()

    class Meta:
        ordering = ["joined_at", "pk"]
        indexes = [models.Index(fields=["state", "kind", "joined_at"])]
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "person"],
                name="one_place_in_each_line",
                condition=Q(state__in=["waiting", "offered"]),
            ),
            models.CheckConstraint(name="wait_ends_after_it_begins", condition=Q(not_after__gte=F("not_before"))),
            models.CheckConstraint(
                name="wait_offered_names_its_hold",
                condition=~Q(state="offered") | Q(hold__isnull=False, offer_until__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.person_id}"


# What its tests say of a gauge.


@dataclass(frozen=True)
class Doubt:
    """A test that `failed`, the first since the `good` one that the gauge went by before; None: there was none."""

    failed: InstrumentTest
    good: InstrumentTest | None


def gauge_doubts(thing: Thing) -> list[Doubt]:
    """Of each failed test, the newest first; one query.

    A good test that was recorded after the failed one is none that anything went by. Of several that failed after the
    same good test the first counts: nothing was processed between them.
    """
    tests = list(InstrumentTest.objects.filter(thing=thing).order_by("tested_on", "pk"))
    found: dict[InstrumentTest | None, Doubt] = {}
    for at, failed in enumerate(tests):
        if failed.verdict == Verdict.FAILED:
            before = (one for one in reversed(tests[:at]) if one.verdict == Verdict.PASSED)
            good = next((one for one in before if one.recorded_at <= failed.recorded_at), None)
            found.setdefault(good, Doubt(failed, good))
    return sorted(found.values(), key=lambda one: (one.failed.tested_on, one.failed.pk), reverse=True)


# How a thing stands today, in a word or two for its tag.


@dataclass(frozen=True)
class ThingStatus:
    """`look` is how the tag is coloured; the words say the same without colour."""

    look: Literal["go", "wait", "stop"]
    words: str | Promise
    until: date | None = None
    is_out: bool = False


def status_of(thing: Any, today: date) -> ThingStatus:
    """Of a row of `Thing.objects.with_status(today)`."""
    if thing.state == ThingState.RETIRED:
        return ThingStatus("stop", _("retired"))
    if thing.out_until is not None:
        if thing.out_until < today:
            return ThingStatus("stop", _("overdue since"), thing.out_until, True)
        return ThingStatus("wait", _("out until"), thing.out_until, True)
    if thing.state == ThingState.IN_REPAIR:
        return ThingStatus("stop", _("in repair"))
    if thing.missing_parts:
        return ThingStatus("stop", _("part missing or damaged"))
    if words := what_test_wants(thing, today):
        return ThingStatus("stop", words)
    if thing.is_taken_today:
        return ThingStatus("wait", _("held today"))
    return ThingStatus("go", _("free today"))


def what_test_wants(thing: Any, day: date) -> str | Promise:
    """Why an instrument must not be out on `day`, or nothing. Of a row of `with_status`."""
    if thing.kind not in TESTED_KINDS:
        return ""
    if thing.test_lapses_on is None:
        return _("not tested yet")
    if thing.test_verdict == Verdict.FAILED:
        return _("failed its test")
    return _("test lapsed") if thing.test_lapses_on <= day else ""


def with_status(things: Any, today: date) -> list[Thing]:
    rows = list(things)
    for thing in rows:
        thing.status = status_of(thing, today)
    return rows


# Which days of a thing or of a kind are taken, and where the next free ones are.

DATES_OFFERED = 3  # free dates offered to somebody who came too late


@dataclass(frozen=True, order=True)
class FreeSpan:
    """A thing and days on which it is free."""

    span: Span
    code: str
    thing_id: int


def taken_days(things: Iterable[Thing], window: Span, today: date) -> dict[int, set[date]]:
    """The taken days of each thing in the window and its cleaning, by thing. Two queries, however many things.

    A thing that should be back and is not takes today, and its cleaning, though nobody holds them.
    """
    by_id = {thing.pk: thing for thing in things}
    last = window.ends + timedelta(days=MOST_TURNAROUND_DAYS)
    taken: defaultdict[int, set[date]] = defaultdict(set)
    rows = ThingDay.objects.filter(thing__in=by_id).between(window.starts, last)
    for thing_id, day in rows.values_list("thing_id", "day"):
        taken[thing_id].add(day)
    for thing_id in Loan.objects.overdue(today).filter(thing__in=by_id).values_list("thing_id", flat=True):
        taken[thing_id].update(days_between(today, today + by_id[thing_id].turnaround_days * DAY))
    return taken


def free_of(things: Iterable[Thing], *, length: int, window: Span, today: date) -> list[FreeSpan]:
    """Every free span of `length` days, one in each gap, the earliest first and then by code."""
    listed = list(things)
    taken = taken_days(listed, window, today)
    return sorted(
        FreeSpan(span, thing.code, thing.pk)
        for thing in listed
        for span in free_spans(
            taken.get(thing.pk, set()), length=length, turnaround=thing.turnaround_days, window=window
        )
    )


def next_free(things: Iterable[Thing], *, length: int, today: date, after: date) -> list[FreeSpan]:
    """What somebody who came too late is told: the next few free spans from `after` on, each begin once."""
    window = Span(max(after, today), today + timedelta(days=FURTHEST_AHEAD_DAYS))
    found: dict[date, FreeSpan] = {}
    for free in free_of(things, length=length, window=window, today=today):
        found.setdefault(free.span.starts, free)
        if len(found) == DATES_OFFERED:
            break
    return list(found.values())


def free_on(kind: str, span: Span, today: date) -> Iterator[Thing]:
    """Things of a kind that are free on these very days: those whose test is good to the end first, then by code."""
    of_kind = Thing.objects.in_service().filter(kind=kind).with_status(today)
    things = sorted(of_kind, key=lambda thing: (bool(what_test_wants(thing, span.ends)), thing.code))
    taken = taken_days(things, span, today)
    for thing in things:
        wanted = span.with_turnaround(thing.turnaround_days)
        if not any(day in taken.get(thing.pk, ()) for day in wanted.days()):
            yield thing


def clash_of(thing: Thing, span: Span, today: date) -> list[Span]:
    """The taken days that stand in the way of these, put together."""
    wanted = set(span.with_turnaround(thing.turnaround_days).days())
    return runs(taken_days([thing], span, today).get(thing.pk, set()) & wanted)
