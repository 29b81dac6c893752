from __future__ import annotations

from django.urls import URLPattern

app_name = "fruit"

urlpatterns: list[URLPattern] = []
