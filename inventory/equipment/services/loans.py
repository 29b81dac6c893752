"""Loans: handed over at the counter, extended, taken back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from uuid import UUID, uuid4, uuid5

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.db.models import F, Q
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from club.core.clock import club_day, now_or
from club.core.errors import AlreadyDone
from club.core.money import money_text
from club.core.text import plain
from club.members.models import User
from inventory.equipment.choices import PARTS_OUTCOMES, Condition, HoldState, Occasion, PartsOutcome, WaitState
from inventory.equipment.models import KEEP, Hold, Loan, Thing, ThingDay, WaitingEntry
from inventory.equipment.presentation import day_words
from inventory.equipment.rules import DAY, MOST_CENTS, Span, code_scanned
from inventory.equipment.services.common import (
    choice_check,
    keeper_check,
    lent_check,
    moment_check,
    skill_check,
    span_check,
    thing_taken,
)
from inventory.equipment.services.holds import PURPOSE_LENGTH, days_keep, hold_lay, hold_move, waiting_offer_freed
from inventory.equipment.services.testing import tested_check
from inventory.equipment.services.things import REASON_LENGTH, note_condition, out_of_service, thing_retire

NOTE_LENGTH = 300


def loan_hand_over(
    *,
    by: User,
    thing: Thing,
    person: User,
    due_on: date,
    condition: str,
    note: str = "",
    purpose: str = "",
    deposit_cents: int = 0,
    parts_out: Sequence[str] = (),
    token: UUID | None = None,
    now: datetime | None = None,
) -> Loan:
    """Give a thing to somebody until `due_on`, with its condition as it leaves.

    1. Keepers only; the thing must be in service, with all its parts, its gauge's test good to the end. 2. The
    person's own hold is used where there is one, else one is laid down from today: the database refuses days that
    somebody else holds. 3. The loan is written; the database refuses a second open one, and one of a thing that lacks
    a part. 4. The same token again finds the first loan. `parts_out`: those of its kind that go along, to be ticked
    when it returns.
    Raises PermissionDenied, Taken, AlreadyDone (it is out), ValidationError.
    """
    keeper_check(by)
    moment, token = now_or(now), token or uuid4()
    noted = _hand_over_note(condition, note, purpose, deposit_cents)
    if unknown := set(parts_out) - set(thing.facts.parts):
        raise ValidationError({"parts_out": _("It has no such part: %(parts)s.") % {"parts": ", ".join(unknown)}})
    noted["parts_out"] = [part for part in thing.facts.parts if part in parts_out]
    if not person.is_active:
        raise ValidationError({"person": _("This person is not a member any more.")})
    span = Span(club_day(moment), due_on)
    span_check(span, span.starts, ends="due_on")
    fresh = Thing.objects.get(pk=thing.pk)
    try:
        with transaction.atomic():
            loan = Loan(thing=fresh, token=token, person=person, due_on=due_on, handed_over_at=moment, **noted)
            return _handed_over(loan, by, span)
    except IntegrityError:
        if made := Loan.objects.filter(token=token, thing=fresh, person=person).first():
            return made
        if out := _open_loan(fresh):
            raise AlreadyDone(_is_out(out)) from None
        lent_check(fresh)  # taken back without a part this very moment: the database refused the loan
        raise thing_taken(fresh, span, span.starts) from None


def _handed_over(loan: Loan, by: User, span: Span) -> Loan:
    if (out := _open_loan(loan.thing)) and out.token != loan.token:
        raise AlreadyDone(_is_out(out))
    lent_check(loan.thing)
    tested_check(loan.thing, span.ends)
    skill_check(loan.thing, loan.person)
    loan.hold = _hold_for(loan, by, span)
    loan.purpose = loan.purpose or loan.hold.purpose
    loan.handed_over_by = by
    loan.save(force_insert=True)
    note_condition(
        thing=loan.thing,
        by=by,
        at=loan.handed_over_at,
        occasion=Occasion.HANDED_OVER,
        condition=loan.condition_out,
        note=loan.note_out,
    )
    return loan


def _hold_for(loan: Loan, by: User, span: Span) -> Hold:
    """The person's own hold that these days touch, moved to them; else a new one."""
    own = Hold.objects.filter(thing=loan.thing, person=loan.person).to_collect(span.starts)
    hold = own.filter(starts__lte=span.ends).order_by("starts", "pk").first()
    if hold is None:
        return hold_lay(
            thing=loan.thing,
            person=loan.person,
            span=span,
            by=by,
            token=loan.token,
            now=loan.handed_over_at,
            purpose=loan.purpose,
            state=HoldState.OUT,
        )
    waits = [HoldState.HELD, HoldState.OFFERED]
    if Hold.objects.filter(pk=hold.pk, state__in=waits).update(state=HoldState.OUT) != 1:
        raise AlreadyDone(_("The hold on %(code)s was cancelled just now.") % {"code": loan.thing.code})
    WaitingEntry.objects.filter(hold=hold, state=WaitState.OFFERED).update(state=WaitState.TAKEN)
    hold_move(hold, span, turnaround=loan.thing.turnaround_days)
    return hold


