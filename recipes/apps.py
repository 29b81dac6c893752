from __future__ import annotations

from django.apps import AppConfig


class RecipesConfig(AppConfig):
    name = "recipes"
    label = "recipes"
