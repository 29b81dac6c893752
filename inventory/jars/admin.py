"""The jar room in the admin: to look at. What is written goes through the services, which know the rules."""

from __future__ import annotations

from django.contrib import admin

from club.core.admin import ReadOnlyAdmin
from inventory.jars.models import (
    Balance,
    ClubOrder,
    Deposit,
    KitchenStock,
    LidLot,
    LidMovement,
    LidStock,
    Movement,
    OrderPayment,
    Place,
    Supply,
    SupplyLot,
)


@admin.register(LidLot)
class LidLotAdmin(admin.ModelAdmin):
    list_display = ("code", "maker", "bought_on", "created_at")
    search_fields = ("code", "code_key", "maker")
    actions = None  # a lot is deleted by itself; where a row is made up, Django's own action answers with 500


class LedgerReadOnlyAdmin(ReadOnlyAdmin):
    show_full_result_count = False  # a ledger of a million is not counted for a heading


@admin.register(Place)
class PlaceAdmin(LedgerReadOnlyAdmin):
    list_display = ("kind", "kitchen", "person")
    list_select_related = ("kitchen", "person")


@admin.register(Balance)
class BalanceAdmin(LedgerReadOnlyAdmin):
    list_display = ("place", "size", "state", "batch", "count")
    list_select_related = ("place__kitchen", "place__person", "batch")


@admin.register(Movement)
class MovementAdmin(LedgerReadOnlyAdmin):
    list_display = ("at", "reason", "count", "size", "source", "target", "by")
    list_select_related = ("source__kitchen", "source__person", "target__kitchen", "target__person", "by")


@admin.register(LidMovement)
class LidMovementAdmin(LedgerReadOnlyAdmin):
    list_display = ("at", "lot", "count", "reason", "by")
    list_select_related = ("lot", "by")


@admin.register(ClubOrder)
class ClubOrderAdmin(LedgerReadOnlyAdmin):
    list_display = ("title", "state", "closes_at", "opened_by")
    list_select_related = ("opened_by",)


@admin.register(OrderPayment)
class OrderPaymentAdmin(LedgerReadOnlyAdmin):
    list_display = ("at", "order", "member", "cents", "by")
    list_select_related = ("order", "member", "by")


admin.site.register([KitchenStock, LidStock, Deposit, Supply, SupplyLot], ReadOnlyAdmin)
