"""Noting from which lot a batch took each ingredient, and taking such a note back."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from club.core.clock import club_day, now_or
from club.core.errors import AlreadyDone, form_reused
from club.core.ledger import part_token
from club.members.models import User
from inventory.batches.choices import BatchState, LotKind
from inventory.batches.ingredients import LotLine, fruit_had, lines_with_lots
from inventory.batches.models import Batch, LotTaken
from inventory.batches.services.common import Problems, stove_check
from inventory.fruit.models import FreezerItem
from inventory.fruit.services import freezer_item_take
from inventory.jars.models import KitchenStock, SupplyLot
from inventory.jars.rules import MOST_AT_ONCE, WEAKEST_VINEGAR_TENTHS, is_past
from inventory.jars.services import (
    supply_add,
    supply_bring_home,
    supply_lot_get_or_add,
    supply_unuse_in_batch,
    supply_use_in_batch,
)
from recipes.engine import RULES

# What a form may answer beside a lot that was proposed: by the code on the label, or that nobody could read one.
CODE, WITHOUT = "code", "without"
# What a household's own bottle or packet is counted in.
UNITS = {LotKind.PECTIN: "packets", LotKind.SALT: "packets", LotKind.CITRIC_ACID: "packets"}


@dataclass(frozen=True)
class LotAnswer:
    """How it was answered for one ingredient; `at` is its place among the plan's lines.

    `chosen` is the key of a proposal ("club-4", "home-4", "freezer-2", "offer-9"), CODE, or WITHOUT. `used` are the
    bottles or packets that it used up, of fruit from the freezer grams; 0 where some is left of the one it took.
    With CODE a lot that is not known yet is written down where `is_new`: `name`, `use_by`, and for a vinegar its
    strength are what its label says, and `have` how many there were before the batch.
    """

    at: int
    chosen: str
    used: int = 0
    code: str = ""
    name: str = ""
    strength_tenths: int | None = None
    use_by: date | None = None
    is_new: bool = False
    have: int = 1


@transaction.atomic
def lots_note(
    *, by: User, batch: Batch, answers: Iterable[LotAnswer], token: UUID, now: datetime | None = None
) -> list[LotTaken]:
    """Write down from which lots the batch took its ingredients; what is counted goes down with it.

    1. Everything is checked and told at once: ValidationError by field, such as `code_3` for the line at 3; then
       nothing at all is written.
    2. Weak vinegar, or one whose strength nobody knows, and what is past its date is never noted as canned with.
    3. The same `token` again finds what it wrote.
    """
    stove_check(by, batch)
    answers = list(answers)
    before = list(LotTaken.objects.filter(token__in=[part_token(token, str(one.at)) for one in answers]))
    if before:
        if {(one.batch_id, one.by_id) for one in before} != {(batch.pk, by.pk)}:
            raise form_reused()
        return before
    batch = Batch.objects.select_related("kitchen").get(pk=batch.pk)
    if batch.state == BatchState.ABANDONED:
        raise AlreadyDone(_("This batch was given up; nothing was written."))
    lines = {line.at: line for line in lines_with_lots(batch)}
    problems, noted = Problems(), []
    for answer in answers:
        note = _Note(by, batch, part_token(token, str(answer.at)), now_or(now), answer)
        try:
            with transaction.atomic():
                noted.append(note.write(lines.get(answer.at)))
        except ValidationError as error:
            by_field = error.message_dict if hasattr(error, "error_dict") else {"": error.messages}
            for field, messages in by_field.items():
                for message in messages:
                    problems.add(f"{field or 'lot'}_{answer.at}", message)
    problems.raise_if_any()
    return noted


@dataclass(frozen=True)
class _Note:
    """One answer on its way into the database. ValidationError by the field's name without the line's number."""

    by: User
    batch: Batch
    token: UUID
    now: datetime
    answer: LotAnswer

    @property
    def day(self) -> date:
        return club_day(self.batch.started_at)

    def write(self, line: LotLine | None) -> LotTaken:
        if line is None:
            raise ValidationError(_("This batch has no such ingredient. Open the page again."))
        if not 0 <= self.answer.used <= (10_000_000 if line.kind == LotKind.FRUIT else MOST_AT_ONCE):
            raise ValidationError({"used": _("Check the number.")})
        where, _dash, pk = self.answer.chosen.partition("-")
        if line.kind == LotKind.FRUIT:
            return self._fruit(line, where, pk)
        if self.answer.chosen == WITHOUT:
            label = {"strength_tenths": self.answer.strength_tenths, "use_by": self.answer.use_by}
            if line.kind != LotKind.VINEGAR:
                label["strength_tenths"] = None
            return self._create(line, **label)
        return self._supply(line, where, self._coded(line) if where == CODE else self._chosen(line, where, pk))

    def _chosen(self, line: LotLine, where: str, pk: str) -> SupplyLot:
        rows = SupplyLot.objects.at_hand(self.batch.kitchen).filter(supply__kind=line.kind)
        lot = rows.filter(pk=int(pk)).first() if where in ("club", "home") and pk.isdecimal() else None
        if lot is None:
            raise ValidationError(
                _("That lot is not on the shelf any more. Choose another, or give the code that its label has.")
            )
        return lot

    def _coded(self, line: LotLine) -> SupplyLot:
        """The lot of the code that was typed; one that nobody knows only where it was said to be a new one."""
        answer = self.answer
        if not answer.code.strip():
            text = _("Give the code on the label, or choose “without a lot” where there is none.")
            raise ValidationError({"code": text})
        of_kind = SupplyLot.objects.known_to(self.by).coded(answer.code).filter(supply__kind=line.kind)
        found = list(of_kind.select_related("supply")[:2])
        named = [lot for lot in found if lot.supply.name.casefold() == answer.name.strip().casefold()]
        if len(found) > 1 and not named:
            text = _("More than one has that code. Write what it is called, as its label does.")
            raise ValidationError({"name": text})
        if found and not answer.is_new:
            self._label_agrees(lot := (named or found)[0])
            return lot
        if not answer.is_new:
            text = _(
                "No %(kind)s of that code is known here. Look at the label again; if it is a bottle or packet of your"
                " own, tick below that it is a new one, and say what its label says."
            )
            raise ValidationError({"code": text % {"kind": line.kind.label}})
        return self._new(line)

    def _label_agrees(self, lot: SupplyLot) -> None:
        answer = self.answer
        if answer.strength_tenths is not None and answer.strength_tenths != lot.strength_tenths:
            text = _("Lot %(code)s was noted before, with %(strength)s %%. Look at the label again.")
            raise ValidationError({"strength": text % {"code": lot.code, "strength": lot.strength_text}})
        if answer.use_by is not None and answer.use_by != lot.use_by:
            text = _("Lot %(code)s was noted before, with %(day)s as its use-by. Look at the label again.")
            raise ValidationError({"use_by": text % {"code": lot.code, "day": lot.use_by or _("no date")}})

    def _new(self, line: LotLine) -> SupplyLot:
        answer = self.answer
        supply = supply_add(
            by=self.by,
            name=answer.name.strip() or line.item[:1].upper() + line.item[1:],
            unit=UNITS.get(line.kind, "bottles"),
            kind=line.kind,
            is_kept=False,
        )
        if supply.kind != line.kind:
            text = _("“%(name)s” is %(kind)s here. Give it another name.")
            raise ValidationError({"name": text % {"name": supply.name, "kind": supply.get_kind_display()}})
        strength = answer.strength_tenths if line.kind == LotKind.VINEGAR else None
        return supply_lot_get_or_add(supply, answer.code, answer.use_by, strength)

    def _supply(self, line: LotLine, where: str, lot: SupplyLot) -> LotTaken:
        taken = self._create(line, supply_lot=lot, strength_tenths=lot.strength_tenths, use_by=lot.use_by)
        # A code may be on bottles in both places: the household's own is the nearer one.
        at_home = KitchenStock.objects.filter(lot=lot, kitchen=self.batch.kitchen, count__gt=0).exists()
        from_club = where == "club" or (where == CODE and not self.answer.is_new and not at_home and lot.count > 0)
        kitchen = None if from_club else self.batch.kitchen
        if where == CODE and self.answer.is_new:
            had = max(self.answer.have, self.answer.used)
            token = part_token(self.token, "brought home")
            supply_bring_home(by=self.by, kitchen=self.batch.kitchen, lot=lot, count=had, token=token, at=self.now)
        supply_use_in_batch(
            by=self.by,
            lot=lot,
            count=self.answer.used,
            kitchen=kitchen,
            batch_id=self.batch.pk,
            token=self.token,
            at=self.now,
        )
        return taken

    def _fruit(self, line: LotLine, where: str, pk: str) -> LotTaken:
        if self.answer.chosen == WITHOUT:
            return self._create(line)
        if where == "freezer" and pk.isdecimal():
            item = FreezerItem.objects.visible_to(self.by).filter(pk=int(pk)).first()
            if item is not None:
                taken = self._create(line, freezer_item=item)
                self._take_out(item)
                return taken
        if where == "offer" and pk.isdecimal():
            offer = fruit_had(self.batch, self.by).filter(pk=int(pk)).first()
            if offer is not None:
                return self._create(line, fruit_offer=offer)
        raise ValidationError(_("That fruit is not there any more. Choose another, or “without a lot”."))

    def _take_out(self, item: FreezerItem) -> None:
        if not self.answer.used:
            return
        try:
            freezer_item_take(by=self.by, item=item, grams=self.answer.used, token=self.token, now=self.now)
        except ValidationError as error:
            raise ValidationError({"used": error.messages}) from error

    def _create(self, line: LotLine, **fields: Any) -> LotTaken:
        self._fit_check(line, fields)
        try:
            with transaction.atomic():
                return LotTaken.objects.create(
                    batch=self.batch,
                    kind=line.kind,
                    item=line.item,
                    taken_on=self.day,
                    by=self.by,
                    at=self.now,
                    token=self.token,
                    **fields,
                )
        except IntegrityError:
            raise ValidationError(_("This is noted already; look at the list above.")) from None

    def _fit_check(self, line: LotLine, label: Mapping[str, Any]) -> None:
        """Beside what was typed where it was typed, else beside the choice."""
        chosen = label.get("supply_lot") is not None and not self.answer.is_new
        of_a_lot = ("code" if self.answer.chosen == CODE else "lot") if chosen else ""
        strength = label.get("strength_tenths")
        if line.kind == LotKind.VINEGAR and strength is None:
            text = _("Give the strength on the label, such as 5 %. A vinegar of unknown strength is not canned with.")
            raise ValidationError({"strength": text})
        if strength is not None and strength < WEAKEST_VINEGAR_TENTHS:
            text = _(
                "This vinegar has %(strength)s %%, and that is too weak: take one of 5 %% or more. If it is in the jars"
                " already, do not keep them: look up “The acid was forgotten” under “Something went wrong?”."
                " (%(rule)s Source: %(source)s)"
            )
            rule = RULES["VINEGAR-MIN"]
            params = {"strength": f"{strength / 10:g}", "rule": rule.statement, "source": rule.source}
            raise ValidationError({of_a_lot or "strength": text % params})
        if strength is not None and strength > 1000:
            raise ValidationError({"strength": _("A strength is more than 0 and at most 100 %.")})
        if is_past(label.get("use_by"), self.day):
            text = _("This was past its date (%(day)s) on the day of the batch. Take another, and throw this one away.")
            raise ValidationError({of_a_lot or "use_by": text % {"day": date_format(label["use_by"], "j M Y")}})


@transaction.atomic
def lot_take_back(*, by: User, taken: LotTaken, now: datetime | None = None) -> None:
    """The note was a slip: it stands no more, and bottles or packets that it used up are counted again.

    What came out of a freezer stays out: nobody freezes thawed fruit again. AlreadyDone for a note taken back before.
    Of a lot that is called back only those who may trace take a note back, for it ends the recall of the jars:
    ValidationError for who works at the batch.
    """
    now = now_or(now)
    called_back, may_trace = LotTaken.objects.live().called_back(), by.has_perm("batches.trace_batch")
    is_called_back = called_back.filter(pk=taken.pk).exists()
    if not (is_called_back and may_trace):
        stove_check(by, taken.batch)
    if is_called_back and not may_trace:
        raise ValidationError(_("That lot is called back. Only those who run the recall may say that it was another."))
    live = LotTaken.objects.live().filter(pk=taken.pk)
    if live.update(taken_back_at=now, taken_back_by=by) != 1:
        raise AlreadyDone(_("That note was taken back before."))
    if taken.supply_lot is not None:
        supply_unuse_in_batch(by=by, lot=taken.supply_lot, batch_id=taken.batch_id, token=taken.token, at=now)
