"""The admin site looks; the services write. Only what no service of ours covers can be changed here."""

from __future__ import annotations

from importlib import import_module

from allauth.account.decorators import secure_admin_login
from django.contrib import admin
from django.contrib.auth.models import Group
from django.db import transaction
from django.db.models import Model
from django.forms import ModelForm
from django.http import HttpRequest

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
