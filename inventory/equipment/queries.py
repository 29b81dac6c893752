"""Reads of the room: who may see what, which things are free, due or overdue, and what a page needs with them."""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING

from django.db import models
from django.db.models import Exists, OuterRef, Q, Subquery
from django.utils import timezone

from club.members.models import User
from inventory.equipment.codes import code_key
from inventory.equipment.kinds import TESTED_KINDS
from inventory.equipment.words import HoldState, ThingState, Verdict, WaitState

if TYPE_CHECKING:
    from inventory.equipment.models import Hold, Loan, Thing, ThingDay, WaitingEntry  # noqa: F401

KEEP = "equipment.keep_things"


def club_day(now: datetime) -> date:
    """The day it is in the club's own zone, whoever asks from wherever."""
    return timezone.localtime(now, timezone.get_default_timezone()).date()


class ThingQuerySet(models.QuerySet["Thing"]):
    def visible_to(self, user: User) -> ThingQuerySet:
        """The gate: every member sees what is lent and in repair; what is retired is the keepers' to see."""
        return self if user.has_perm(KEEP) else self.exclude(state=ThingState.RETIRED)

    def coded(self, code: str) -> ThingQuerySet:
        key = code_key(code)
        return self.filter(code_key=key) if key else self.none()

    def in_service(self) -> ThingQuerySet:
        """What may be lent: neither in repair nor retired, and with all its parts."""
        from inventory.equipment.models import Loan

        return self.filter(state=ThingState.IN_SERVICE).exclude(pk__in=Loan.objects.short_of_parts().values("thing"))

    def short_of_parts(self) -> ThingQuerySet:
        """What came back without a part, and nobody has settled it yet."""
        from inventory.equipment.models import Loan

        return self.filter(pk__in=Loan.objects.short_of_parts().values("thing"))

    def search(self, words: str) -> ThingQuerySet:
        """By what stands on the label, in the name or at its place."""
        found = self
        for word in words.split()[:6]:
            key = code_key(word)
            by_code = Q(code_key__contains=key) if key else Q()
            found = found.filter(by_code | Q(name__icontains=word) | Q(place__icontains=word))
        return found

    def with_standing(self, today: date) -> ThingQuerySet:
        """Each row with what a tag needs: its open loan, whether today is taken, its last test, what part it lacks.

        No further query.
        """
        from inventory.equipment.models import InstrumentTest, Loan, ThingDay

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
        from inventory.equipment.models import Loan, ThingDay

        is_out = Exists(Loan.objects.filter(thing=OuterRef("pk"), returned_at=None))
        is_taken = Exists(ThingDay.objects.filter(thing=OuterRef("pk"), day=today))
        return self.in_service().filter(~is_out, ~is_taken)

    def tests_wanted(self, by: date) -> ThingQuerySet:
        """Instruments never tested, failed, or whose test is no longer good on `by`; the longest lapsed first."""
        wanted = Q(test_lapses_on=None) | Q(test_lapses_on__lte=by) | Q(test_verdict=Verdict.FAILED)
        rows = self.filter(kind__in=TESTED_KINDS).exclude(state=ThingState.RETIRED)
        return rows.with_standing(by).filter(wanted).order_by(models.F("test_lapses_on").asc(nulls_first=True), "code")

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

    def standing(self, today: date) -> HoldQuerySet:
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
