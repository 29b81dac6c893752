"""What every ledger of the club shares: rows that are written once, by a form's own token, and never changed.

A row is wrong? A correction is another row. The database itself refuses to change or delete what is written
(`RefusalTriggers`); what is kept beside the rows, such as a balance, can be summed from them again (`summed`,
`disagreements`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, TypeVar
from uuid import UUID, uuid5

from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction
from django.db.models import Q, Sum
from django.utils import timezone
from django.utils.translation import gettext as _

NOTE_LENGTH = 200
Row = TypeVar("Row", bound=models.Model)

# The tables.


class LedgerRow(models.Model):
    """A row that is written once. `token` is the form's own: the same form sent twice finds the row it made."""

    note = models.CharField(max_length=NOTE_LENGTH, blank=True)
    at = models.DateTimeField(default=timezone.now)
    token = models.UUIDField(unique=True)

    class Meta:
        abstract = True
        ordering = ["-pk"]


class CorrectableRow(LedgerRow):
    """A ledger's row that another row may correct, once; the correction itself can be corrected."""

    corrects = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="corrected_by"
    )

    class Meta(LedgerRow.Meta):
        abstract = True


def correction_constraint(name: str) -> models.CheckConstraint:
    """A row with the reason "corrected", and no other, names the row that it corrects."""
    return models.CheckConstraint(
        name=name,
        condition=Q(reason="corrected", corrects__isnull=False) | Q(~Q(reason="corrected"), corrects=None),
    )


# Writing a row.


def part_token(token: UUID, part: str) -> UUID:
    """A token for one part of what one form did: the same each time the form is sent."""
    return uuid5(token, part)


def write_once(row: Row, *, same: tuple[str, ...]) -> tuple[Row, bool]:
    """Write a row with a token, or find the one its token wrote before; True when it is new.

    ValidationError when the token was used for something else: `same` names the fields that must agree.
    """
    manager: Any = type(row)._default_manager
    try:
        with transaction.atomic():
            row.save(force_insert=True)
    except IntegrityError:
        before: Row | None = manager.filter(token=row.token).first()  # type: ignore[attr-defined]
        if before is None:
            raise
        if any(getattr(before, name) != getattr(row, name) for name in same):
            text = _("This form was used for something else already. Open the page again and start from there.")
            raise ValidationError(text) from None
        return before, False
    return row, True


def correction_check(row: CorrectableRow, token: UUID, *, count: int, written: int) -> None:
    """ValidationError when the count is the one written, or another form than this one corrected the row before."""
    if count == written:
        raise ValidationError({"count": _("That is the number already written. Give the right one.")})
    manager: Any = type(row)._default_manager
    if manager.filter(corrects=row).exclude(token=token).exists():
        raise ValidationError(_("This movement was corrected already. Correct the correction, if that was wrong too."))


# Auditing what is kept beside the rows.


def summed(rows: models.QuerySet[Any], value: str, *keys: str) -> Counter[Any]:
    """The sum of a column by one key, or by several: by the value itself, or by a tuple. The database adds up."""
    found: Counter[Any] = Counter()
    for *key, total in rows.order_by().values_list(*keys).annotate(Sum(value)):
        found[key[0] if len(key) == 1 else tuple(key)] = total
    return found


def disagreements(what: str, *, moved: Counter[object], kept: Counter[object]) -> list[str]:
    """A sentence for whoever looks after the site, for each key whose kept count is not what its rows make it."""
    return [
        f"{what} {key}: {kept[key]} kept, {moved[key]} by the movements"
        for key in sorted({*moved, *kept}, key=str)
        if moved[key] != kept[key]
    ]


# Triggers that refuse a change, whoever asks for it and however.


