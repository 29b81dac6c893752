"""The handout: amounts as the station cooked them, the hall's process, and the time of the student's own kitchen."""

from __future__ import annotations

import pytest
from django.urls import reverse

from club.classes.models import SignUp, Station
from club.classes.papers import handout_pdf
from club.classes.presentation import handout_of
from club.classes.services import day
from recipes.models import Revision, RevisionState
from tests.factories.batches import make_freezer_revision, make_recall
from tests.factories.class_day import MORNING, make_at_station, make_called, make_dial_held, runner_of
from tests.factories.classes import make_hall, make_instructor, make_session
from tests.factories.members import make_kitchen, make_person
from tests.factories.recipes import VEGETABLE, make_revision
from tests.pdfs import text_of_pdf

pytestmark = pytest.mark.django_db


def cooked(person=None, *, revision=None, **station) -> SignUp:
    """Somebody at a station of a hall at 1,040 m, its batch started."""
    session = make_session(hall=make_hall(), revision=revision)
    Station.objects.filter(session=session).update(**station)
    if station.get("canner") == "dial-gauge":
        make_dial_held(session)
    signup = make_at_station(session.stations.get(), person=person)
    day.stations_start(by=runner_of(session), session=session, now=MORNING)
    return SignUp.objects.get(pk=signup.pk)


def test_own_kitchens_stand_beside_the_hall_each_with_the_time_of_its_altitude():
    person = make_person()
    make_kitchen(person, name="Creek", altitude="200 m")
    make_kitchen(person, name="Ridge", altitude="2000 m")
    handout = handout_of(cooked(person))
    assert handout.hall.process.startswith("10 minutes, ")
    assert [(time.name, time.process.split(",")[0]) for time in handout.own] == [
        ("Creek", "5 minutes"),
        ("Ridge", "15 minutes"),
    ]
    assert any("Sterilise" in sentence for sentence in handout.own[0].also)
    assert not any("Sterilise" in sentence for sentence in handout.own[1].also)


def test_a_pressure_recipe_gives_the_pressure_of_her_altitude_with_the_same_gauge():
    person = make_person()
    make_kitchen(person, altitude="1500 m")  # 4,921 ft: the next band of the dial gauge
    beans = make_revision(base=VEGETABLE)
    handout = handout_of(cooked(person, revision=beans, jar_size="pint", pack="hot", canner="dial-gauge"))
    assert "20 minutes at 12 psi" in handout.hall.process
    assert "20 minutes at 13 psi" in handout.own[0].process
    assert "venting for 10 minutes" in handout.own[0].process


def test_a_kitchen_whose_altitude_is_unknown_gets_a_reason_and_no_time():
    person = make_person()
    make_kitchen(person, altitude="")
    [own] = handout_of(cooked(person)).own
    assert own.process == ""
    assert any("altitude is not known" in why for why in own.refusals)


def test_above_the_tested_table_there_is_a_reason_and_no_pressure():
    person = make_person()
    make_kitchen(person, altitude="2600 m")  # 8,530 ft: the dial table ends at 8,000
    beans = make_revision(base=VEGETABLE)
    [own] = handout_of(cooked(person, revision=beans, jar_size="pint", pack="hot", canner="dial-gauge")).own
    assert own.process == ""
    assert any("8,000 ft" in why for why in own.refusals)


def test_after_the_revision_was_withdrawn_it_gives_no_time_at_all_and_says_why():
    person = make_person()
    make_kitchen(person, altitude="200 m")
    signup = cooked(person)
    Revision.objects.update(state=RevisionState.WITHDRAWN, withdrawn_at=MORNING, withdrawn_reason="Too little acid.")
    handout = handout_of(SignUp.objects.get(pk=signup.pk))
    assert handout.withdrawn == "Too little acid."
    for time in (handout.hall, *handout.own):
        assert time.process == ""
        assert "Too little acid." in " ".join(time.refusals)
    assert handout.at_home == ()
    paper = drawn(handout_pdf(handout, club="Bench club", paper="a4"))
    assert "Do not cook from it again" in paper
    assert "10 minutes" not in paper


