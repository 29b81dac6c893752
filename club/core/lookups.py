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


def _can_be(value: object, lookup: Any, connection: Any) -> bool:
    """Whether the column that this is compared with could hold the value."""
    field = lookup.lhs.output_field
    while isinstance(field, ForeignKey):
        field = field.target_field
    if not isinstance(value, int) or not isinstance(field, IntegerField):
        return True
    least, most = connection.ops.integer_field_range(field.get_internal_type())
    return bool(least <= value <= most)


class _InWhatCanBe:
    def process_rhs(self, compiler: Any, connection: Any) -> Any:
        lookup: Any = self
        if lookup.rhs_is_direct_value():
            lookup.rhs = [value for value in lookup.rhs if _can_be(value, lookup, connection)]
        return super().process_rhs(compiler, connection)  # type: ignore[misc]


@IntegerField.register_lookup
class IntegerIn(_InWhatCanBe, In):
    pass


@ForeignObject.register_lookup
class KeyIn(_InWhatCanBe, RelatedIn):
    pass


@ForeignObject.register_lookup
class KeyExact(RelatedExact):
    def process_rhs(self, compiler: Any, connection: Any) -> Any:
        if self.rhs_is_direct_value() and not _can_be(self.rhs, self, connection):
            raise EmptyResultSet
        return super().process_rhs(compiler, connection)
