from __future__ import annotations

from django.contrib import admin
from django.urls import include, path

from club.reminders import views as reminders_views
from club.reminders.urls import calendar_patterns
from club.run import metrics
from inventory.batches.views import stove

handler500 = "club.core.faults.page_of_error"

urlpatterns = [
    path("", include("club.desk.urls")),
    path("people/", include("club.members.urls")),
    path("recipes/", include("recipes.urls")),
    path("batches/", include("inventory.batches.urls")),
    # At the root, as what a browser keeps for the kitchen has pages of several rooms in it.
    path("kitchen-worker.js", stove.worker, name="kitchen-worker"),
    path("kitchen.webmanifest", stove.manifest, name="kitchen-manifest"),
    path("kitchen-icon-<slug:name>.png", stove.icon, name="kitchen-icon"),
    path("equipment/", include("inventory.equipment.urls")),
    path("jars/", include("inventory.jars.urls")),
    path("fruit/", include("inventory.fruit.urls")),
    path("classes/", include("club.classes.urls")),
    path("calendar/", include(calendar_patterns)),
    path("reminders/", include("club.reminders.urls")),
    path("healthz", reminders_views.health, name="healthz"),
    path("healthz/live", reminders_views.live, name="healthz-live"),
    path("healthz/ready", reminders_views.ready, name="healthz-ready"),
    path("metrics", metrics.page, name="metrics"),
    path("accounts/", include("allauth.urls")),
    path("admin/", admin.site.urls),
]