def loan_return(
    *,
    by: User,
    loan: Loan,
    condition: str,
    missing_parts: str = "",
    note: str = "",
    is_ready: bool = False,
    deposit_back_cents: int | None = None,
    deposit_note: str = "",
    token: UUID | None = None,
    now: datetime | None = None,
) -> Loan:
    """Take a thing back, with its condition and what is missing. `is_ready`: clean, it may go out again at once.

    What needs repair goes out of service; what lacks a part stays in until a keeper has settled that. Days
    not used are freed; the days for cleaning begin now, but give way to a hold that was there first.
    `deposit_back_cents` settles the deposit at once; None leaves it to `loan_deposit_settle`. Raises
    PermissionDenied, AlreadyDone, ValidationError (condition, missing_parts, deposit_back_cents, deposit_note).
    """
    keeper_check(by)
    moment = now_or(now)
    choice_check(condition, Condition.values, field="condition")
    noted = {
        "condition_in": condition,
        "missing_parts": plain(missing_parts, field="missing_parts", longest=NOTE_LENGTH),
        "note_in": plain(note, field="note", longest=NOTE_LENGTH),
    }
    if condition == Condition.BROKEN and not (noted["note_in"] or noted["missing_parts"]):
        raise ValidationError({"note": _("Say what is broken.")})
    if moment < loan.handed_over_at:
        raise ValidationError({"now": _("It was handed over after that.")})
    settled = {}
    if deposit_back_cents is not None:
        settled = _deposit_settled(loan, by, deposit_back_cents, deposit_note, moment)
    with transaction.atomic():
        is_mine = (
            Loan.objects.open()
            .filter(pk=loan.pk)
            .update(returned_at=moment, taken_back_by=by, return_token=token, **noted, **settled)
        )
        loan.refresh_from_db()
        if not is_mine:
            return _returned_before(loan, token)
        _settle(loan, by, is_ready=is_ready, today=club_day(moment))
    waiting_offer_freed(kind=loan.thing.kind, now=moment)
    return loan


@transaction.atomic
def loan_deposit_settle(*, by: User, loan: Loan, back_cents: int, note: str = "", now: datetime | None = None) -> None:
    """Note what became of the deposit of a loan that is back: how much went back, and why not all of it.

    Raises PermissionDenied, AlreadyDone, ValidationError (deposit_back_cents, deposit_note).
    """
    keeper_check(by)
    settled = _deposit_settled(loan, by, back_cents, note, now_or(now))
    if Loan.objects.deposit_open().filter(pk=loan.pk).update(**settled) != 1:
        raise AlreadyDone(_("The deposit of %(code)s is settled already.") % {"code": loan.thing.code})


def _deposit_settled(loan: Loan, by: User, back_cents: int, note: str, at: datetime) -> dict[str, object]:
    note = plain(note, field="deposit_note", longest=NOTE_LENGTH)
    if not loan.deposit_cents:
        raise ValidationError({"deposit_back_cents": _("No deposit was taken.")})
    if not 0 <= back_cents <= loan.deposit_cents:
        raise ValidationError({"deposit_back_cents": _("More than was taken cannot go back.")})
    if back_cents < loan.deposit_cents and not note:
        raise ValidationError({"deposit_note": _("Say why not all of it went back.")})
    return {
        "deposit_settled_at": at,
        "deposit_settled_by": by,
        "deposit_back_cents": back_cents,
        "deposit_note": note,
    }


def _settle(loan: Loan, by: User, *, is_ready: bool, today: date) -> None:
    """Everything that follows a return: the hold ends, the days are freed, the condition is noted."""
    hold = loan.hold
    clean_by = today if is_ready else today + loan.thing.turnaround_days * DAY
    Hold.objects.filter(pk=hold.pk).update(state=HoldState.BACK, ends=today, kept_until=clean_by)
    days_keep(hold, hold.starts, today - DAY if is_ready else clean_by, squeeze=True)
    note = "; ".join(filter(None, [loan.note_in, loan.missing_parts and _("missing: ") + loan.missing_parts]))
    note_condition(
        thing=loan.thing,
        by=by,
        at=loan.returned_at or loan.handed_over_at,
        occasion=Occasion.RETURNED,
        condition=loan.condition_in,
        note=note,
    )
    if loan.condition_in == Condition.BROKEN:
        out_of_service(loan.thing, note)


