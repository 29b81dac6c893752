from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path

from club.desk import street, views

app_name = "desk"

urlpatterns: list[URLPattern | URLResolver] = [
    path("", views.home, name="home"),
    path("find/", views.find, name="find"),
    path("camera/", views.camera, name="camera"),
    path("make/", views.make, name="make"),
    path("pantry/", views.pantry, name="pantry"),
    path("sharing/", views.sharing, name="sharing"),
    path("privacy/", views.privacy, name="privacy"),
    path("privacy/change/", views.privacy_change, name="privacy-change"),
    path("mine/", views.my_data, name="my-data"),
    path("leave/", views.leave, name="leave"),
    path("leave/<int:pk>/", views.leave_of, name="leave-of"),
    path("welcome/", street.welcome, name="street"),
    path("welcome/recipes/", street.recipes, name="street-recipes"),
    path("welcome/recipes/<slug:slug>/", street.recipe, name="street-recipe"),
    path("welcome/classes/<int:pk>/", street.session, name="street-class"),
    path("robots.txt", street.robots, name="robots"),
    path("sitemap.xml", street.sitemap, name="sitemap"),
    path("season/", include("club.season.urls")),
]
