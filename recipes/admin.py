"""The room in the admin: to look things up. Writing goes through the services only."""

from __future__ import annotations

from django.contrib import admin

from club.core.admin import ReadOnlyAdmin
from recipes.models import ClassedFood, Price, ProcessTable, Recipe, Revision


@admin.register(Recipe)
class RecipeAdmin(ReadOnlyAdmin):
    list_display = ("title", "slug", "kind", "method", "from_library")
    search_fields = ("title", "slug")
    list_filter = ("kind", "method", "from_library")


@admin.register(Revision)
class RevisionAdmin(ReadOnlyAdmin):
    list_display = ("recipe", "number", "state", "withdrawn_for_editing", "author", "reviewer", "published_at")
    list_select_related = ("recipe", "author", "reviewer")
    list_filter = ("state", "from_library")
    search_fields = ("recipe__title", "recipe__slug")


@admin.register(ProcessTable)
class ProcessTableAdmin(ReadOnlyAdmin):
    list_display = ("food", "variant", "method", "is_held_back")
    search_fields = ("food", "variant")
    list_filter = ("method", "is_held_back")


@admin.register(Price)
class PriceAdmin(ReadOnlyAdmin):
    list_display = ("item", "package", "cents", "by", "at")
    list_select_related = ("by",)
    search_fields = ("item",)


@admin.register(ClassedFood)
class ClassedFoodAdmin(ReadOnlyAdmin):
    list_display = ("words", "kind", "source", "by", "at")
    list_select_related = ("by",)
    list_filter = ("kind",)
    search_fields = ("words",)
