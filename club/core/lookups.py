"""Whole numbers that no column can hold are in no row: neither in a list of them nor as the key of another table.

Django answers `pk=9223372036854775808` so by itself, but hands `pk__in=[9223372036854775808]` and `hall=...` to the
database, which breaks on them. Forms with several choices, the admin site's actions and all else that asks so is
helped here, in one place.
"""

from __future__ import annotations

from typing import Any

from django.core.exceptions import EmptyResultSet
from django.db.models import ForeignKey, IntegerField
from django.db.models.fields.related import ForeignObject
from django.db.models.fields.related_lookups import RelatedExact, RelatedIn
from django.db.models.lookups import In

LONG = 50


def _bounds(lookup: Any, connection: Any) -> tuple[int, int] | None:
    """The least and the most that the column which this is compared with could hold; None where it holds no numbers."""
    field = getattr(lookup.lhs, "output_field", None)  # a key of several columns has none
    while isinstance(field, ForeignKey):
        field = field.target_field
    if not isinstance(field, IntegerField):
        return None
    least, most = connection.ops.integer_field_range(field.get_internal_type())
    return least, most


class _InWhatCanBe:
    def process_rhs(self, compiler: Any, connection: Any) -> Any:
        lookup: Any = self
        if lookup.rhs_is_direct_value() and (bounds := _bounds(lookup, connection)):
            least, most = bounds
            lookup.rhs = [value for value in lookup.rhs if not isinstance(value, int) or least <= value <= most]
        return super().process_rhs(compiler, connection)  # type: ignore[misc]

    def as_postgresql(self, compiler: Any, connection: Any, **context: Any) -> Any:
        """A long list goes out as one array: a value each is put together by Django and again by the driver."""
        lookup: Any = self
        given = lookup.rhs if lookup.rhs_is_direct_value() else ()
        bounds = _bounds(lookup, connection) if len(given) > LONG else None
        if bounds is None or not all(type(value) is int for value in given):
            return lookup.as_sql(compiler, connection, **context)
        least, most = bounds
        numbers = sorted({value for value in given if least <= value <= most})
        if not numbers:
            raise EmptyResultSet
        sql, values = lookup.process_lhs(compiler, connection)
        return f"{sql} = ANY(%s)", [*values, numbers]


@IntegerField.register_lookup
class IntegerIn(_InWhatCanBe, In):
    pass


@ForeignObject.register_lookup
class KeyIn(_InWhatCanBe, RelatedIn):
    pass


@ForeignObject.register_lookup
class KeyExact(RelatedExact):
    def process_rhs(self, compiler: Any, connection: Any) -> Any:
        if self.rhs_is_direct_value() and isinstance(self.rhs, int) and (bounds := _bounds(self, connection)):
            least, most = bounds
            if not least <= self.rhs <= most:
                raise EmptyResultSet
        return super().process_rhs(compiler, connection)
