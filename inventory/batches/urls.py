from __future__ import annotations

from django.urls import URLPattern

app_name = "batches"

urlpatterns: list[URLPattern] = []
