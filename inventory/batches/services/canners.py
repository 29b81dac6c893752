"""What a batch is processed in: a canner by the code of its card, or a household's own without one."""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from math import ceil
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import F
from django.utils.translation import gettext as _

from club.members.models import User
from inventory.batches.models import Batch, CannerBeside, Recall
from inventory.batches.rules import GAUGE_OF, OwnGauge
from inventory.batches.services.common import Problems
from inventory.equipment.choices import Kind, ThingState, Verdict
from inventory.equipment.models import InstrumentTest, Loan, Thing
from inventory.equipment.rules import OLDEST_TEST_YEAR, code_scanned, year_after
from inventory.equipment.services import gauge_check
from recipes.choices import CANNERS
from recipes.engine import NO_SOURCE, Plan, capacity, gauge_refusal, process_choices
from recipes.engine.terms import Altitude, Canner, Method
from recipes.models import Revision
from recipes.planning import PlanInput, plan_for
from recipes.presentation import in_words

# A pressure canner serves as a plain deep pot as well, its lid not locked.
FOR_BOILING_WATER = (Kind.BOILING_WATER, Kind.STEAM, Kind.DIAL_GAUGE, Kind.WEIGHTED_GAUGE)
MOST_CANNERS = 6  # our own choice, no source
STEAM_MOST_MINUTES = 45  # Univ. of Missouri Extension: the water of a steam canner lasts no longer


@dataclass(frozen=True)
class CannerUsed:
    """The canner of a batch: `card` where it has one; `tested_on` and `reads_high` (psi) of a dial gauge.

    `unfit` are reasons not to use it under pressure; in boiling water it serves all the same. `beside` are the others
    of several, all with a card: this is the one whose gauge reads highest, so that its setting serves every one.
    """

    card: Thing | None = None
    is_own_without_card: bool = False
    tested_on: date | None = None
    reads_high: Decimal | None = None
    unfit: tuple[str, ...] = ()
    beside: tuple[CannerUsed, ...] = ()

    @property
    def is_named(self) -> bool:
        return self.card is not None or self.is_own_without_card

    def planned(self, wanted: PlanInput, revision: Revision) -> PlanInput:
        """What is wanted, with the gauge's error, and with the kind and the capacity of the card."""
        asked = PlanInput(**wanted)
        if self.reads_high is not None and asked.get("canner") not in (Canner.BOILING_WATER, Canner.STEAM):
            asked["reads_high"] = Fraction(self.reads_high)
        if self.card is None:
            return asked
        if counts := self._at_once():
            asked["capacity"] = capacity(self.card.code, NO_SOURCE, **counts)
        if self.beside and asked.get("canners") is None:
            asked["canners"] = 1 + len(self.beside)
        gauge = GAUGE_OF.get(self.card.kind)
        only_pressure = Canner.BOILING_WATER not in process_choices(revision.tested.process).canners
        if asked.get("canner") is None and gauge is not None and only_pressure:
            asked["canner"] = gauge
        return asked

    def _at_once(self) -> dict[str, int]:
        """What each of several takes at once, as the smallest does: the plan knows one kind of load."""
        known = [one.card.at_once for one in (self, *self.beside) if one.card is not None and one.card.at_once]
        sizes = set.intersection(*map(set, known)) if known else set()
        return {size.replace("-", "_"): min(counts[size] for counts in known) for size in sizes}

    def serves_check(self, problems: Problems, plan: Plan) -> None:
        """Problems with each canner for the process that was found; under pressure none named is one."""
        for one in (self, *self.beside):
            one._serves_check(problems, plan)

    def _serves_check(self, problems: Problems, plan: Plan) -> None:
        process = plan.process
        if process is None:
            if self.card is not None:
                problems.add("canner_code", _("A recipe that is kept cold has no process: leave the canner empty."))
            return
        if process.method is Method.BOILING_WATER:
            self._boils_check(problems, process.minutes)
        elif not self.is_named:
            text = _(
                "Name the canner: the code on its label, or say below that it is your own. Under pressure the gauge"
                " decides what is safe."
            )
            problems.add("canner_code", text)
        elif self.card is not None and GAUGE_OF.get(self.card.kind) is not process.canner:
            text = _("%(code)s is a %(kind)s, and this plan is for a %(planned)s. Plan again for the canner you have.")
            params = {"code": self.card.code, "kind": self.card.get_kind_display(), "planned": CANNERS[process.canner]}
            problems.add("canner_code", text % params)
        elif self.card is None and process.canner is Canner.DIAL_GAUGE and self.tested_on is None:
            text = _("Say when its dial gauge was last tested: without a test of the last year no batch is started.")
            problems.add("own_tested_on", text)
        else:
            for reason in self.unfit:
                problems.add("canner_code", reason)

    def _boils_check(self, problems: Problems, minutes: int) -> None:
        if self.card is None:
            return
        if self.card.kind not in FOR_BOILING_WATER:
            problems.add("canner_code", _("%(code)s is no canner.") % {"code": self.card.code})
        elif self.card.kind == Kind.STEAM and minutes > STEAM_MOST_MINUTES:
            text = _(
                "A steam canner boils dry after %(most)s minutes, and this process takes %(minutes)s. Use another."
            )
            problems.add("canner_code", text % {"most": STEAM_MOST_MINUTES, "minutes": minutes})

    def columns(self, plan: Plan) -> dict[str, Any]:
        """What the batch keeps of it."""
        process = plan.process
        if process is None or process.pressure_psi is None:
            return {"canner_card": self.card}
        is_dial = process.canner is Canner.DIAL_GAUGE
        return {
            "canner_card": self.card,
            "setting_psi": process.setting_psi,
            "gauge_tested_on": self.tested_on if is_dial else None,
            "gauge_reads_high_hundredths": _hundredths(self.reads_high or Decimal(0)) if is_dial else None,
        }

    def rows_beside(self, batch: Batch) -> list[CannerBeside]:
        """A row for each of the others; none is written here."""
        rows = []
        for one in self.beside:
            assert one.card is not None  # what has no card is alone
            row = CannerBeside(batch=batch, card=one.card)
            if batch.setting_psi is not None:
                row.table_psi, row.gauge_tested_on = batch.required_psi, one.tested_on
                row.gauge_reads_high_hundredths = None if one.reads_high is None else _hundredths(one.reads_high)
                row.setting_psi = row.setting_for(batch.required_psi)
            rows.append(row)
        return rows


