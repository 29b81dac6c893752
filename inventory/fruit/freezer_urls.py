"""Addresses of the freezer, below /fruit/freezer/ and in the room's own namespace."""

from __future__ import annotations

from django.urls import path

from inventory.fruit import views as fruit_views

urlpatterns = [
    path("", fruit_views.freezer, name="freezer"),
    path("add/", fruit_views.freezer_add, name="freezer-add"),
    path("<int:pk>/", fruit_views.freezer_item, name="freezer-item"),
    path("<int:pk>/take/", fruit_views.freezer_take, name="freezer-take"),
    path("<int:pk>/change/", fruit_views.freezer_change, name="freezer-change"),
]
