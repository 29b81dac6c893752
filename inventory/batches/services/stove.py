"""What is pressed at the stove, written down: each press once, by the rules, and none undone by a later one."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import ROUND_DOWN, Decimal, InvalidOperation
from math import ceil
from uuid import UUID, uuid5

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from club.core.clock import in_utc, now_or, zoned_text
from club.core.errors import AlreadyDone
from club.members.models import User
from inventory.batches.choices import (
    PRESSES_OF_JARS,
    PRESSES_OF_STAGES,
    PRESSES_TO_TAKE_BACK,
    BatchState,
    Measured,
    PressKind,
)
from inventory.batches.models import Batch, Press
from inventory.batches.rules import CLOCK_SLACK, MOST_PSI, UNDERPROCESSED, UNSAFE_WINDOW, elapsed, sizes_covered
from inventory.batches.services.common import batch_lock, stove_check
from inventory.batches.services.stages import reading_note, stage_finish, stage_look
from inventory.batches.stove import Course, Part, StoveStep, course_of
from inventory.jars.rules import LID_CODE_LENGTH
from recipes.engine.quantities import JAR_SIZES

MOST_PRESSES = 2_000  # of one batch; more is no cooking


def moment_pressed(
    *, kind: str, now: datetime, ago: timedelta | None = None, by_offset: datetime | None = None
) -> tuple[datetime, bool]:
    """When a press that comes late was made, by the server's clock; True: the phone's clock was moved meanwhile.

    `ago` is how long the phone says to have kept it, `by_offset` what its clock showed then, put right by how far it
    was off when the two last spoke. Where they disagree the stricter one holds: what begins a count began later,
    everything else was earlier. Never after `now`.
    """
    by_age = now - max(ago or timedelta(0), timedelta(0))
    if by_offset is None:
        return by_age, False
    moment = min(in_utc(by_offset), now)
    is_doubtful = abs(by_age - moment) > CLOCK_SLACK
    if not is_doubtful:
        return by_age, False
    return (max if kind == PressKind.BEGAN else min)(by_age, moment), True


@transaction.atomic
def stove_press(
    *,
    by: User,
    batch: Batch,
    token: UUID,
    kind: str,
    step: str,
    at: datetime | None = None,
    client_at: datetime | None = None,
    is_doubtful: bool = False,
    psi: Decimal | None = None,
    size: str = "",
    words: str = "",
    takes_back: UUID | None = None,
    now: datetime | None = None,
) -> Press:
    """Write one press, made at `at` (now where nothing is said).

    1. Who works at this stove may: else PermissionDenied.
    2. A token that was written before gives that row, whatever happened since.
    3. A batch that was logged or given up meanwhile takes no more presses: AlreadyDone, saying so.
    4. The rules of its kind: ValidationError for what they refuse, AlreadyDone where somebody pressed it before.
    5. The row; a reading of the gauge below its setting also starts the count anew.
    """
    now = now_or(now)
    stove_check(by, batch)
    batch_lock(batch.pk)
    before = Press.objects.filter(token=token).first()
    if before is not None:
        if (before.batch_id, before.kind, before.step) != (batch.pk, kind, step):
            raise ValidationError(_("This press was used for something else already. Open the page again."))
        return before
    batch = Batch.objects.select_related("revision__recipe", "kitchen", "canner_card").get(pk=batch.pk)
    if batch.is_staged and not batch.is_in_containers:
        raise ValidationError(_("This batch is canned by its table: its own page says what is next."))
    _open_check(batch, kind, min(at or now, now))
    course = course_of(batch)
    if len(course.presses) >= MOST_PRESSES:
        raise ValidationError(_("That is more than anybody presses for one batch. Write the rest into the log."))
    moment = max(min(in_utc(at or now), now), min(in_utc(batch.started_at), now))
    row = Press(
        batch=batch,
        token=token,
        kind=kind,
        step=step,
        at=moment,
        client_at=client_at,
        received_at=now,
        is_doubtful=is_doubtful,
        by=by,
    )
    _fill_in(row, course, psi=psi, size=size, words=words, takes_back=takes_back)
    if row.kind == PressKind.DONE and (done := _done_before(row, course)):
        return done
    _WRITES[PressKind(kind)](row, course)
    return _written(row)


def _open_check(batch: Batch, kind: str, at: datetime) -> None:
    if batch.state == (BatchState.UNDERWAY if batch.is_in_containers else BatchState.STARTED):
        return
    if batch.state == BatchState.ABANDONED:
        raise AlreadyDone(_("This batch was given up meanwhile; this press was not written."))
    text = _("The log of this batch was signed meanwhile; this press was not written.")
    if batch.is_staged:
        text = _("This batch was put away meanwhile; this press was not written.")
    if kind in (PressKind.FELL, PressKind.GAUGE, PressKind.BROKE):
        more = _("If it is true, open “Something went wrong” on the batch's page now: at %(time)s.")
        text = f"{text} {more % {'time': zoned_text(at)}}"
    raise AlreadyDone(text)


def _fill_in(
    row: Press, course: Course, *, psi: Decimal | None, size: str, words: str, takes_back: UUID | None
) -> None:
    """What this kind of press says, and nothing else."""
    if row.kind not in PressKind.values or (row.step not in course.by_key and row.step not in course.timers):
        raise ValidationError(_("There is no such step in this batch. Open its page again."))
    if row.kind not in PRESSES_OF_STAGES and course.batch.is_in_containers:
        raise ValidationError(_("That is not pressed for a batch in stages."))
    if row.kind == PressKind.GAUGE:
        row.psi = _psi_read(psi)
    elif row.kind in PRESSES_OF_JARS:
        sizes = JAR_SIZES if row.kind == PressKind.FRIDGE else sizes_covered(course.batch.jar_size)
        if size not in sizes:
            raise ValidationError({"size": _("The process of this batch does not cover such a jar.")})
        row.size = size
    elif row.kind == PressKind.LIDS:
        row.words = " ".join(words.split())
        if not row.words or len(row.words) > LID_CODE_LENGTH:
            raise ValidationError(
                {"words": _("Give the code on the box of lids, at most %(n)s characters.") % {"n": LID_CODE_LENGTH}}
            )
    elif row.kind in (PressKind.LOOKED, PressKind.PH):
        row.words = words[:LID_CODE_LENGTH]
    elif row.kind == PressKind.TAKEN_BACK:
        row.takes_back = next((one for one in course.presses if one.token == takes_back), None)
    row.count = course.count_to_note(row.kind, row.step)


def _psi_read(psi: Decimal | None) -> Decimal:
    """In tenths, rounded down. ValidationError for what no gauge shows."""
    found = psi.quantize(Decimal("0.1"), ROUND_DOWN) if psi is not None and 0 < psi <= MOST_PSI else None
    if not found:
        raise ValidationError({"psi": _("Read the gauge in psi: more than 0, at most %(n)s.") % {"n": MOST_PSI}})
    return found


def _done_before(row: Press, course: Course) -> Press | None:
    """To go on from a step is done once; who presses it again finds that. AlreadyDone where a stage's own page ended
    it."""
    step = course.by_key.get(row.step)
    done = course.done(step) if step else None
    if done is not None and not isinstance(done, Press):
        pressed = next((one for one in course.live if (one.kind, one.step) == (row.kind, row.step)), None)
        if pressed is None:
            raise AlreadyDone(
                _("That is done since %(time)s (%(who)s).") % {"time": zoned_text(done.at), "who": done.by}
            )
        return pressed
    return done


def _written(row: Press) -> Press:
    """A racing twin wins where the database says that it was first."""
    try:
        with transaction.atomic():
            row.save(force_insert=True)
    except IntegrityError:
        before = Press.objects.filter(token=row.token).first()
        if before is None:
            raise AlreadyDone(_("Somebody pressed this at the same moment.")) from None
        return before
    return row


def _of_the_same_moment(row: Press, course: Course, kind: PressKind, step: str) -> Press:
    """What another press says as well: a low gauge, that the count broke; jars lifted out, that the heat is off."""
    return Press(
        batch=row.batch,
        token=uuid5(row.token, kind),
        kind=kind,
        step=step,
        count=course.count_to_note(kind, step),
        at=row.at,
        client_at=row.client_at,
        received_at=row.received_at,
        is_doubtful=row.is_doubtful,
        by=row.by,
    )


def _since(press: Press) -> dict[str, object]:
    return {"time": zoned_text(press.at), "who": press.by}


def _began(row: Press, course: Course) -> None:
    if row.step not in course.timers:
        raise ValidationError(_("Nothing is counted in this step."))
    step, _timer = course.timers[row.step]
    if (done := course.done(step)) is not None:
        raise AlreadyDone(_("That is done since %(time)s (%(who)s).") % _since(done))
    if (began := course.began(row.step)) is not None:
        text = _(
            "It counts since %(time)s already (%(who)s), and that stands. If it boiled or came to pressure only later,"
            " take that press back first."
        )
        raise AlreadyDone(text % _since(began))
    if (fell := course.fell(row.step)) is not None:
        row.at = max(row.at, fell.at)
        if elapsed(fell.at, row.at) >= UNSAFE_WINDOW:
            text = _(
                "The heat was lost at %(time)s, more than 2 hours ago: these jars are not counted anew. Throw them away"
                " untasted as suspect jars, and give the batch up. (Source: %(source)s.)"
            )
            raise ValidationError(text % {"time": zoned_text(fell.at), "source": UNDERPROCESSED.source})


def _fell(row: Press, course: Course) -> None:
    """The count that went on ends; also where somebody else took it for complete meanwhile."""
    step = course.by_key.get(row.step)
    if step is None or not step.is_process:
        raise ValidationError(_("The boil and the pressure count while jars are processed."))
    began, done = course.began(row.step), course.done(step)
    if began is None:
        raise AlreadyDone(_("Nothing counts there now, so there is nothing to begin anew."))
    row.at = max(row.at, began.at)
    if done is not None and row.at >= done.at:
        raise AlreadyDone(_("The time was over at %(time)s (%(who)s), before that.") % _since(done))


def _gauge(row: Press, course: Course) -> None:
    step = course.by_key.get(row.step)
    setting = course.batch.setting_psi if course.batch.setting_psi is not None else course.batch.required_psi
    if step is None or not step.is_process or setting is None:
        raise ValidationError(_("A gauge is read while a pressure canner's minutes count."))
    if course.began(row.step) is None:
        raise AlreadyDone(_("Nothing counts there now, so there is nothing to begin anew."))
    assert row.psi is not None  # filled in before
    if row.psi < setting:
        fell = _of_the_same_moment(row, course, PressKind.FELL, row.step)
        _fell(fell, course)
        _written(fell)


def _done(row: Press, course: Course) -> None:
    step = course.by_key.get(row.step)
    if step is None or step.part in (Part.LOOK, Part.PH, Part.PUT_UP):
        raise ValidationError(_("There is no such step in this batch. Open its page again."))
    if step.is_end and step.stage is not None:
        # A later one of the same phone may bear the same moment: what is over has its stage's own rules.
        ended = stage_finish(
            by=row.by, batch=row.batch, number=step.stage, passed=True, ended_at=row.at, now=row.received_at
        )
        row.at = ended.ended_at or row.at
    elif step.is_process:
        _time_check(course, step, row.at)
    elif step.is_out and step.load is not None:
        process = next(one for one in course.steps if one.is_process and one.load == step.load)
        # Also where the heat was turned off since: jars that came out before the time did not get it.
        _time_check(course, process, row.at)
        done = course.done(process) or _written(_of_the_same_moment(row, course, PressKind.DONE, process.key))
        row.at = max(row.at, done.at)


def _time_check(course: Course, process: StoveStep, at: datetime) -> None:
    """The whole time, without a break: less is never written down as done."""
    minutes, began = course.batch.required_minutes or 0, course.began(process.key)
    if began is None:
        if course.fell(process.key):
            text = _("The heat was lost, and the whole time was not counted anew yet: %(n)s minutes.")
        else:
            text = _("Nobody pressed yet when the minutes began: %(n)s minutes are to be counted first.")
        raise ValidationError(text % {"n": minutes})
    left = timedelta(minutes=minutes) - elapsed(began.at, at)
    if left > timedelta(0):
        n = ceil(left / timedelta(minutes=1))
        text = ngettext(
            "%(n)s minute of %(all)s is still to go. Less than the tested time is never written down as done.",
            "%(n)s minutes of %(all)s are still to go. Less than the tested time is never written down as done.",
            n,
        )
        raise ValidationError(text % {"n": n, "all": minutes})


def _jars(row: Press, course: Course) -> None:
    if row.kind == PressKind.SHORT and course.jars.get(row.size, 0) < 1:
        raise ValidationError({"size": _("No jar of this size is left to take away.")})


def _taken_back(row: Press, course: Course) -> None:
    slip = row.takes_back
    if slip is None or slip.kind not in PRESSES_TO_TAKE_BACK or slip.step != row.step:
        raise ValidationError(_("That press stays written."))
    if slip not in course.live:
        raise AlreadyDone(_("That was taken back already."))
    if slip.kind == PressKind.BEGAN:
        step, _timer = course.timers[slip.step]
        if slip.count != course.count_of(slip.step) or course.done(step) is not None:
            raise AlreadyDone(_("These minutes are not counting any more, so that press stays written."))
    row.at = max(row.at, slip.at)


def _looked(row: Press, course: Course) -> None:
    """One look at the stage that runs, in the words that its form has."""
    step = course.by_key.get(row.step)
    if step is None or not step.asks:
        raise ValidationError(_("Nothing is looked at in this step."))
    seen = dict(part.split("=", 1) for part in row.words.split() if "=" in part)
    stage_look(
        by=row.by,
        batch=row.batch,
        token=uuid5(row.token, "look"),
        at=row.at,
        now=row.received_at,
        **{name: seen.get(name, "") for name in step.asks},
    )


def _ph(row: Press, course: Course) -> None:
    step = course.by_key.get(row.step)
    if step is None or step.part is not Part.PH:
        raise ValidationError(_("No pH is read in this step."))
    try:
        value = Decimal(row.words)
    except InvalidOperation:
        raise ValidationError({"words": _("Write the pH as a number, such as 3.5.")}) from None
    reading_note(
        by=row.by,
        batch=row.batch,
        measured=Measured.PH,
        value=value,
        token=uuid5(row.token, "ph"),
        by_strip=True,
        at=row.at,
        now=row.received_at,
    )


def _anything(row: Press, course: Course) -> None:
    """A code of lids is as good on any step."""


_WRITES = {
    PressKind.DONE: _done,
    PressKind.BEGAN: _began,
    PressKind.FELL: _fell,
    PressKind.GAUGE: _gauge,
    **dict.fromkeys(PRESSES_OF_JARS, _jars),
    PressKind.LIDS: _anything,
    PressKind.LOOKED: _looked,
    PressKind.PH: _ph,
    PressKind.TAKEN_BACK: _taken_back,
}
