"""A class session, what is cooked where, and who comes."""

from __future__ import annotations

from club.classes.models.day import CannerLoad, JarTaker, OwnNote, SessionPhoto, SessionReport, StationBatch
from club.classes.models.gear import SessionGear, SetAside, SetAsideKind, SetAsideTurn
from club.classes.models.sessions import ClassSeries, ClassSession
from club.classes.models.signups import SignUp
from club.classes.models.stations import Station
from club.classes.words import SessionState, SignUpState

__all__ = [
    "CannerLoad",
    "ClassSeries",
    "ClassSession",
    "JarTaker",
    "OwnNote",
    "SessionGear",
    "SessionPhoto",
    "SessionReport",
    "SessionState",
    "SetAside",
    "SetAsideKind",
    "SetAsideTurn",
    "SignUp",
    "SignUpState",
    "Station",
    "StationBatch",
]
