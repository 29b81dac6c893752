from __future__ import annotations

from django.urls import path

from club.desk import views
from club.season import views as season_views

app_name = "desk"

urlpatterns = [
    path("", views.home, name="home"),
    path("make/", views.make, name="make"),
    path("season/", season_views.mine, name="season-mine"),
    path("season/club/", season_views.club, name="season-club"),
    path("season/<int:pk>/", season_views.season, name="season"),
    path("season/<int:pk>/wish/", season_views.wish, name="season-wish"),
    path("season/<int:pk>/settings/", season_views.settings, name="season-settings"),
    path("season/<int:pk>/used/", season_views.used, name="season-used"),
    path("season/wishes/<int:pk>/learn/", season_views.wish_learn, name="season-learn"),
    path("season/wishes/<int:pk>/drop/", season_views.wish_drop, name="season-drop"),
]
