"""Database triggers: what a batch's note of a lot repeats of the lot's label is what the label says.

The rule that no weak or lapsed vinegar is canned with hangs on those columns. A second pair keeps what was pressed at
the stove: a slip is taken back by another row, and only a batch that never saw a canner is dropped whole. Stages follow
each other, and what was seen or measured of them is neither changed nor deleted. Nor is a log that somebody signed; and
jars of a batch whose newest log is unsafe are not found sound, nor by the one who corrected it.
"""

from __future__ import annotations

from dataclasses import replace

from club.core.ledger import RefusalTrigger, RefusalTriggers, keep_rows

DISAGREES = "A note of a lot says the kind, strength and use-by of the lot itself."
_LOT = (
    "(SELECT {column} FROM jars_supplylot JOIN jars_supply ON jars_supply.id = jars_supplylot.supply_id"
    " WHERE jars_supplylot.id = NEW.supply_lot_id)"
)


def _differs(column: str, of_the_lot: str) -> str:
    return f"NEW.{column} {{differs}} {_LOT.format(column=of_the_lot)}"


_DISAGREE = " OR ".join(
    (
        _differs("kind", "jars_supply.kind"),
        _differs("strength_tenths", "jars_supplylot.strength_tenths"),
        _differs("use_by", "jars_supplylot.use_by"),
    )
)

NOTES_KEPT = "What was seen or measured of a batch is never changed or deleted; look again, and write that."
IN_ORDER = "No stage begins before the one ahead of it has ended."
_OUT_OF_ORDER = (
    "NEW.began_at IS NOT NULL AND EXISTS (SELECT 1 FROM batches_stage AS ahead WHERE ahead.batch_id = NEW.batch_id"
    " AND ahead.number < NEW.number AND (ahead.ended_at IS NULL OR ahead.ended_at > NEW.began_at))"
)

GUARDS = RefusalTriggers(
    *(
        RefusalTrigger(
            f"batches_lottaken_agrees_{name}",
            "batches_lottaken",
            event,
            DISAGREES,
            when=f"NEW.supply_lot_id IS NOT NULL AND ({_DISAGREE})",
            function="batches_lottaken_agrees",
        )
        for name, event in (("insert", "INSERT"), ("update", "UPDATE OF kind, supply_lot_id, strength_tenths, use_by"))
    ),
)
# Under the names that the migrations call.
install, remove = GUARDS.install, GUARDS.remove

KEPT = "What was pressed at the stove is never changed or deleted; a slip is taken back by another press."
# A batch that was started by mistake leaves nothing behind; once its jars were in a canner it does. Only presses are
# asked: SQLite makes no table anew, such as that of the batches, which the trigger of another one names.
_WENT_ON = (
    "EXISTS (SELECT 1 FROM batches_press AS other WHERE other.batch_id = OLD.batch_id"
    " AND other.kind IN ('began', 'fell', 'gauge') AND REPLACE(other.step, 'process', '') <> other.step)"
)
_NEITHER = keep_rows("batches_press", message=KEPT, function="batches_presses_kept")
PRESSES = RefusalTriggers(
    *(one for one in _NEITHER if one.event != "DELETE"),
    *(replace(one, when=_WENT_ON, function="batches_presses_dropped") for one in _NEITHER if one.event == "DELETE"),
)
install_presses, remove_presses = PRESSES.install, PRESSES.remove

STAGES = RefusalTriggers(
    *keep_rows("batches_stagecheck", "batches_stagereading", message=NOTES_KEPT, function="batches_stage_notes_kept"),
    *(
        RefusalTrigger(
            f"batches_stage_in_order_{name}",
            "batches_stage",
            event,
            IN_ORDER,
            when=_OUT_OF_ORDER,
            function="batches_stage_in_order",
        )
        for name, event in (("insert", "INSERT"), ("update", "UPDATE OF began_at, number, batch_id"))
    ),
)

# These name `batches_signedlog` in triggers of two other tables: a migration that makes it anew (as SQLite does) begins
# with `remove_signed`, and one that touches any of the three ends with `install_signed`.
SIGNED_KEPT = "A signed log is never changed or deleted; a correction is another row."
NOT_SOUND = "The log of this batch does not reach its tested process, or who corrected it would clear it themselves."


def _in_doubt(batch: str, judge: str) -> str:
    """The newest log has a finding; or an earlier one had, and its corrector is the one who judges."""
    return (
        "EXISTS (SELECT 1 FROM batches_signedlog AS newest"
        f" WHERE newest.batch_id = {batch} AND NOT EXISTS (SELECT 1 FROM batches_signedlog AS later"
        " WHERE later.batch_id = newest.batch_id AND later.number > newest.number)"
        f" AND (newest.finding <> '' OR (newest.signed_by_id = {judge} AND EXISTS"
        " (SELECT 1 FROM batches_signedlog AS earlier WHERE earlier.batch_id = newest.batch_id"
        " AND earlier.finding <> ''))))"
    )


SIGNED = RefusalTriggers(
    *keep_rows("batches_signedlog", message=SIGNED_KEPT, function="batches_signed_logs_kept"),
    RefusalTrigger(
        "batches_recall_not_sound_by_the_log",
        "batches_recall",
        "UPDATE OF is_cleared",
        NOT_SOUND,
        when=f"NEW.is_cleared AND NEW.batch_id IS NOT NULL AND {_in_doubt('NEW.batch_id', 'NEW.closed_by_id')}",
    ),
    RefusalTrigger(
        "batches_set_aside_not_sound_by_the_log",
        "batches_jarssetaside",
        "UPDATE OF is_sound",
        NOT_SOUND,
        when=(
            "NEW.is_sound AND EXISTS (SELECT 1 FROM batches_signedlog AS mine WHERE mine.set_aside_id = NEW.id)"
            f" AND {_in_doubt('NEW.batch_id', 'NEW.settled_by_id')}"
        ),
    ),
)
install_signed, remove_signed = SIGNED.install, SIGNED.remove

NO_CONTAINER = "Only a container that no ledger counts, and that is not set aside, is opened or given away here."
_CONTAINER = (
    "EXISTS (SELECT 1 FROM batches_jar AS jar WHERE jar.id = NEW.jar_id AND jar.set_aside_id IS NULL"
    " AND jar.size IN ('bag', 'box', 'keeping-jar') AND jar.disposal IN ('shelf', 'refrigerate'))"
)
CONTAINERS = RefusalTriggers(
    *keep_rows("batches_containeruse", message=NOTES_KEPT, function="batches_container_uses_kept"),
    RefusalTrigger(
        "batches_containeruse_of_a_container",
        "batches_containeruse",
        "INSERT",
        NO_CONTAINER,
        when=f"NOT {_CONTAINER}",
    ),
)
