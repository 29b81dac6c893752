"""The classes in the admin: to look at. What is written goes through the services, which know the rules.

Sign-ups are not here: their notes on allergies and access are for the session's instructors alone.
"""

from __future__ import annotations

from django.contrib import admin

from club.classes.models import ClassSession, SessionGear, SetAside, Station
from club.core.admin import ReadOnlyAdmin


@admin.register(ClassSession)
class ClassSessionAdmin(ReadOnlyAdmin):
    list_display = ("title", "day", "hall", "state", "seats_taken", "seats_total", "sequence")
    list_filter = ("state",)
    list_select_related = ("hall",)
    search_fields = ("title",)


@admin.register(Station)
class StationAdmin(ReadOnlyAdmin):
    list_display = ("session", "number", "name", "revision", "pots", "seats")
    list_select_related = ("session", "revision__recipe")


@admin.register(SessionGear)
class SessionGearAdmin(ReadOnlyAdmin):
    list_display = ("session", "kind", "hold")
    list_select_related = ("session", "hold")


@admin.register(SetAside)
class SetAsideAdmin(ReadOnlyAdmin):
    list_display = ("session", "what", "key", "quantity", "place")
    list_select_related = ("session", "place__kitchen", "place__person")
