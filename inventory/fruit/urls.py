from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path

from inventory.fruit import views

app_name = "fruit"

freezer_patterns = [
    path("", views.freezer, name="freezer"),
    path("add/", views.freezer_add, name="freezer-add"),
    path("<int:pk>/", views.freezer_item, name="freezer-item"),
    path("<int:pk>/take/", views.freezer_take, name="freezer-take"),
    path("<int:pk>/change/", views.freezer_change, name="freezer-change"),
]

urlpatterns: list[URLPattern | URLResolver] = [
    path("freezer/", include(freezer_patterns)),
    path("", views.offer_list, name="list"),
    path("new/", views.new, name="new"),
    path("mine/", views.mine, name="mine"),
    path("season/", views.season, name="season"),
    path("offers/<int:pk>/", views.offer_page, name="offer"),
    path("offers/<int:pk>/claim/", views.claim, name="claim"),
    path("offers/<int:pk>/change/", views.change, name="change"),
    path("offers/<int:pk>/keep/", views.keep_back, name="keep-back"),
    path("offers/<int:pk>/take-back/", views.take_back, name="take-back"),
    path("offers/<int:pk>/photo/", views.photo, name="photo"),
    path("offers/<int:pk>/photo/change/", views.photo_change, name="photo-change"),
    path("offers/<int:pk>/share-out/", views.share_out, name="share-out"),
    path("offers/<int:pk>/share-again/", views.share_again, name="share-again"),
    path("offers/<int:pk>/result/", views.result, name="result"),
    path("claims/<int:pk>/withdraw/", views.withdraw, name="claim-withdraw"),
    path("shares/<int:pk>/note/", views.note, name="share-note"),
]
