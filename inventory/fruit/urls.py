from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path

app_name = "fruit"

urlpatterns: list[URLPattern | URLResolver] = [
    path("freezer/", include("inventory.fruit.freezer_urls")),
]
