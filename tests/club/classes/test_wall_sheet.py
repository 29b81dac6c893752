"""The sheet for the wall says the process, the altitude in metres and feet, the clock, the cautions; or not to cook."""

from __future__ import annotations

from datetime import time

import pytest

from club.classes.choices import SessionState
from club.classes.models import ClassSession
from club.classes.papers import wall_sheet_pdf
from club.classes.planning import plan_of
from club.classes.presentation import plan_words
from club.classes.services.sessions import plan_refusals
from tests.factories.classes import make_hall, make_session, make_station
from tests.factories.recipes import VEGETABLE, make_revision
from tests.pdfs import pages_of

pytestmark = pytest.mark.django_db


def pages(session) -> list[str]:
    """The words on each page of the sheet."""
    made = plan_of(ClassSession.objects.select_related("hall").get(pk=session.pk))
    data = wall_sheet_pdf(made, plan_words(made, "metric", plan_refusals(made)))
    return [" ".join(page) for page in pages_of(data)]


def test_a_page_for_the_hall_and_one_for_each_station_say_what_safety_hangs_on():
    session = make_session(state=SessionState.DRAFT, title="Plums and beans")
    beans = make_revision(base=VEGETABLE, title="Green beans")
    make_station(
        session,
        revision=beans,
        jar_size="pint",
        pack="hot",
        canner="dial-gauge",
        capacity={"pint": 9},
        name="at the door",
    )
    hall, plums, green = pages(session)
    for words in ("Plums and beans", "1,040 m (3,412.1 ft)", "20 minutes at 12 psi", "Last jars out by 13:40"):
        assert words in hall
    for words in ("1: Canner 1", "2: Canner 1"):  # whose canner it is, where the rows of both stand together
        assert words in hall
        assert words not in plums + green
    for words in ("10 minutes", "At 1,040 m", "13:38", "bottled juice", "half-pint"):
        assert words in plums
    for words in (
        "Station 2, at the door",
        "20 minutes",
        "at 12 psi (83 kPa)",
        "vent 10 minutes",
        "dial gauge must",
    ):
        assert words in green
    assert "20 minutes" not in plums


def test_a_sheet_of_a_plan_that_is_refused_says_not_to_cook_by_it_and_shows_no_process():
    session = make_session(state=SessionState.DRAFT, hall=make_hall(altitude=""), stations=2)
    for page in pages(session):
        assert "Do not cook by this sheet." in page
        assert "altitude is not known" in page
        assert "10 minutes" not in page
        assert "into the freezer" not in page  # refused is not the same as needing no process


def test_a_station_that_is_refused_for_want_of_time_shows_no_process_on_the_hall_s_page_either():
    session = make_session(state=SessionState.DRAFT, starts=time(13), ends=time(14))
    hall, *_stations = pages(session)
    assert "Do not cook by this sheet." in hall
    assert "refused: do not cook this" in hall
    assert "10 minutes" not in hall


def test_letters_that_paper_does_not_know_stop_nothing():
    session = make_session(state=SessionState.DRAFT, title="Śliwki & <plums> 漢")
    assert "Śliwki & <plums> ?" in pages(session)[0]


def test_a_session_without_a_station_has_a_sheet_that_says_so():
    (page,) = pages(make_session(state=SessionState.DRAFT, stations=0))
    assert "There is no station yet" in page
