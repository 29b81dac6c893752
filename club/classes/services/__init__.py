"""What other rooms may ask of the classes. The room's own views go to the services themselves."""

from __future__ import annotations

from club.classes.services.day import (
    codes_of,
    everybody_sit,
    load_begin,
    loads_of,
    own_note_write,
    roll_call,
    session_close,
    stations_start,
    still_cooking,
    taker_choose,
)
from club.classes.services.gear import gear_gather
from club.classes.services.notes import NEEDS_KEPT, needs_erase, person_forget
from club.classes.services.seats import seat_path, seats_audit, seats_move_on, signup_cancel, signup_place
from club.classes.services.sessions import SessionFields, StationFields, session_make, session_publish, station_add

__all__ = [
    "NEEDS_KEPT",
    "SessionFields",
    "StationFields",
    "codes_of",
    "everybody_sit",
    "gear_gather",
    "load_begin",
    "loads_of",
    "needs_erase",
    "own_note_write",
    "person_forget",
    "roll_call",
    "seat_path",
    "seats_audit",
    "seats_move_on",
    "session_close",
    "session_make",
    "session_publish",
    "signup_cancel",
    "signup_place",
    "station_add",
    "stations_start",
    "still_cooking",
    "taker_choose",
]
