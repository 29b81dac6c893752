"""Every audit of the house: what is kept beside the rows that it follows from, worked out again from those rows."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from django.db import connection

from club.classes.services import seats_audit
from club.core.ledger import RefusalTriggers
from inventory.batches.triggers import GUARDS as BATCH_GUARDS
from inventory.equipment.services import loans_audit
from inventory.jars.services import ledger_audit
from inventory.jars.triggers import GUARDS as JAR_GUARDS


def guards_audit() -> Iterator[str]:
    """Rows that the triggers would not let in, had they been there when the rows came."""
    for guards in (JAR_GUARDS, BATCH_GUARDS):
        yield from _refused_by(guards)


def _refused_by(guards: RefusalTriggers) -> Iterator[str]:
    with connection.cursor() as cursor:
        for trigger, statement in guards.count_statements(connection.vendor):
            cursor.execute(statement)
            if refused := cursor.fetchone()[0]:
                yield f"{trigger.table}: {refused} rows. {trigger.message}"


AUDITS: dict[str, Callable[[], list[str]]] = {
    "jars, lids, supplies and deposits": lambda: ledger_audit().problems,
    "seats": seats_audit,
    "loans": loans_audit,
    "rows that guard each other": lambda: list(guards_audit()),
}


def house_audit() -> dict[str, list[str]]:
    """By the name of each audit the sentences it found; nothing where the books agree."""
    return {name: audit() for name, audit in AUDITS.items()}
