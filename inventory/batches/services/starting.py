"""Starting a batch from a plan, and giving one up."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Unpack
from uuid import UUID

from django.core.exceptions import NON_FIELD_ERRORS, PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from club.core.errors import AlreadyDone
from club.members.models import Kitchen, User
from club.members.services import kitchen_used
from inventory.batches.lots import SALTS, lot_code
from inventory.batches.models import Batch, BatchState
from inventory.batches.needs import Need, canner_of, reprocess_need
from inventory.batches.rules import in_utc
from inventory.batches.services.common import Problems, moment_check, now_or, stove_check
from recipes.engine.plan import Plan, plan_as_dict
from recipes.models import Revision, RevisionState
from recipes.planning import PlanWish, plan_for

LOT_CODE_TRIES = 20
REASON_LENGTH = 200
SCALE_LENGTH = 80


@transaction.atomic
def batch_start(
    *,
    by: User,
    revision: Revision,
    kitchen: Kitchen,
    token: UUID,
    for_person: User | None = None,
    started_at: datetime | None = None,
    note: str = "",
    now: datetime | None = None,
    **wish: Unpack[PlanWish],
) -> Batch:
    """Start a batch; the plan is made anew here, whatever a form says it was.

    1. The person may put up batches, and in this kitchen: else PermissionDenied. With `for_person` the jars are
       theirs, and so is the look at the seals; that takes a right of its own, and a kitchen that both may use.
    2. A token that made a batch before gives that batch: the form was sent twice.
    3. The revision is published at this moment, the altitude known, the plan without refusals: else ValidationError.
    4. The row is written under a lot code of its own.
    """
    now = now_or(now)
    began = now if started_at is None else in_utc(started_at)
    # Read anew: a page may have been open since before the kitchen's altitude was mended.
    fresh = Kitchen.objects.usable_by(by).filter(pk=kitchen.pk).first()
    if fresh is None or not by.has_perm("batches.add_batch"):
        raise PermissionDenied
    kitchen, whose = fresh, _whose(by, for_person, fresh)
    made = _made_before(whose, token, revision, kitchen)
    if made is not None:
        return made
    problems = Problems()
    moment_check(problems, "started_at", began, now)
    _revision_check(problems, revision)
    if kitchen.altitude is None:
        problems.add("kitchen", _("Give this kitchen its altitude first: without it no process time is safe."))
    problems.raise_if_any()
    plan = plan_for(revision=revision, altitude=kitchen.altitude, **wish)
    if not plan.ok:
        raise ValidationError({NON_FIELD_ERRORS: [refusal.message for refusal in plan.refusals]})
    if len(str(plan.pot_scale)) > SCALE_LENGTH:
        raise ValidationError(_("Give the fruit in a rounder figure: nobody weighs that finely."))
    fields = _columns(plan, revision, kitchen, wish.get("jar"))
    fields["is_reprocessable"] = isinstance(reprocess_need(Batch(**fields)), Need)
    batch = _write(whose, token, started_at=began, note=note.strip(), created_at=now, **fields)
    if whose.started_by is None:
        kitchen_used(by=by, kitchen=kitchen)
    return batch


@dataclass(frozen=True)
class _Whose:
    """Whose jars they are, and who pressed Start where that is somebody else."""

    made_by: User
    started_by: User | None = None


def _whose(by: User, for_person: User | None, kitchen: Kitchen) -> _Whose:
    if for_person is None or for_person.pk == by.pk:
        return _Whose(by)
    may = by.has_perm("batches.start_for_others") and for_person.has_perm("batches.add_batch")
    if not may or not Kitchen.objects.usable_by(for_person).filter(pk=kitchen.pk).exists():
        raise PermissionDenied
    return _Whose(for_person, by)


def _made_before(whose: _Whose, token: UUID, revision: Revision, kitchen: Kitchen) -> Batch | None:
    made = Batch.objects.filter(token=token).select_related("made_by", "started_by").first()
    if made is None:
        return None
    asked_now = (whose.made_by, whose.started_by, revision.pk, kitchen.pk)
    if (made.made_by, made.started_by, made.revision_id, made.kitchen_id) != asked_now:
        raise ValidationError(
            _("This form was used for another batch already. Open the plan again and start from there.")
        )
    return made


def _revision_check(problems: Problems, revision: Revision) -> None:
    # Locked, so that nobody withdraws it between this look and our write (PostgreSQL; SQLite has one writer anyway).
    kept = Revision.objects.select_for_update().get(pk=revision.pk)
    if kept.state == RevisionState.WITHDRAWN:
        problems.add(
            "revision",
            _("This revision was withdrawn: %(reason)s Plan again from the recipe's page.")
            % {"reason": kept.withdrawn_reason},
        )
    elif kept.state != RevisionState.PUBLISHED:
        problems.add("revision", _("Only a published revision is put up; this one is not published yet."))


def _columns(plan: Plan, revision: Revision, kitchen: Kitchen, jar: str | None) -> dict[str, Any]:
    """The plan as it stands now, and what of it the process must reach."""
    process = plan.process
    return {
        "revision": revision,
        "kitchen": kitchen,
        "plan": plan_as_dict(plan),
        "pots": plan.pots,
        "pot_scale": str(plan.pot_scale),
        "altitude_m": kitchen.altitude_m,
        "canner": canner_of(process).value if process else "",
        "pack": process.pack.value if process else "",
        "jar_size": process.tested_jar if process else _largest(plan, jar),
        "required_minutes": process.minutes if process else None,
        "required_psi": process.pressure_psi if process else None,
    }


def _largest(plan: Plan, jar: str | None) -> str:
    """The largest jar of a plan without a process; the plan names its jars largest first."""
    return plan.jars[0].size if plan.jars else jar or plan.stated_yield.jar


def _write(whose: _Whose, token: UUID, **fields: Any) -> Batch:
    """Two of a day's batches may draw the same letters: draw again. A racing twin with our token wins instead."""
    day = timezone.localdate(fields["started_at"], timezone.get_default_timezone())
    people = {"made_by": whose.made_by, "started_by": whose.started_by}
    for left in reversed(range(LOT_CODE_TRIES)):
        try:
            with transaction.atomic():
                code = lot_code(day, secrets.randbelow(SALTS))
                return Batch.objects.create(lot_code=code, token=token, **people, **fields)
        except IntegrityError:
            made = _made_before(whose, token, fields["revision"], fields["kitchen"])
            if made is not None:
                return made
            if not left:
                raise
    raise AssertionError("unreachable: the last try returns or raises")


@transaction.atomic
def batch_abandon(*, by: User, batch: Batch, reason: str, now: datetime | None = None) -> Batch:
    """Give up a batch that is still on the stove, and say why. AlreadyDone when it is not on the stove any more."""
    stove_check(by, batch)
    reason = " ".join(reason.split())
    if not reason:
        raise ValidationError({"reason": _("Say in a few words why it was given up.")})
    if len(reason) > REASON_LENGTH:
        raise ValidationError({"reason": _("At most %(n)s characters, please.") % {"n": REASON_LENGTH}})
    given_up = Batch.objects.filter(pk=batch.pk, state=BatchState.STARTED).update(
        state=BatchState.ABANDONED, abandoned_at=now_or(now), abandoned_reason=reason
    )
    if given_up != 1:
        raise AlreadyDone(_("This batch is not on the stove any more, so it was left as it is."))
    return Batch.objects.get(pk=batch.pk)