def loan_extend(*, by: User, loan: Loan, due_on: date, now: datetime | None = None) -> Loan:
    """Let somebody keep a thing longer: only if nobody waits for its kind and nobody holds the days.

    By the borrower or a keeper. Raises PermissionDenied, Taken, AlreadyDone (it is back), ValidationError (due_on).
    """
    if by.pk != loan.person_id and not by.has_perm(KEEP):
        raise PermissionDenied
    today = club_day(now_or(now))
    if due_on <= loan.due_on:
        raise ValidationError({"due_on": _("It may be kept until %(day)s now.") % {"day": day_words(loan.due_on)}})
    span_check(Span(today, due_on), today, ends="due_on")
    others = WaitingEntry.objects.in_line().filter(kind=loan.thing.kind).exclude(person=loan.person)
    if others.exists():
        raise ValidationError({"due_on": _("Somebody waits for one of these, so please bring it back as agreed.")})
    tested_check(loan.thing, due_on)
    try:
        with transaction.atomic():
            if Loan.objects.open().filter(pk=loan.pk, due_on=loan.due_on).update(due_on=due_on) != 1:
                raise AlreadyDone(_("This loan was changed just now. Look again."))
            hold_move(loan.hold, Span(loan.hold.starts, due_on), turnaround=loan.thing.turnaround_days)
    except IntegrityError:
        raise thing_taken(loan.thing, Span(loan.due_on + DAY, due_on), today) from None
    loan.due_on = due_on
    return loan


def latest_due(thing: Thing, person: User | None, today: date) -> date | None:
    """The last day until which this person may have the thing, for the next hold of somebody else; None: no limit.

    Without a person: whoever has no hold on it.
    """
    others = ThingDay.objects.filter(thing=thing, day__gte=today)
    if person is not None:
        others = others.exclude(hold__in=Hold.objects.filter(thing=thing, person=person).to_collect(today))
    first = others.order_by("day").values_list("day", flat=True).first()
    return first - (1 + thing.turnaround_days) * DAY if first else None


def _hand_over_note(condition: str, note: str, purpose: str, deposit_cents: int) -> dict[str, object]:
    choice_check(condition, [Condition.GOOD, Condition.WORN], field="condition")
    if not 0 <= deposit_cents <= MOST_CENTS:
        raise ValidationError({"deposit": _("A deposit is from 0 to %(most)s.") % {"most": money_text(MOST_CENTS)}})
    return {
        "condition_out": condition,
        "note_out": plain(note, field="note", longest=NOTE_LENGTH),
        "purpose": plain(purpose, field="purpose", longest=PURPOSE_LENGTH),
        "deposit_cents": deposit_cents,
    }


def _open_loan(thing: Thing) -> Loan | None:
    return Loan.objects.open().filter(thing=thing).select_related("person").first()


def _is_out(loan: Loan) -> str:
    return _("%(code)s is out: %(person)s has it, due back %(day)s.") % {
        "code": loan.thing.code,
        "person": loan.person,
        "day": day_words(loan.due_on),
    }


def _returned_before(loan: Loan, token: UUID | None) -> Loan:
    """The same press again: the loan as it is. Somebody else's: AlreadyDone."""
    if token is not None and loan.return_token == token:
        return loan
    when = date_format(localtime(loan.returned_at), "j M Y, H:i") if loan.returned_at else ""
    raise AlreadyDone(_("%(code)s was taken back %(when)s.") % {"code": loan.thing.code, "when": when})


# The paper sheet of an evening without the network, keyed in afterwards: all of it, or nothing.

KEYED_HOUR = time(18, 0)


@dataclass(frozen=True)
class SheetRow:
    """One line of the sheet. With a person it is a hand-over, without one a return."""

    code: str
    on: date
    person: User | None = None
    due_on: date | None = None
    condition: str = "good"
    note: str = ""
    is_ready: bool = False


class SheetRefused(ValidationError):
    """Nothing was written. `rows` has the sentences by the row's place in what was given, counted from 0."""

    def __init__(self, rows: dict[int, list[str]]) -> None:
        super().__init__([sentence for sentences in rows.values() for sentence in sentences])
        self.rows = rows


def sheet_key_in(*, by: User, rows: Sequence[SheetRow], token: UUID, now: datetime | None = None) -> list[Loan]:
    """Write the lines in their order. The same token again finds what was written the first time.

    All or nothing: SheetRefused names each line that cannot be. PermissionDenied.
    """
    keeper_check(by)
    moment = now_or(now)
    refused: dict[int, list[str]] = {}
    loans = []
    with transaction.atomic():
        for place, row in enumerate(rows):
            try:
                with transaction.atomic():
                    loans.append(_key_in(by, row, uuid5(token, str(place)), moment))
            except ValidationError as error:
                refused[place] = error.messages
            except AlreadyDone as done:
                refused[place] = [str(done)]
        if refused:
            raise SheetRefused(refused)
    return loans


