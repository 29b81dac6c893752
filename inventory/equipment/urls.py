from __future__ import annotations

app_name = "equipment"
urlpatterns: list[object] = []
