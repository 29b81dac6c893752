from __future__ import annotations

from django.urls import URLPattern, path

from club.members import views as members_views

app_name = "members"

urlpatterns: list[URLPattern] = [
    path("", members_views.people, name="people"),
    path("me/", members_views.me, name="me"),
    path("me/sign-out-everywhere/", members_views.sign_out_everywhere, name="sign-out-everywhere"),
    path("me/ledger/", members_views.my_ledger, name="my-ledger"),
    path("ledger/", members_views.ledger, name="ledger"),
    path("me/labels/", members_views.my_labels, name="my-labels"),
    path("me/labels/choose/", members_views.my_labels_choose, name="my-labels-choose"),
    path("me/labels/test.pdf", members_views.my_labels_test, name="my-labels-test"),
    path("me/browsers/", members_views.browser_sessions, name="browser-sessions"),
    path("me/browsers/end-others/", members_views.browser_sessions_end_others, name="browser-sessions-end-others"),
    path("me/browsers/<int:pk>/end/", members_views.browser_session_end, name="browser-session-end"),
    path("find/", members_views.find, name="find"),
    path("address/<str:token>/", members_views.address_agree, name="address-agree"),
    path("import/", members_views.import_people, name="import"),
    path("door/", members_views.street, name="street"),
    path("join/", members_views.join, name="join"),
    path("joins/", members_views.joins, name="joins"),
    path("joins/<int:pk>/answer/", members_views.join_answer, name="join-answer"),
    path("invite/", members_views.invite, name="invite"),
    path("invitation/<str:token>/", members_views.invitation, name="invitation"),
    path("invitations/<int:pk>/send-again/", members_views.send_again, name="invitation-send-again"),
    path("invitations/<int:pk>/withdraw/", members_views.withdraw, name="invitation-withdraw"),
    path("kitchens/add/", members_views.add, name="kitchen-add"),
    path("kitchens/<int:pk>/", members_views.change, name="kitchen-change"),
    path("kitchens/<int:pk>/people/add/", members_views.person_add, name="kitchen-person-add"),
    path("kitchens/<int:pk>/people/<int:person_pk>/remove/", members_views.person_remove, name="kitchen-person-remove"),
    path("kitchens/<int:pk>/people/<int:person_pk>/keeps/", members_views.hand_on, name="kitchen-hand-on"),
    path("kitchens/<int:pk>/leave/", members_views.leave, name="kitchen-leave"),
    path("kitchens/<int:pk>/choose/", members_views.choose, name="kitchen-choose"),
    path("kitchens/invitations/<int:pk>/answer/", members_views.invitation_answer, name="kitchen-invitation-answer"),
    path(
        "kitchens/invitations/<int:pk>/withdraw/", members_views.invitation_withdraw, name="kitchen-invitation-withdraw"
    ),
    path("skills/", members_views.skills, name="skills"),
    path("skills/<int:pk>/withdraw/", members_views.skill_withdraw, name="skill-withdraw"),
    path("<int:pk>/", members_views.person, name="person"),
    path("<int:pk>/name/", members_views.rename, name="person-rename"),
    path("<int:pk>/addresses/<int:consent_pk>/agree/", members_views.address_agree_for, name="address-agree-for"),
    path("<int:pk>/lift-factors/", members_views.lift_factors, name="person-lift-factors"),
    path("<int:pk>/start-again/", members_views.start_again, name="person-start-again"),
]
