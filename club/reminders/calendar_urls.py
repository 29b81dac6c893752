from __future__ import annotations

from django.urls import path

from club.reminders import views

app_name = "calendar"

urlpatterns = [
    path("", views.mine, name="mine"),
    path("renew/", views.renew, name="renew"),
    path("close/", views.close, name="close"),
    path("feed/<slug:token>.ics", views.feed, name="feed"),
    path("class/<int:pk>.ics", views.session, name="session"),
]