@dataclass(frozen=True)
class RefusalTrigger:
    """Before `event` on a row of `table`: refused with `message`, always or `when` that holds.

    `event` is in SQL, such as "DELETE" or "UPDATE OF state"; `when` too, over OLD and NEW, with `{differs}` for the
    comparison that knows NULL. PostgreSQL keeps what a trigger does in a function: triggers of one `function` share it.
    """

    name: str
    table: str
    event: str
    message: str
    when: str = ""
    function: str = ""

    @property
    def function_name(self) -> str:
        return self.function or self.name

    def sqlite(self) -> str:
        when = f"WHEN {self.when.format(differs='IS NOT')} " if self.when else ""
        return (
            f"CREATE TRIGGER {self.name} BEFORE {self.event} ON {self.table} FOR EACH ROW {when}"
            f"BEGIN SELECT RAISE(ABORT, '{self.message}'); END"
        )

    def postgresql_function(self) -> str:
        """Raised as restrict_violation, so that Django reports an IntegrityError as it does on SQLite."""
        when = self.when.format(differs="IS DISTINCT FROM") if self.when else "TRUE"
        row = "OLD" if self.event == "DELETE" else "NEW"
        return (
            f"CREATE OR REPLACE FUNCTION {self.function_name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
            f"IF {when} THEN RAISE EXCEPTION '{self.message}' USING ERRCODE = 'restrict_violation'; END IF; "
            f"RETURN {row}; END $$"
        )

    def postgresql(self) -> str:
        return (
            f"CREATE TRIGGER {self.name} BEFORE {self.event} ON {self.table} FOR EACH ROW "
            f"EXECUTE FUNCTION {self.function_name}()"
        )


class RefusalTriggers:
    """The triggers of one room. A migration lays them down: `RunPython(guards.install, guards.remove)`.

    Django copies a table when it alters one on SQLite, and its triggers are lost with the old table: a later migration
    that touches a guarded table must end with that same step.
    """

    def __init__(self, *triggers: RefusalTrigger) -> None:
        self.triggers = triggers

    @property
    def names(self) -> list[str]:
        """The triggers there must be in a migrated database."""
        return [trigger.name for trigger in self.triggers]

    def install(self, apps: Any, schema_editor: Any) -> None:
        for statement in self.create_statements(schema_editor.connection.vendor):
            schema_editor.execute(statement)

    def remove(self, apps: Any, schema_editor: Any) -> None:
        for statement in self.drop_statements(schema_editor.connection.vendor):
            schema_editor.execute(statement)

    def create_statements(self, vendor: str) -> list[str]:
        if vendor == "sqlite":
            return [trigger.sqlite() for trigger in self.triggers]
        functions = [trigger.postgresql_function() for trigger in self._one_of_each_function()]
        return [*functions, *(trigger.postgresql() for trigger in self.triggers)]

    def drop_statements(self, vendor: str) -> list[str]:
        if vendor == "sqlite":
            return [f"DROP TRIGGER IF EXISTS {name}" for name in self.names]
        functions = [f"DROP FUNCTION IF EXISTS {trigger.function_name}()" for trigger in self._one_of_each_function()]
        return [*(f"DROP TRIGGER IF EXISTS {one.name} ON {one.table}" for one in self.triggers), *functions]

    def count_statements(self, vendor: str) -> list[tuple[RefusalTrigger, str]]:
        """For each trigger that looks at new rows, how many rows there are now that it would refuse."""
        differs = "IS NOT" if vendor == "sqlite" else "IS DISTINCT FROM"
        return [
            (one, f"SELECT count(*) FROM {one.table} AS NEW WHERE {one.when.format(differs=differs)}")
            for one in self.triggers
            if one.event == "INSERT" and one.when
        ]

    def _one_of_each_function(self) -> Iterator[RefusalTrigger]:
        yield from {trigger.function_name: trigger for trigger in self.triggers}.values()


def keep_rows(*tables: str, message: str, function: str) -> list[RefusalTrigger]:
    """What is written in these tables is neither changed nor deleted."""
    return [
        RefusalTrigger(f"{table}_no_{event.lower()}", table, event, message, function=function)
        for table in tables
        for event in ("UPDATE", "DELETE")
    ]
