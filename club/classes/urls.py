from __future__ import annotations

from django.urls import path

from club.classes.views import gear, planning

app_name = "classes"

urlpatterns = [
    path("new/", planning.new, name="new"),
    path("<int:pk>/plan/", planning.plan, name="plan"),
    path("<int:pk>/change/", planning.change, name="change"),
    path("<int:pk>/move/", planning.move, name="move"),
    path("<int:pk>/call-off/", planning.call_off, name="call-off"),
    path("<int:pk>/publish/", planning.publish, name="publish"),
    path("<int:pk>/stations/add/", planning.station_add, name="station-add"),
    path("<int:pk>/stations/copy/<int:source>/", planning.stations_copy, name="stations-copy"),
    path("<int:pk>/stations/<int:number>/", planning.station_change, name="station-change"),
    path("<int:pk>/stations/<int:number>/remove/", planning.station_remove, name="station-remove"),
    path("<int:pk>/wall-sheet/", planning.wall_sheet, name="wall-sheet"),
    path("<int:pk>/gear/", gear.gear, name="gear"),
    path("<int:pk>/gear/gather/", gear.gather, name="gear-gather"),
    path("<int:pk>/gear/release/", gear.release, name="gear-release"),
]
