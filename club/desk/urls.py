from __future__ import annotations

from django.urls import path

from club.desk import views

app_name = "desk"

urlpatterns = [path("", views.home, name="home")]
