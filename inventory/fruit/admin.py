"""The room in the admin: to look at. What is written goes through the services, which know the rules."""

from __future__ import annotations

from django.contrib import admin

from club.core.admin import ReadOnlyAdmin
from inventory.fruit.models import Claim, Offer, Share, SharingRound


@admin.register(Offer)
class OfferAdmin(ReadOnlyAdmin):
    list_display = ("produce", "name", "giver", "units", "container", "use_by", "stage")
    list_filter = ("stage", "produce")
    list_select_related = ("giver",)


@admin.register(Claim)
class ClaimAdmin(ReadOnlyAdmin):
    list_display = ("offer", "person", "asked", "least", "stage", "made_at")
    list_filter = ("stage",)
    list_select_related = ("offer", "person")


@admin.register(Share)
class ShareAdmin(ReadOnlyAdmin):
    list_display = ("offer", "person", "grams", "window", "stage")
    list_filter = ("stage",)
    list_select_related = ("offer", "person", "window")


@admin.register(SharingRound)
class SharingRoundAdmin(ReadOnlyAdmin):
    list_display = ("offer", "number", "at", "by", "supply", "left")
    list_select_related = ("offer", "by")