def test_after_an_editing_withdrawal_nobody_cooks_from_it_and_the_jars_are_kept(client):
    person = make_person()
    signup = cooked(person)
    withdrawn = {"state": RevisionState.WITHDRAWN, "withdrawn_at": MORNING, "withdrawn_reason": "A slip of the pen."}
    Revision.objects.update(**withdrawn, withdrawn_for_editing=True)
    handout = handout_of(SignUp.objects.get(pk=signup.pk))
    assert handout.at_home
    assert not handout.is_called_back
    client.force_login(person)
    page = client.get(reverse("classes:handout", args=[signup.pk])).content.decode()
    for told in (drawn(handout_pdf(handout, club="Bench club", paper="a4")), page):
        assert "Do not cook from it again." in told
        assert "eat none of its jars" not in told


def test_jars_that_were_called_back_are_said_not_to_be_eaten_nor_kept(client):
    person = make_person()
    signup = cooked(person)
    make_recall(batch=handout_of(signup).batch, reason="Two jars of it were found spoiled.")
    handout = handout_of(SignUp.objects.get(pk=signup.pk))
    assert handout.at_home == ()
    paper = drawn(handout_pdf(handout, club="Bench club", paper="a4"))
    client.force_login(person)
    page = client.get(reverse("classes:handout", args=[signup.pk])).content.decode()
    for told in (paper, page):
        assert "Do not eat: these jars are called back." in told
        assert "Two jars of it were found spoiled." in told
        assert "on every jar" not in told


def test_a_freezer_recipe_has_no_process_anywhere():
    person = make_person()
    make_kitchen(person, altitude="200 m")
    handout = handout_of(cooked(person, revision=make_freezer_revision(), canner="", capacity={}))
    for time in (handout.hall, *handout.own):
        assert "there is no process" in time.process
    assert handout.at_home == ()


def test_a_pie_filling_is_not_said_to_be_reprocessed():
    told = [rule.name for rule in handout_of(cooked()).at_home]
    filling = [rule.name for rule in handout_of(cooked(revision=make_revision(kind="pie-filling"))).at_home]
    assert ("reprocess-within-24-hours" in told, "reprocess-within-24-hours" in filling) == (True, False)
    assert "reprocess-only-a-hot-pack" in filling


def test_amounts_are_those_of_the_station_s_pots():
    handout = handout_of(cooked(pots=2))
    assert [(line.item, line.per_pot_beside, line.beside) for line in handout.lines][:2] == [
        ("plums", "4 cups", "8 cups"),
        ("sugar", "3 cups", "6 cups"),
    ]


def test_without_a_batch_there_is_no_handout():
    session = make_session()
    assert handout_of(make_called(session)) is None
    assert handout_of(make_at_station(session.stations.get())) is None


def test_a_handout_is_hers_and_the_session_s_instructors_and_nobody_else_s():
    signup = cooked()
    fellow = make_at_station(signup.station).person
    session = signup.session
    colleague = make_instructor()
    session.instructors.add(colleague)
    for reader, may in (
        (signup.person, True),
        (runner_of(session), True),
        (colleague, True),
        (fellow, False),
        (make_instructor(), False),
        (make_person(), False),
    ):
        assert SignUp.objects.handouts_for(reader).filter(pk=signup.pk).exists() is may


def test_who_did_not_come_has_no_handout():
    signup = make_called(make_session(), came=0)
    assert not SignUp.objects.handouts_for(signup.person).exists()


# On paper


def drawn(pdf: bytes) -> str:
    """What the pages write, put together."""
    return " ".join(text_of_pdf(pdf).split())


@pytest.mark.parametrize("paper", ["letter", "a4", "napkin"])
def test_the_paper_says_what_the_page_says(paper):
    person = make_person()
    make_kitchen(person, name="Crème & Creek <home>", altitude="200 m")
    make_kitchen(person, name="Unmeasured", altitude="")
    handout = handout_of(cooked(person, pots=2))
    text = drawn(handout_pdf(handout, club="Bench club", paper=paper))
    assert f"Lot code {handout.batch.lot_code}." in text
    assert handout.hall.process in text
    assert handout.own[0].process in text
    assert "Crème&Creek<home>" in text.replace(" ", "")  # drawn in pieces
    assert handout.own[1].refusals[0] in text
    assert "8 cups" in text
    assert handout.steps[1].text in text
    assert "Keep the jars hot until they are filled." in text
    assert "within a year" in text
    assert "Test Kitchen Leaflet, 2nd, 2015, page 7" in text


def test_a_name_in_letters_that_a_pdf_does_not_have_is_printed_all_the_same():
    person = make_person()
    make_kitchen(person, name="漢字", altitude="200 m")
    assert "??" in drawn(handout_pdf(handout_of(cooked(person)), club="Bench club", paper="a4"))