def _hundredths(reads_high: Decimal) -> int:
    """Whole hundredths of a psi, rounded up."""
    return ceil(Fraction(reads_high) * 100)


def canner_used(problems: Problems, user: User, code: str, own: OwnGauge | None, *, on: date) -> CannerUsed:
    """The canner that is named, with its gauge's test as it counts `on` the day; what is wrong with it is a problem.

    `code` may name several, with a comma between.
    """
    codes = [one.strip() for one in re.split(r"[,;\n]", code) if one.strip()]
    if not codes:
        return CannerUsed() if own is None else _own(problems, user, own, on)
    if own is not None:
        text = _(
            "Name the canner by its code or say that it is your own, not both. Where two are at work make a card for"
            " the one without, so that each gauge has its own setting."
        )
        problems.add("canner_code", text)
        return CannerUsed()
    if len(codes) > MOST_CANNERS:
        problems.add("canner_code", _("At most %(n)s canners of one batch.") % {"n": MOST_CANNERS})
        return CannerUsed()
    used = [_by_code(problems, user, one, on) for one in codes]
    cards = [one.card for one in used if one.card is not None]
    if twice := next((card for card in cards if cards.count(card) > 1), None):
        problems.add("canner_code", _("%(code)s is named twice.") % {"code": twice.code})
        return CannerUsed()
    first, *beside = sorted(used, key=lambda one: -(one.reads_high or 0))
    return replace(first, beside=tuple(beside))


CODES_OFFERED = 40


