from __future__ import annotations

from django.urls import path

from club.reminders import views

app_name = "reminders"

urlpatterns = [
    path("", views.dead, name="dead"),
    path("<int:pk>/resend/", views.resend, name="resend"),
]
