from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path

from inventory.fruit.views import claims, offers, running, shares

app_name = "fruit"

urlpatterns: list[URLPattern | URLResolver] = [
    path("freezer/", include("inventory.fruit.freezer_urls")),
    path("", offers.offer_list, name="list"),
    path("new/", offers.new, name="new"),
    path("mine/", claims.mine, name="mine"),
    path("season/", shares.season, name="season"),
    path("offers/<int:pk>/", offers.offer_page, name="offer"),
    path("offers/<int:pk>/claim/", claims.claim, name="claim"),
    path("offers/<int:pk>/change/", running.change, name="change"),
    path("offers/<int:pk>/keep/", running.keep_back, name="keep-back"),
    path("offers/<int:pk>/take-back/", running.take_back, name="take-back"),
    path("offers/<int:pk>/photo/", offers.photo, name="photo"),
    path("offers/<int:pk>/photo/change/", running.photo_change, name="photo-change"),
    path("offers/<int:pk>/share-out/", shares.share_out, name="share-out"),
    path("offers/<int:pk>/share-again/", shares.share_again, name="share-again"),
    path("offers/<int:pk>/result/", shares.result, name="result"),
    path("claims/<int:pk>/withdraw/", claims.withdraw, name="claim-withdraw"),
    path("shares/<int:pk>/note/", shares.note, name="share-note"),
]
