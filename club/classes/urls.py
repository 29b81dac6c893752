from __future__ import annotations

from django.urls import URLPattern, path

from club.classes.views import day, planning, seats

app_name = "classes"

urlpatterns: list[URLPattern] = [
    path("", seats.session_list, name="list"),
    path("mine/", seats.mine, name="mine"),
    path("seat/<str:token>/", seats.by_mail, name="by-mail"),
    path("sign-ups/<int:pk>/", seats.notes, name="notes"),
    path("sign-ups/<int:pk>/answer/", seats.answer, name="answer"),
    path("<int:pk>/", seats.session_page, name="session"),
    path("<int:pk>/sign-up/", seats.sign_up, name="sign-up"),
    # On the day
    path("<int:pk>/day/", day.day, name="day"),
    path("<int:pk>/day/walk-in/", day.walk_in, name="day-walk-in"),
    path("<int:pk>/day/<int:signup_pk>/call/", day.call, name="day-call"),
    path("<int:pk>/day/<int:signup_pk>/companion/", day.companion, name="day-companion"),
    path("<int:pk>/day/<int:signup_pk>/free/", day.free_seat, name="day-free-seat"),
    path("<int:pk>/day/<int:signup_pk>/sit/", day.sit, name="day-sit"),
    path("<int:pk>/day/<int:signup_pk>/jars/", day.taker, name="day-taker"),
    path("<int:pk>/day/stations/", day.stations, name="day-stations"),
    path("<int:pk>/day/board/", day.board, name="day-board"),
    path("<int:pk>/day/stations/seat-all/", day.sit_all, name="day-sit-all"),
    path("<int:pk>/day/stations/start/", day.start, name="day-start"),
    path("<int:pk>/day/stations/<int:station_pk>/again/", day.start_again, name="day-start-again"),
    path("<int:pk>/day/stations/<int:station_pk>/load/<int:number>/", day.load, name="day-load"),
    # Afterwards
    path("<int:pk>/after/", day.after, name="after"),
    path("<int:pk>/after/photos/", day.photo_add, name="photo-add"),
    path("<int:pk>/after/photos/<int:photo_pk>/remove/", day.photo_remove, name="photo-remove"),
    path("photos/<int:pk>/", day.photo, name="photo"),
    path("handouts/<int:pk>/", day.handout, name="handout"),
    path("handouts/<int:pk>/paper/", day.handout_paper, name="handout-paper"),
    # Planning and gear
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
    path("<int:pk>/gear/", planning.gear, name="gear"),
    path("<int:pk>/gear/gather/", planning.gather, name="gear-gather"),
    path("<int:pk>/gear/release/", planning.release, name="gear-release"),
]
