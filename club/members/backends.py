"""Who may do what: a person's permissions and roles, read with one statement instead of three."""

from __future__ import annotations

from functools import cache
from typing import Any

from allauth.account.auth_backends import AuthenticationBackend
from django.contrib.auth.models import Group, Permission
from django.db import connection
from django.db.models import CharField, Model, Value
from django.db.models.functions import Cast

from club.members.models import User

NOBODY = -1


class OneQueryBackend(AuthenticationBackend):  # type: ignore[misc]
    """allauth's, but for what a page asks of its reader: read anew for each request, kept on its own user alone."""

    def get_all_permissions(self, user_obj: Any, obj: Model | None = None) -> set[str]:
        if not user_obj.is_active or user_obj.is_anonymous or obj is not None:
            return set()
        if user_obj.is_superuser:
            return super().get_all_permissions(user_obj)  # type: ignore[no-any-return]
        if "_perm_cache" not in user_obj.__dict__:
            permissions, roles = permissions_and_roles(user_obj)
            user_obj._perm_cache = permissions
            user_obj.__dict__.setdefault("role_names", roles)
        kept: set[str] = user_obj._perm_cache
        return kept


def permissions_and_roles(person: User) -> tuple[set[str], frozenset[str]]:
    """The permissions that are theirs or their roles', as "app.codename", and the names of their roles."""
    sql, whose = _permissions_and_roles_sql(connection.vendor)
    with connection.cursor() as cursor:
        cursor.execute(sql, [person.pk if value is None else value for value in whose])
        rows = cursor.fetchall()
    return {f"{app}.{name}" for app, name in rows if app}, frozenset(name for app, name in rows if not app)


@cache
def _permissions_and_roles_sql(vendor: str) -> tuple[str, tuple[Any, ...]]:
    """The statement and its values, None where the person's number stands; put together once for each kind of
    database, for that takes Django longer than the database needs to answer.
    """
    asked = ("content_type__app_label", "codename")
    own = Permission.objects.filter(user=NOBODY).order_by().values_list(*asked)
    by_role = Permission.objects.filter(group__user=NOBODY).order_by().values_list(*asked)
    roles = Group.objects.filter(user=NOBODY).order_by().values_list(Cast(Value(""), CharField()), "name")
    sql, values = own.union(by_role, roles).query.sql_with_params()
    return sql, tuple(None if value == NOBODY else value for value in values)
