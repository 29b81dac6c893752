"""Every audit of the house: what is kept beside the rows that it follows from, worked out again from those rows."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from datetime import datetime

from django.db import connection
from django.utils import timezone

from club.classes.services import seats_audit
from club.core.faults import damage_found
from club.core.ledger import RefusalTriggers
from club.reminders.services import audit_note, audit_take
from inventory.batches.models import Batch
from inventory.batches.presentation import labels_of
from inventory.batches.services import recalls_audit
from inventory.batches.triggers import GUARDS as BATCH_GUARDS
from inventory.batches.triggers import STAGES as STAGE_GUARDS
from inventory.equipment.services import loans_audit
from inventory.jars.services import ledger_audit
from inventory.jars.triggers import GUARDS as JAR_GUARDS

log = logging.getLogger(__name__)


def guards_audit() -> Iterator[str]:
    """Rows that the triggers would not let in, had they been there when the rows came."""
    for guards in (JAR_GUARDS, BATCH_GUARDS, STAGE_GUARDS):
        yield from _refused_by(guards)


def _refused_by(guards: RefusalTriggers) -> Iterator[str]:
    with connection.cursor() as cursor:
        for trigger, statement in guards.count_statements(connection.vendor):
            cursor.execute(statement)
            if refused := cursor.fetchone()[0]:
                yield f"{trigger.table}: {refused} rows. {trigger.message}"


def labels_audit() -> list[str]:
    """A sentence for each batch that is called back and would get labels all the same: a label says good to keep."""
    return [
        f"batch {batch.lot_code}: called back, and {len(printed)} labels of it would be printed"
        for batch in Batch.objects.recalled().select_related("revision__recipe", "kitchen").order_by("pk").iterator()
        if (printed := labels_of(batch, every=True))
    ]


def file_audit() -> list[str]:
    """What is wrong with the file of a SQLite database itself."""
    return [found] if (found := damage_found()) else []


AUDITS: dict[str, Callable[[], list[str]]] = {
    "jars, lids, supplies and deposits": lambda: ledger_audit().problems,
    "seats": seats_audit,
    "loans": loans_audit,
    "rows that guard each other": lambda: list(guards_audit()),
}


# And what a copy of the house may hold as well as the house itself: it says nothing against putting it back.
AT_NIGHT: dict[str, Callable[[], list[str]]] = AUDITS | {
    "recalls": lambda: recalls_audit(timezone.now()),
    "labels of what is called back": labels_audit,
    "the database's file": file_audit,
}


def house_audit() -> dict[str, list[str]]:
    """By the name of each audit the sentences it found; nothing where the books agree."""
    return {name: audit() for name, audit in AUDITS.items()}


def audit_tonight(now: datetime) -> None:
    """Run each minute: the first to ask after three in the morning makes the audit of this day.

    One that breaks holds up none of the others, and that it broke is a finding.
    """
    taken = audit_take(now)
    if taken is None:
        return
    findings: dict[str, list[str]] = {}
    for name, audit in AT_NIGHT.items():
        try:
            findings[name] = audit()
        except Exception as error:
            log.exception("The audit of %s could not be made", name)
            findings[name] = [f"could not be looked at: {type(error).__name__}: {error}"[:300]]
    audit_note(audit=taken, findings=findings, now=timezone.now())
