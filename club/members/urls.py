from __future__ import annotations

from django.urls import URLPattern, path

from club.members.views import account, invitations, kitchens, people, skills

app_name = "members"

urlpatterns: list[URLPattern] = [
    path("", people.people, name="people"),
    path("me/", account.me, name="me"),
    path("me/sign-out-everywhere/", account.sign_out_everywhere, name="sign-out-everywhere"),
    path("invite/", people.invite, name="invite"),
    path("invitation/<str:token>/", invitations.invitation, name="invitation"),
    path("invitations/<int:pk>/send-again/", invitations.send_again, name="invitation-send-again"),
    path("invitations/<int:pk>/withdraw/", invitations.withdraw, name="invitation-withdraw"),
    path("kitchens/add/", kitchens.add, name="kitchen-add"),
    path("kitchens/<int:pk>/", kitchens.change, name="kitchen-change"),
    path("kitchens/<int:pk>/people/add/", kitchens.person_add, name="kitchen-person-add"),
    path("kitchens/<int:pk>/people/<int:person_pk>/remove/", kitchens.person_remove, name="kitchen-person-remove"),
    path("kitchens/<int:pk>/choose/", kitchens.choose, name="kitchen-choose"),
    path("kitchens/invitations/<int:pk>/answer/", kitchens.invitation_answer, name="kitchen-invitation-answer"),
    path("kitchens/invitations/<int:pk>/withdraw/", kitchens.invitation_withdraw, name="kitchen-invitation-withdraw"),
    path("skills/", skills.skills, name="skills"),
    path("skills/<int:pk>/withdraw/", skills.withdraw, name="skill-withdraw"),
    path("<int:pk>/", people.person, name="person"),
    path("<int:pk>/end/", people.end, name="person-end"),
    path("<int:pk>/start-again/", people.start_again, name="person-start-again"),
]
