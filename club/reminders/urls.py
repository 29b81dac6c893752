from __future__ import annotations

from django.urls import path

from club.reminders import health_views, views

app_name = "reminders"

urlpatterns = [
    path("", views.dead, name="dead"),
    path("health/", health_views.page, name="health"),
    path("<int:pk>/resend/", views.resend, name="resend"),
]
