from __future__ import annotations

from django.urls import path, register_converter

from inventory.batches.rules import lot_code_typed
from inventory.batches.views import (
    afterwards,
    corrections,
    giving,
    hands,
    jars,
    labels,
    lots,
    recalls,
    stages,
    stove,
    wrong,
)
from inventory.batches.views import batches as views_batches

app_name = "batches"


class LotCodeConverter:
    """A lot code in an address, forgiving as a person is: small letters, no dash."""

    regex = "[0-9]{5}-?[0-9A-Za-z]{3,10}"  # what is no code of ours is refused below, as not found

    def to_python(self, value: str) -> str:
        code = lot_code_typed(value)
        if code is None:
            raise ValueError
        return code

    def to_url(self, value: str) -> str:
        return value


register_converter(LotCodeConverter, "lot")

urlpatterns = [
    path("", views_batches.batch_list, name="list"),
    path("start/", views_batches.start, name="start"),
    path("stove/", stove.under_way, name="stove-list"),
    path("trace/", views_batches.trace, name="trace"),
    path("lids/", views_batches.lids, name="lids"),
    path("canners/<slug:code>/", views_batches.canner, name="canner"),
    path("wrong/", wrong.wrong, name="wrong"),
    path("recalls/", recalls.recall_list, name="recalls"),
    path("recalls/new/", recalls.recall_new, name="recall-new"),
    path("recalls/<int:pk>/", recalls.recall, name="recall"),
    path("recalls/<int:pk>/answer/", recalls.recall_answer, name="recall-answer"),
    path("recalls/<int:pk>/close/", recalls.recall_close, name="recall-close"),
    path("to-give/", giving.jar_offers, name="jar-offers"),
    path("to-give/<int:pk>/", giving.jar_offer, name="jar-offer"),
    path("to-give/<int:pk>/ask/", giving.jar_claim, name="jar-claim"),
    path("to-give/<int:pk>/close/", giving.jar_offer_close, name="jar-offer-close"),
    path("to-give/claims/<int:pk>/hand-over/", giving.jar_hand_over, name="jar-hand-over"),
    path("to-give/claims/<int:pk>/decline/", giving.jar_claim_decline, name="jar-claim-decline"),
    path("to-give/claims/<int:pk>/withdraw/", giving.jar_claim_withdraw, name="jar-claim-withdraw"),
    path("keep/", stages.keep, name="keep"),
    path("keep/<slug:way>/<slug:key>/", stages.keep_start, name="keep-start"),
    path("<lot:lot_code>/", views_batches.detail, name="detail"),
    path("<lot:lot_code>/look/", stages.look, name="look"),
    path("<lot:lot_code>/reading/", stages.reading, name="reading"),
    path("<lot:lot_code>/stage/", stages.stage, name="stage"),
    path("<lot:lot_code>/put-up/", stages.put_up, name="put-up"),
    path("<lot:lot_code>/can/", stages.can, name="can"),
    path("<lot:lot_code>/log/", views_batches.log, name="log"),
    path("<lot:lot_code>/correct/", corrections.correct, name="correct"),
    path("<lot:lot_code>/stove/", stove.stove, name="stove"),
    path("<lot:lot_code>/stove/presses/", stove.presses, name="stove-presses"),
    path("<lot:lot_code>/stove/<slug:step>/", stove.stove, name="stove-step"),
    path("<lot:lot_code>/lots/", lots.lots, name="lots"),
    path("<lot:lot_code>/lots/<int:pk>/take-back/", lots.lot_take_back, name="lot-take-back"),
    path("<lot:lot_code>/seals/", views_batches.seals, name="seals"),
    path("<lot:lot_code>/reprocess/", views_batches.reprocess, name="reprocess"),
    path("<lot:lot_code>/wrong/", wrong.wrong_with_batch, name="batch-wrong"),
    path("<lot:lot_code>/set-aside/<int:pk>/", wrong.set_aside, name="set-aside"),
    path("<lot:lot_code>/put-away/", views_batches.put_away, name="put-away"),
    path("<lot:lot_code>/offer/", giving.jar_offer_new, name="jar-offer-new"),
    path("<lot:lot_code>/<int:number>/", jars.jar, name="jar"),
    path("<lot:lot_code>/<int:number>/used/", jars.used, name="jar-used"),
    path("<lot:lot_code>/labels/", labels.labels, name="labels"),
    path("<lot:lot_code>/labels/labels.pdf", labels.labels_pdf, name="labels-pdf"),
    path("<lot:lot_code>/labels/printed/", labels.printed, name="labels-printed"),
    path("<lot:lot_code>/came-out/", afterwards.came_out, name="came-out"),
    path("<lot:lot_code>/photos/add/", afterwards.photo_add, name="photo-add"),
    path("<lot:lot_code>/photos/<int:pk>/", afterwards.photo, name="photo"),
    path("<lot:lot_code>/photos/<int:pk>/remove/", afterwards.photo_remove, name="photo-remove"),
    path("asked/<int:pk>/", hands.answer, name="hand-answer"),
    path("<lot:lot_code>/people/", hands.people, name="people"),
    path("<lot:lot_code>/discard/", hands.discard, name="discard"),
    path("<lot:lot_code>/give-up/", views_batches.abandon, name="abandon"),
]
