from __future__ import annotations

from django.contrib import admin

from inventory.jars.models import LidLot


@admin.register(LidLot)
class LidLotAdmin(admin.ModelAdmin):
    list_display = ("code", "maker", "bought_on", "created_at")
    search_fields = ("code", "code_key", "maker")
