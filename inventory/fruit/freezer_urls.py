"""Addresses of the freezer, below /fruit/freezer/ and in the room's own namespace."""

from __future__ import annotations

from django.urls import path

from inventory.fruit.views import freezer

urlpatterns = [
    path("", freezer.freezer, name="freezer"),
    path("add/", freezer.freezer_add, name="freezer-add"),
    path("<int:pk>/", freezer.freezer_item, name="freezer-item"),
    path("<int:pk>/take/", freezer.freezer_take, name="freezer-take"),
    path("<int:pk>/change/", freezer.freezer_change, name="freezer-change"),
]
