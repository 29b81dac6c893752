from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path

from club.desk import views

app_name = "desk"

urlpatterns: list[URLPattern | URLResolver] = [
    path("", views.home, name="home"),
    path("make/", views.make, name="make"),
    path("season/", include("club.season.urls")),
]
