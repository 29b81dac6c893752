from __future__ import annotations

from django.urls import URLPattern, path

from club.classes.views import by_mail, seats

app_name = "classes"

urlpatterns: list[URLPattern] = [
    path("", seats.session_list, name="list"),
    path("mine/", seats.mine, name="mine"),
    path("seat/<str:token>/", by_mail.by_mail, name="by-mail"),
    path("sign-ups/<int:pk>/", seats.notes, name="notes"),
    path("sign-ups/<int:pk>/answer/", seats.answer, name="answer"),
    path("<int:pk>/", seats.session_page, name="session"),
    path("<int:pk>/sign-up/", seats.sign_up, name="sign-up"),
]
