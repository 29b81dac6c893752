"""The admin site looks; the services write. Only what no service of ours covers can be changed here."""

from __future__ import annotations

from importlib import import_module
from typing import Any

from allauth.account.decorators import reauthentication_required, secure_admin_login
from allauth.account.models import EmailAddress
from allauth.mfa.models import Authenticator
from django.contrib import admin
from django.contrib.auth.models import Group
from django.db import transaction
from django.db.models import Model
from django.forms import ModelForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.decorators import method_decorator

from club.core.admin import ReadOnlyAdmin
from club.core.http import signed_in
from club.members import services
from club.members.choices import EventKind
from club.members.models import Invitation, Kitchen, User

# Through allauth's sign-in, so that its rate limits hold here too.
admin.site.login = secure_admin_login(admin.site.login)  # type: ignore[method-assign]


# Roles are groups that services.roles_install alone fills: one deleted here would take a role from everybody at once.
import_module("django.contrib.auth.admin")  # it registers them, and comes after this room by itself
admin.site.unregister(Group)

# Whose an address is, and what signs somebody in, is changed by that person, who is told of it; nobody reads the keys.
for module in ("allauth.account.admin", "allauth.mfa.admin"):
    import_module(module)
admin.site.unregister([EmailAddress, Authenticator])


def password_change(request: HttpRequest, extra_context: dict[str, Any] | None = None) -> HttpResponse:
    """The club's own page for it asks, limits and tells."""
    return redirect("account_change_password")


admin.site.password_change = password_change  # type: ignore[method-assign, assignment]


@admin.register(User)
class UserAdmin(admin.ModelAdmin):
    """People join by invitation, and roles are given on the people page; who may use this site is set here."""

    list_display = ["email", "name", "is_active", "is_staff", "joined_at"]
    search_fields = ["email", "name"]
    fields = ["email", "name", "units", "is_active", "is_staff", "last_login", "joined_at"]
    readonly_fields = ["email", "name", "units", "is_active", "last_login", "joined_at"]

    def save_model(self, request: HttpRequest, obj: User, form: ModelForm, change: bool) -> None:
        with transaction.atomic():
            super().save_model(request, obj, form, change)
            for name in form.changed_data:
                services.person_event(
                    EventKind.ADMIN_CHANGED,
                    by=signed_in(request),
                    person=obj,
                    reference=f"{name}: {form.cleaned_data[name]}",
                )

    @method_decorator(reauthentication_required(allow_get=True))
    def change_view(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        return super().change_view(request, *args, **kwargs)

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return False


@admin.register(Kitchen)
class KitchenAdmin(ReadOnlyAdmin):
    list_display = ["name", "is_hall", "altitude_m", "altitude_how"]
    search_fields = ["name"]


@admin.register(Invitation)
class InvitationAdmin(ReadOnlyAdmin):
    list_display = ["email", "role", "invited_by", "created_at", "expires_at", "accepted_at", "withdrawn_at"]
    search_fields = ["email"]
    exclude = ["nonce"]
