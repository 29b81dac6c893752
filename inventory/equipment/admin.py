"""The room in the admin: to look at. What is written goes through the services, which know the rules."""

from __future__ import annotations

from django.contrib import admin

from club.core.admin import ReadOnlyAdmin
from inventory.equipment.models import ConditionNote, Hold, InstrumentTest, Loan, Thing, WaitingEntry


@admin.register(Thing)
class ThingAdmin(ReadOnlyAdmin):
    list_display = ("code", "name", "kind", "state", "home", "place")
    list_filter = ("kind", "state")
    list_select_related = ("home",)
    search_fields = ("code", "name")


@admin.register(Hold)
class HoldAdmin(ReadOnlyAdmin):
    list_display = ("thing", "person", "purpose", "starts", "ends", "state")
    list_filter = ("state",)
    list_select_related = ("thing", "person")


@admin.register(Loan)
class LoanAdmin(ReadOnlyAdmin):
    list_display = ("thing", "person", "handed_over_at", "due_on", "returned_at", "condition_in")
    list_select_related = ("thing", "person")
    search_fields = ("thing__code", "person__name", "person__email")


@admin.register(InstrumentTest)
class InstrumentTestAdmin(ReadOnlyAdmin):
    list_display = ("thing", "tested_on", "verdict", "lapses_on", "recorded_by")
    list_filter = ("verdict",)
    list_select_related = ("thing", "recorded_by")


@admin.register(ConditionNote)
class ConditionNoteAdmin(ReadOnlyAdmin):
    list_display = ("thing", "at", "occasion", "condition", "by", "note")
    list_select_related = ("thing", "by")


@admin.register(WaitingEntry)
class WaitingEntryAdmin(ReadOnlyAdmin):
    list_display = ("kind", "person", "days", "not_before", "not_after", "state", "offer_until")
    list_filter = ("state", "kind")
    list_select_related = ("person",)
