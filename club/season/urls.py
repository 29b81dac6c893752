"""Addresses of the season, below /season/ and in the desk's namespace, where pages have always named them."""

from __future__ import annotations

from django.urls import path

from club.season import views

urlpatterns = [
    path("", views.mine, name="season-mine"),
    path("club/", views.club, name="season-club"),
    path("harvest/", views.harvest, name="harvest"),
    path("harvest/weeks/", views.harvest_weeks, name="harvest-weeks"),
    path("<int:pk>/", views.season, name="season"),
    path("<int:pk>/wish/", views.target, name="season-target"),
    path("<int:pk>/settings/", views.settings, name="season-settings"),
    path("<int:pk>/used/", views.used, name="season-used"),
    path("wishes/<int:pk>/learn/", views.target_learn, name="season-learn"),
    path("wishes/<int:pk>/drop/", views.target_remove, name="season-drop"),
]
