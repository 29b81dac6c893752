"""The batch room in the admin: to look at. What is written goes through the services, which know the rules."""

from __future__ import annotations

from django.contrib import admin

from club.core.admin import ReadOnlyAdmin
from inventory.batches.models import (
    Batch,
    ContainerUse,
    Jar,
    JarClaim,
    JarOffer,
    Recall,
    RecallAnswer,
    SealCheck,
    SignedLog,
)


@admin.register(Batch)
class BatchAdmin(ReadOnlyAdmin):
    list_display = ("lot_code", "revision", "kitchen", "made_by", "state", "started_at", "jars_out_at")
    list_filter = ("state",)
    list_select_related = ("revision__recipe", "kitchen", "made_by")
    search_fields = ("lot_code", "revision__recipe__title")


@admin.register(Jar)
class JarAdmin(ReadOnlyAdmin):
    list_display = ("batch", "number", "size", "seal", "disposal", "place", "lid_lot")
    list_filter = ("seal", "disposal")
    list_select_related = ("batch", "place", "lid_lot")


@admin.register(SealCheck)
class SealCheckAdmin(ReadOnlyAdmin):
    list_display = ("batch", "checked_at", "checked_by", "was_early", "sealed", "unsealed", "broken")
    list_select_related = ("batch", "checked_by")


@admin.register(Recall)
class RecallAdmin(ReadOnlyAdmin):
    list_display = ("kind", "subject_words", "opened_at", "opened_by", "closed_at", "is_cleared")
    list_filter = ("kind", "is_cleared")
    list_select_related = ("revision__recipe", "lid_lot", "batch__revision__recipe", "opened_by")


@admin.register(RecallAnswer)
class RecallAnswerAdmin(ReadOnlyAdmin):
    list_display = ("recall", "batch", "person", "outcome", "jars", "answered_at")
    list_select_related = ("recall__revision__recipe", "recall__lid_lot", "recall__batch", "batch", "person")


@admin.register(JarOffer)
class JarOfferAdmin(ReadOnlyAdmin):
    list_display = ("batch", "size", "giver", "state", "created_at")
    list_filter = ("state",)
    list_select_related = ("batch", "giver")


@admin.register(JarClaim)
class JarClaimAdmin(ReadOnlyAdmin):
    list_display = ("offer", "person", "count", "state", "asked_at")
    list_filter = ("state",)
    list_select_related = ("offer", "person")


@admin.register(SignedLog)
class SignedLogAdmin(ReadOnlyAdmin):
    list_display = ("batch", "number", "signed_by", "signed_at", "reason", "finding")
    list_select_related = ("batch", "signed_by")


@admin.register(ContainerUse)
class ContainerUseAdmin(ReadOnlyAdmin):
    list_display = ("jar", "what", "at", "by")
    list_select_related = ("jar", "by")