def canner_codes(user: User, gauges: Collection[Canner]) -> list[tuple[str, str]]:
    """Code and name of the pressure canners with such a gauge that a plan may name, the household's own first."""
    kinds = [kind for kind, gauge in GAUGE_OF.items() if gauge in gauges]
    rows = Thing.everything.canners_for(user).filter(kind__in=kinds)
    rows = rows.order_by(F("household").asc(nulls_last=True), "code")
    return list(rows.values_list("code", "name")[:CODES_OFFERED])


def plan_with_canner(
    *, user: User, code: str, revision: Revision, altitude: Altitude | None, wanted: PlanInput, on: date
) -> tuple[Plan, list[str]]:
    """The plan by what is known of the canner of that code, of several if `code` names several; and what is wrong."""
    problems = Problems()
    used = canner_used(problems, user, code, None, on=on)
    plan = plan_for(revision=revision, altitude=altitude, **(wanted if problems else used.planned(wanted, revision)))
    if plan.ok and not problems:
        used.serves_check(problems, plan)
    return plan, problems.of("canner_code")


def _by_code(problems: Problems, user: User, code: str, on: date) -> CannerUsed:
    card = Thing.everything.canners_for(user).coded(code_scanned(code)).first()
    if card is None:
        text = _(
            "No canner of the club's or of your household has the code %(code)s. Look at its label. One of your own"
            " without a card here has no code: leave this empty."
        )
        problems.add("canner_code", text % {"code": code.strip()[:40]})
        return CannerUsed()
    if card.state == ThingState.IN_REPAIR:
        problems.add("canner_code", _("%(code)s is in repair: use another canner.") % {"code": card.code})
    if short := Loan.objects.short_of_parts().filter(thing=card).first():
        text = _("%(code)s lacks a part: %(parts)s. Use another canner until a keeper has settled that.")
        problems.add("canner_code", text % {"code": card.code, "parts": short.missing_parts})
    unfit = _called_back(card)
    try:
        test = gauge_check(card, on)
    except ValidationError as error:
        return CannerUsed(card, unfit=(*error.messages, *unfit))
    if test is None:
        return CannerUsed(card, unfit=unfit)
    return CannerUsed(card, tested_on=test.tested_on, reads_high=test.reads_high, unfit=unfit)


def _called_back(card: Thing) -> tuple[str, ...]:
    """Why not to use it under pressure while a recall of it is open; a gauge that passed a test since is fit again."""
    recall = Recall.objects.open().filter(canner=card).first()
    if recall is None:
        return ()
    if InstrumentTest.objects.filter(thing=card, verdict=Verdict.PASSED, recorded_at__gte=recall.opened_at).exists():
        return ()
    text = _("What was processed in %(code)s is called back. Use another canner until it is known to be right.")
    return (text % {"code": card.code},)


def _own(problems: Problems, user: User, own: OwnGauge, on: date) -> CannerUsed:
    if own.tested_on is None:
        if own.reads_high is not None:
            problems.add("own_tested_on", _("Say when it was tested."))
        return CannerUsed(is_own_without_card=True)
    carded = Thing.everything.owned_by(user).filter(kind=Kind.DIAL_GAUGE).exclude(state=ThingState.RETIRED).first()
    if carded is not None:
        text = _(
            "Your household's dial-gauge canner has a card: name it above by its code, %(code)s. For another one make a"
            " card first, so that its tests stay with it."
        )
        problems.add("canner_code", text % {"code": carded.code})
    if own.tested_on > on:
        problems.add("own_tested_on", _("That day has not come yet."))
    elif own.tested_on.year < OLDEST_TEST_YEAR or year_after(own.tested_on) <= on:
        problems.add("own_tested_on", _("That test is more than a year old. Have the gauge tested again first."))
    if own.reads_high is None:
        problems.add("own_reads_high", _("Say by how much it read high: 0 where it was right."))
    elif (worn := gauge_refusal(Fraction(own.reads_high))) is not None:
        problems.add("own_reads_high", in_words(worn))
    return CannerUsed(is_own_without_card=True, tested_on=own.tested_on, reads_high=own.reads_high)
