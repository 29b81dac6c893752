"""Leaving: one act that sets everything free and lists what stays open; a file of one's own; a nameless person after
the club's term.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from io import BytesIO
from uuid import uuid4
from zipfile import ZipFile

import pytest
import time_machine
from django.core.exceptions import PermissionDenied, ValidationError
from django.db.models import ForeignKey
from django.test import Client
from django.urls import reverse

from club.classes.models import SignUp
from club.classes.services.seats import seat_path, signup_place
from club.desk.download import OWN_NAMES, rooms
from club.desk.leaving import membership_end, what_follows
from club.desk.retention import RETENTION, months_before, retention_enforce
from club.members import services as members
from club.members.choices import EventKind
from club.members.models import Invitation, Kitchen, PersonEvent, User
from club.reminders.models import Reminder
from inventory.batches.models import Batch
from inventory.equipment.models import Hold, Loan
from inventory.fruit.models import Claim, Offer, OfferPhoto
from inventory.jars.models import Balance, Deposit
from inventory.jars.services import ledger
from tests.factories import equipment, fruit, jars
from tests.factories.batches import make_batch_checked, make_recall
from tests.factories.classes import make_instructor, make_session
from tests.factories.equipment import NOW
from tests.factories.members import make_invitation, make_kitchen, make_organiser, make_person
from tests.factories.reminders import make_received
from tests.helpers import just_asked, signed_in, text_of

pytestmark = pytest.mark.django_db

NEEDS = "Hazelnuts close my throat"
# Whose row it is says another column; these say who wrote it down, or who is meant among others.
NOT_OWN = {"by", "reviewer"}
A_YEAR_ON = NOW + timedelta(days=400)


@pytest.fixture(autouse=True)
def in_september():
    with time_machine.travel(NOW):
        yield


def sure_of_themselves(person: User) -> Client:
    return just_asked(signed_in(person))


@pytest.fixture
def session():
    day = (NOW + timedelta(days=9)).date()
    return make_session(by=make_instructor(), now=NOW, day=day, stations=1, seats=1)


@pytest.fixture
def ada(session):
    """A member with something in every room."""
    person = make_person(name="Ada Plum", email="ada@plum.test")
    make_kitchen(person, make_person(name="Bo"), name="Plum Lane")
    signup_place(by=person, session=session, needs=NEEDS, now=NOW)
    equipment.make_hold(by=person, first=3, last=4)
    fruit.make_claim(fruit.make_offer(), by=person)
    fruit.make_offer(by=person, where="14 Plum Lane, the green door")
    make_received(person, "Look at the seals", path="/batches/", sent_at=NOW)
    return person


def in_debt(person: User) -> Loan:
    jars.make_loan(person, 4, by=jars.make_keeper(), deposit_cents=200)
    return equipment.make_loan(person=person)


def use_up(batch: Batch) -> None:
    place, keeper = ledger.kitchen_place(batch.kitchen), jars.make_keeper()
    for full in Balance.objects.there().filter(place=place, batch=batch):
        told = {"size": full.size, "count": full.count, "state": "full", "batch_id": batch.pk}
        ledger.jars_move(by=keeper, reason="emptied", source=place, target=place, token=uuid4(), **told)


def states(person: User) -> list[str]:
    hold, claim = Hold.objects.get(person=person, loan=None), Claim.objects.get(person=person)
    offer, signup = Offer.objects.get(giver=person), SignUp.objects.get(person=person)
    return [str(hold.state), str(claim.stage), str(offer.stage), str(signup.state)]


FREE = ["cancelled", "withdrawn", "taken-back", "cancelled"]


def test_one_act_sets_everything_free_and_lists_what_stays_open(ada, session, django_assert_max_num_queries):
    loan = in_debt(ada)
    waiting = signup_place(by=make_person(), session=session, now=NOW)
    link = seat_path(SignUp.objects.get(person=ada).pk)
    client, page = sure_of_themselves(ada), reverse("desk:leave")
    with django_assert_max_num_queries(30):
        shown = client.get(page)
    still_open = {str(step.title) for step in shown.context["steps"] if step.is_open}
    assert still_open == {"Loans", "Deposits", "Empty jars in their hands"}
    before = states(ada)
    assert client.post(page).status_code == 200  # the box was not ticked
    assert User.objects.get(pk=ada.pk).is_active
    assert states(ada) == before
    assert client.post(page, {"sure": "on"}).url == reverse("account_login")
    assert states(ada) == FREE
    assert not ada.kitchens.exists()
    assert Loan.objects.get(pk=loan.pk).returned_at is None
    assert Deposit.objects.get(person=ada).cents == 800
    waiting.refresh_from_db()
    assert waiting.state == "offered"
    assert client.get(reverse("desk:home")).status_code == 302
    assert Client().get(link).status_code == 404
    assert PersonEvent.objects.filter(kind=EventKind.MEMBERSHIP_ENDED, by=ada, person=ada).count() == 1
    assert all(step.is_open for step in what_follows(User.objects.get(pk=ada.pk)))


def test_who_may_end_it_and_that_the_last_organiser_stays(ada):
    organiser, other = make_organiser(), make_person()
    with pytest.raises(PermissionDenied):
        membership_end(by=other, person=ada)
    with pytest.raises(ValidationError, match="last organiser"):
        membership_end(by=organiser, person=organiser)
    assert User.objects.get(pk=organiser.pk).is_active
    address = reverse("desk:leave-of", args=[ada.pk])
    assert sure_of_themselves(other).get(address).status_code == 403
    assert signed_in(organiser).post(address, {"sure": "on"}).url.startswith(reverse("account_reauthenticate"))
    assert User.objects.get(pk=ada.pk).is_active
    assert sure_of_themselves(organiser).post(address, {"sure": "on"}).status_code == 302
    assert states(ada) == FREE
    assert not User.objects.get(pk=ada.pk).is_active


def test_what_a_room_refuses_leaves_everything_as_it_was(ada, monkeypatch):
    def refuse(**_told):
        raise ValidationError("no")

    monkeypatch.setattr("club.desk.leaving.offer_take_back", refuse)
    before = states(ada)
    with pytest.raises(ValidationError):
        membership_end(by=ada, person=ada)
    assert states(ada) == before
    assert User.objects.get(pk=ada.pk).is_active


# One's own file.


def test_everything_of_one_s_own_is_in_one_file_and_nothing_that_signs_in(ada):
    make_batch_checked(by=ada, kitchen=make_kitchen(ada, name="The cellar"))
    photo = OfferPhoto.objects.create(offer=Offer.objects.get(giver=ada), jpeg=b"a picture of plums")
    address = reverse("desk:my-data")
    assert signed_in(ada).post(address).url.startswith(reverse("account_reauthenticate"))
    answer = sure_of_themselves(ada).post(address)
    with ZipFile(BytesIO(answer.content)) as file:
        assert file.read(f"pictures/fruit.offerphoto-{photo.pk}.jpg") == b"a picture of plums"
        told, page = json.loads(file.read("everything.json")), file.read("everything.html").decode()
    tables = told["tables"]
    assert {"classes.signup", "equipment.hold", "fruit.offer", "fruit.claim", "batches.jar", "kitchens"} <= set(tables)
    assert tables["classes.signup"][0]["needs"] == NEEDS
    assert tables["members.user"][0]["email"] == "ada@plum.test"
    assert NEEDS in page
    assert User.objects.get(pk=ada.pk).password not in answer.content.decode(errors="ignore")
    names = {name for rows in tables.values() for row in rows for name in row}
    assert not names & {"password", "token", "nonce", "session_epoch"}
    assert PersonEvent.objects.about(ada).filter(kind=EventKind.EXPORTED).count() == 1


def test_every_column_that_names_a_person_is_in_the_file_or_says_who_acted():
    for room in rooms():
        for model in room.get_models():
            for field in model._meta.concrete_fields:
                if isinstance(field, ForeignKey) and field.related_model is User and field.name not in OWN_NAMES:
                    assert field.name.endswith("_by") or field.name in NOT_OWN, f"{model.__name__}.{field.name}"


# After the club's term.


def test_after_the_term_a_former_member_has_no_name_and_lots_stay_traceable(ada):
    invited = Invitation.objects.filter(pk=make_invitation(email="x@plum.test", name="Ada Plum").pk)
    invited.update(accepted_at=NOW, accepted_by=ada)
    alone = make_kitchen(ada, name="Ada Plum's cellar")
    batch = make_batch_checked(by=ada, kitchen=alone)
    use_up(batch)
    membership_end(by=ada, person=ada)
    retention_enforce(NOW + timedelta(days=360))
    assert User.objects.get(pk=ada.pk).name == "Ada Plum"
    retention_enforce(A_YEAR_ON)
    retention_enforce(A_YEAR_ON)
    former = User.objects.get(pk=ada.pk)
    assert former.email.endswith("@former.invalid")
    assert "plum" not in former.name_drawn + former.name_folded
    assert "Ada" not in str(former) + Kitchen.objects.get(pk=alone.pk).name + invited.get().name + invited.get().email
    assert not former.has_usable_password()
    assert not former.emailaddress_set.exists()
    assert not Reminder.objects.filter(person=ada).exists()
    assert Offer.objects.get(giver=ada).where == ""
    assert Batch.objects.get(pk=batch.pk).made_by == former
    assert PersonEvent.objects.filter(kind=EventKind.MADE_NAMELESS, person=ada).count() == 1
    with pytest.raises(ValidationError, match="erased"):
        members.member_reactivate(by=make_organiser(), person=former)


def test_an_open_loan_and_an_open_recall_keep_the_name(ada):
    in_debt(ada)
    membership_end(by=ada, person=ada)
    eve = make_person(name="Eve Quince")
    batch = make_batch_checked(by=eve, kitchen=make_kitchen(eve, name="Quince"))
    membership_end(by=eve, person=eve)
    make_recall(batch=batch)
    retention_enforce(A_YEAR_ON)
    assert {*User.objects.filter(pk__in=[ada.pk, eve.pk]).values_list("name", flat=True)} == {"Ada Plum", "Eve Quince"}


def test_full_jars_of_theirs_keep_the_name_and_telephone_until_they_are_gone(ada):
    User.objects.filter(pk=ada.pk).update(phone="+1 555 0100")
    kitchen = make_kitchen(ada, name="Plum cellar")
    batch = make_batch_checked(by=ada, kitchen=kitchen)
    membership_end(by=ada, person=ada)
    retention_enforce(A_YEAR_ON)
    kept = User.objects.get(pk=ada.pk)
    assert (kept.name, kept.phone) == ("Ada Plum", "+1 555 0100")
    use_up(batch)
    retention_enforce(A_YEAR_ON)
    assert User.objects.get(pk=ada.pk).phone == ""


def test_the_term_is_the_club_s_own_and_the_page_says_it_to_everybody(ada, client, django_assert_max_num_queries):
    organiser = make_organiser()
    told = {"words": "Ask Olive.\n<b>Always.</b>", "months": 3}
    assert signed_in(make_person()).post(reverse("desk:privacy-change"), told).status_code == 403
    assert signed_in(organiser).post(reverse("desk:privacy-change"), {**told, "months": 121}).status_code == 200
    assert signed_in(organiser).post(reverse("desk:privacy-change"), told).status_code == 302
    with django_assert_max_num_queries(4):
        page = client.get(reverse("desk:privacy"))
    assert "3 months after" in text_of(page)
    assert "&lt;b&gt;Always" in page.content.decode()
    assert len(page.context["rows"]) == len(RETENTION)
    membership_end(by=ada, person=ada)
    retention_enforce(NOW + timedelta(days=100))
    assert User.objects.get(pk=ada.pk).forgotten_at is not None


def test_addresses_of_who_never_came_are_erased():
    members.invitation_send(by=make_organiser(), email="never@came.test", name="", role="member")
    retention_enforce(NOW + timedelta(days=179))
    assert Invitation.objects.exists()
    retention_enforce(NOW + timedelta(days=181))
    assert not Invitation.objects.exists()


def test_a_month_before_the_31st_is_the_last_of_a_shorter_month():
    assert months_before(datetime(2027, 3, 31, tzinfo=UTC), 1) == datetime(2027, 2, 28, tzinfo=UTC)
    assert months_before(datetime(2027, 1, 15, tzinfo=UTC), 13) == datetime(2025, 12, 15, tzinfo=UTC)
