from __future__ import annotations

from django.urls import path

from inventory.equipment.views import lending, own, things

app_name = "equipment"

urlpatterns = [
    path("", things.thing_list, name="list"),
    path("add/", things.add, name="add"),
    path("counter/", lending.counter, name="counter"),
    path("overdue/", lending.overdue, name="overdue"),
    path("mine/", lending.mine, name="mine"),
    path("tests/", things.tests_due, name="tests"),
    path("repairs/", things.repairs, name="repairs"),
    path("own/", own.own_canners, name="own-canners"),
    path("own/<slug:code>/", own.own_canner, name="own-canner"),
    path("own/<slug:code>/test/", own.own_canner_test, name="own-canner-test"),
    path("own/<slug:code>/parts/", own.own_canner_parts, name="own-canner-parts"),
    path("own/<slug:code>/put-aside/", own.own_canner_put_aside, name="own-canner-put-aside"),
    path("kinds/<slug:kind>/", lending.kind_page, name="kind"),
    path("kinds/<slug:kind>/hold/", lending.kind_hold, name="kind-hold"),
    path("kinds/<slug:kind>/wait/", lending.wait, name="wait"),
    path("waiting/<int:pk>/", lending.wait_answer, name="wait-answer"),
    path("holds/<int:pk>/cancel/", lending.hold_cancel, name="hold-cancel"),
    path("loans/<int:pk>/extend/", lending.extend, name="extend"),
    path("loans/<int:pk>/deposit/", lending.deposit, name="deposit"),
    path("papers/", things.papers, name="papers"),
    path("papers/labels.pdf", things.labels, name="labels"),
    path("papers/cards.pdf", things.cards, name="cards"),
    path("papers/sheet.pdf", things.sheet, name="sheet"),
    path("papers/key-in/", things.key_in, name="key-in"),
    path("import/", things.take_in, name="import"),
    path("export/<slug:what>.<slug:form>", things.export, name="export"),
    path("t/<slug:code>/", things.thing_page, name="thing"),
    path("t/<slug:code>/change/", things.change, name="change"),
    path("t/<slug:code>/state/", things.state, name="state"),
    path("t/<slug:code>/parts/", things.parts, name="parts"),
    path("t/<slug:code>/parts/look/", things.parts_look, name="parts-look"),
    path("t/<slug:code>/photo/", things.photo, name="photo"),
    path("t/<slug:code>/photo/change/", things.photo_change, name="photo-change"),
    path("t/<slug:code>/test/", things.test, name="test"),
    path("t/<slug:code>/calendar/", lending.calendar, name="calendar"),
    path("t/<slug:code>/hold/", lending.hold, name="hold"),
    path("t/<slug:code>/hand-over/", lending.hand_over, name="hand-over"),
    path("t/<slug:code>/take-back/", lending.take_back, name="take-back"),
]
