"""Rows written with one plain INSERT, for the one write that everybody races for.

Django's own save and bulk_create take some three times as long for a hold and its days (measured with
tests/benchmarks/bench_holds.py), and they cannot make an INSERT hang on another row. The columns come from the models,
so a new field needs nothing here.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any

from django.db import connection, models


def rows_insert(rows: Sequence[models.Model]) -> None:
    """Insert rows of one model, in their order, and give each its key. IntegrityError as from any INSERT."""
    table, columns, marks = _statement(type(rows[0]))
    sql = f"INSERT INTO {table} ({columns}) VALUES {', '.join([f'({marks})'] * len(rows))} RETURNING id"
    with connection.cursor() as cursor:
        cursor.execute(sql, [value for row in rows for value in _values(row)])
        for row, (key,) in zip(rows, cursor.fetchall(), strict=True):
            _is_kept(row, key)


def row_insert_while(row: models.Model, other: models.Model, **state: str) -> bool:
    """Insert the row only while `other` is in that state, in one statement; False when it is not.

    The names of the state are columns of the other's table and never come from outside.
    """
    table, columns, marks = _statement(type(row))
    place = connection.ops.quote_name(other._meta.db_table)
    asked = " AND ".join(f"{connection.ops.quote_name(name)} = %s" for name in state)
    sql = f"INSERT INTO {table} ({columns}) SELECT {marks} FROM {place} WHERE id = %s AND {asked} RETURNING id"
    with connection.cursor() as cursor:
        cursor.execute(sql, [*_values(row), other.pk, *state.values()])
        found = cursor.fetchone()
    if found is not None:
        _is_kept(row, found[0])
    return found is not None


def _is_kept(row: models.Model, key: int) -> None:
    row.pk = key
    row._state.adding, row._state.db = False, connection.alias


def _values(row: models.Model) -> list[Any]:
    return [
        field.get_db_prep_save(getattr(row, field.attname), connection)
        for field in row._meta.concrete_fields
        if not field.primary_key
    ]


@cache
def _statement(model: type[models.Model]) -> tuple[str, str, str]:
    """Table, columns and marks of a model whose key the database gives."""
    quote = connection.ops.quote_name
    fields = [field for field in model._meta.concrete_fields if not field.primary_key]
    return (
        quote(model._meta.db_table),
        ", ".join(quote(str(one.column)) for one in fields),
        ", ".join(["%s"] * len(fields)),
    )
