from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path

from inventory.fruit import views as fruit_views

app_name = "fruit"

urlpatterns: list[URLPattern | URLResolver] = [
    path("freezer/", include("inventory.fruit.freezer_urls")),
    path("", fruit_views.offer_list, name="list"),
    path("new/", fruit_views.new, name="new"),
    path("mine/", fruit_views.mine, name="mine"),
    path("season/", fruit_views.season, name="season"),
    path("offers/<int:pk>/", fruit_views.offer_page, name="offer"),
    path("offers/<int:pk>/claim/", fruit_views.claim, name="claim"),
    path("offers/<int:pk>/change/", fruit_views.change, name="change"),
    path("offers/<int:pk>/keep/", fruit_views.keep_back, name="keep-back"),
    path("offers/<int:pk>/take-back/", fruit_views.take_back, name="take-back"),
    path("offers/<int:pk>/photo/", fruit_views.photo, name="photo"),
    path("offers/<int:pk>/photo/change/", fruit_views.photo_change, name="photo-change"),
    path("offers/<int:pk>/share-out/", fruit_views.share_out, name="share-out"),
    path("offers/<int:pk>/share-again/", fruit_views.share_again, name="share-again"),
    path("offers/<int:pk>/result/", fruit_views.result, name="result"),
    path("claims/<int:pk>/withdraw/", fruit_views.withdraw, name="claim-withdraw"),
    path("shares/<int:pk>/note/", fruit_views.note, name="share-note"),
]
