from __future__ import annotations

from django.urls import path

from club.reminders import views

app_name = "reminders"

calendar_patterns = (
    [
        path("", views.mine, name="mine"),
        path("renew/", views.renew, name="renew"),
        path("close/", views.close, name="close"),
        path("feed/<slug:token>.ics", views.feed, name="feed"),
        path("class/<int:pk>.ics", views.session, name="session"),
    ],
    "calendar",
)

urlpatterns = [
    path("", views.dead, name="dead"),
    path("health/", views.page, name="health"),
    path("audit/", views.audit, name="audit"),
    path("<int:pk>/resend/", views.resend, name="resend"),
    path("wishes/", views.notification_settings, name="notification-settings"),
    path("wishes/mailbox-works/", views.mailbox_works, name="mailbox-works"),
    path("phones/add/", views.push_add, name="push-add"),
    path("phones/<int:pk>/drop/", views.push_drop, name="push-drop"),
    path("inbox/", views.inbox, name="inbox"),
    path("inbox/read/", views.read_all, name="read-all"),
    path("inbox/<int:pk>/open/", views.open_one, name="open"),
    path("stop/<str:token>/", views.stop, name="stop"),
]
