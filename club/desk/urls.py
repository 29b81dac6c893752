from __future__ import annotations

from django.urls import path

from club.desk import making_views, views

app_name = "desk"

urlpatterns = [
    path("", views.home, name="home"),
    path("make/", making_views.make, name="make"),
]
