"""Every write to the batch room. Each is one transaction, keyword-only, and checks who asks before what is asked.

And what other rooms ask of recalls: `recalls_of` a batch, `to_answer` for a person, `waiting` for anybody's answer.
"""

from __future__ import annotations

from club.core.errors import AlreadyDone
from inventory.batches.services.accidents import (
    jars_open_again,
    jars_set_aside,
    jars_throw_away,
    set_aside_clear,
)
from inventory.batches.services.afterwards import (
    batch_photo_add,
    batch_photo_remove,
    came_out_note,
    person_forget,
)
from inventory.batches.services.canners import CannerUsed, canner_used
from inventory.batches.services.common import Problems
from inventory.batches.services.containers import containers_use
from inventory.batches.services.corrections import CORRECTABLE, batch_log_correct, log_as_signed
from inventory.batches.services.giving import (
    jar_claim_decline,
    jar_claim_make,
    jar_claim_withdraw,
    jar_offer_close,
    jar_offer_make,
    jars_hand_over,
)
from inventory.batches.services.hands import batch_take_over, hand_accept, hand_ask, hand_end
from inventory.batches.services.log import (
    batch_abandon,
    batch_discard,
    batch_log_process,
    batch_start,
    in_the_canner,
    jars_put_away,
    jars_reprocess,
    seals_record,
)
from inventory.batches.services.lots import LotAnswer, lot_take_back, lots_note
from inventory.batches.services.recalls import (
    may_recall,
    recall_answer,
    recall_close,
    recall_open,
    recalls_audit,
    recalls_follow_withdrawals,
)
from inventory.batches.services.shelf import full_beside, is_theirs, jar_used
from inventory.batches.services.stages import (
    KeepingChoices,
    canning_table,
    keeping_can,
    keeping_foods,
    keeping_names,
    keeping_preview,
    keeping_put_up,
    keeping_start,
    reading_note,
    stage_finish,
    stage_look,
)
from inventory.batches.services.stove import moment_pressed, stove_press
from inventory.batches.tracing import recalls_of, to_answer, waiting

__all__ = [
    "AlreadyDone",
    "CORRECTABLE",
    "CannerUsed",
    "KeepingChoices",
    "LotAnswer",
    "Problems",
    "batch_abandon",
    "batch_discard",
    "batch_log_correct",
    "batch_log_process",
    "batch_photo_add",
    "batch_photo_remove",
    "batch_start",
    "batch_take_over",
    "came_out_note",
    "canner_used",
    "canning_table",
    "containers_use",
    "full_beside",
    "hand_accept",
    "hand_ask",
    "hand_end",
    "in_the_canner",
    "is_theirs",
    "jar_claim_decline",
    "jar_claim_make",
    "jar_claim_withdraw",
    "jar_offer_close",
    "jar_offer_make",
    "jar_used",
    "jars_hand_over",
    "jars_open_again",
    "jars_put_away",
    "jars_reprocess",
    "jars_set_aside",
    "jars_throw_away",
    "keeping_can",
    "keeping_foods",
    "keeping_names",
    "keeping_preview",
    "keeping_put_up",
    "keeping_start",
    "log_as_signed",
    "lot_take_back",
    "lots_note",
    "may_recall",
    "moment_pressed",
    "person_forget",
    "reading_note",
    "recall_answer",
    "recall_close",
    "recall_open",
    "recalls_audit",
    "recalls_follow_withdrawals",
    "recalls_of",
    "seals_record",
    "set_aside_clear",
    "stage_finish",
    "stage_look",
    "stove_press",
    "to_answer",
    "waiting",
]