def _key_in(by: User, row: SheetRow, token: UUID, now: datetime) -> Loan:
    at = min(timezone.make_aware(datetime.combine(row.on, KEYED_HOUR)), now) if row.on <= now.date() else None
    if at is None:
        raise ValidationError(_("That day has not come yet."))
    moment_check(at, field="on")
    thing = Thing.objects.coded(code_scanned(row.code)).first()
    if thing is None:
        raise ValidationError(_("There is no thing with the code %(code)s.") % {"code": row.code})
    if row.person is None:
        return _back(by, thing, row, token, at)
    if row.due_on is None:
        raise ValidationError(_("Say when it is due back."))
    return loan_hand_over(
        by=by,
        thing=thing,
        person=row.person,
        due_on=row.due_on,
        condition=row.condition,
        note=row.note,
        token=token,
        now=at,
    )


def _back(by: User, thing: Thing, row: SheetRow, token: UUID, at: datetime) -> Loan:
    loans = Loan.objects.filter(thing=thing).select_related("thing", "hold", "person")
    loan = loans.filter(return_token=token).first() or loans.open().first()
    if loan is None:
        raise ValidationError(_("%(code)s is not out.") % {"code": thing.code})
    return loan_return(
        by=by,
        loan=loan,
        condition=row.condition,
        missing_parts=loan.missing_parts,  # noted at the hand-over: the sheet has no column that says it is back
        note=row.note,
        is_ready=row.is_ready,
        token=token,
        now=max(at, loan.handed_over_at),
    )


# A part that was missing at a return: an open matter, which a keeper settles before the thing goes out again.


def parts_settle(*, by: User, thing: Thing, outcome: str, note: str = "", now: datetime | None = None) -> None:
    """The part is back, replaced or mended, and the thing may be lent again; or the thing is withdrawn for good.

    Raises PermissionDenied, ValidationError (outcome, note), AlreadyDone (nothing is missing any more).
    """
    keeper_check(by)
    choice_check(outcome, PARTS_OUTCOMES, field="outcome")
    note = plain(note, field="note", longest=REASON_LENGTH)
    short = Loan.objects.short_of_parts().filter(thing=thing)
    if outcome == PartsOutcome.WITHDRAWN and short.exists():
        thing_retire(by=by, thing=thing, note=note, now=now)
        return
    if outcome == PartsOutcome.REPLACED and not note:
        raise ValidationError({"note": _("Say what it was replaced by.")})
    moment = now_or(now)
    with transaction.atomic():
        loan = short.first()
        settled = {"parts_settled_at": moment, "parts_settled_by": by, "parts_outcome": outcome, "parts_note": note}
        if loan is None or short.filter(pk=loan.pk).update(**settled) != 1:
            raise AlreadyDone(_("Nothing is missing of %(code)s any more.") % {"code": thing.code})
        is_mended = loan.condition_in == Condition.BROKEN and thing.is_lent
        note_condition(
            thing=thing,
            by=by,
            at=moment,
            occasion=Occasion.PARTS,
            condition=Condition.GOOD if is_mended else loan.condition_in,
            note="; ".join(filter(None, [f"{loan.missing_parts}: {PartsOutcome(outcome).label}", note])),
        )
    waiting_offer_freed(kind=thing.kind, now=now)


def loans_audit() -> list[str]:
    """A sentence for each hold, loan or kept day that does not go with the others."""
    out, back = Hold.objects.filter(state=HoldState.OUT), Loan.objects.exclude(returned_at=None)
    found = {
        "hold {}: handed over, and no loan is open": out.filter(Q(loan=None) | Q(loan__returned_at__isnull=False)),
        "loan {}: open, and its hold is not handed over": Loan.objects.filter(returned_at=None).exclude(
            hold__state=HoldState.OUT
        ),
        "loan {}: back, and its hold is not": back.exclude(hold__state=HoldState.BACK),
        "loan {}: of another thing than its hold": Loan.objects.exclude(thing=F("hold__thing")),
        "day {}: kept for a hold of another thing": ThingDay.objects.exclude(thing=F("hold__thing")),
        "day {}: kept for a hold that was cancelled": ThingDay.objects.filter(hold__state=HoldState.CANCELLED),
    }
    return [
        sentence.format(pk)
        for sentence, rows in found.items()
        for pk in rows.order_by("pk").values_list("pk", flat=True)
    ]
