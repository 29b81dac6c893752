"""A club with one object of everything, each somebody's: what the table of permissions asks about."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from functools import cached_property
from typing import Any
from uuid import uuid4

from allauth.account.models import EmailAddress
from django.utils import timezone
from PIL import Image

from club.classes.choices import SessionState
from club.classes.models import ClassSession, SignUp
from club.classes.services import day
from club.core.clock import club_day
from club.members.choices import Role
from club.members.models import AddressConsent, BrowserSession, JoinRequest, Kitchen, KitchenInvitation, User
from club.members.services import kitchen_invite
from inventory.batches import services as batches
from inventory.batches.ingredients import lines_with_lots
from inventory.batches.models import Batch, JarClaim, JarOffer
from inventory.batches.services import lots_note
from inventory.batches.services.lots import WITHOUT, LotAnswer
from inventory.equipment.choices import Kind
from inventory.equipment.services import hold_place, loan_return, own_canner_add, photo_set, waiting_join
from inventory.fruit.models import Claim, Offer, Share
from inventory.jars import services as jars
from inventory.jars.models import Deposit, LidMovement, Movement, SupplyMovement
from recipes.services import revision_draft, revision_submit
from tests.factories import fruit as fruits
from tests.factories.batches import (
    APPLES,
    finish,
    make_batch,
    make_batch_checked,
    make_batch_out,
    make_recall,
    make_staged,
)
from tests.factories.class_day import log_out, make_at_station
from tests.factories.classes import make_hall, make_session, make_signup
from tests.factories.equipment import make_loan as make_equipment_loan
from tests.factories.equipment import make_thing
from tests.factories.freezer import make_freezer_item
from tests.factories.jars import make_lid_lot, make_loan, make_stock, make_supply
from tests.factories.members import make_invitation, make_kitchen, make_person, make_skill
from tests.factories.orders import make_arrived, make_order, make_ordered, wish
from tests.factories.recipes import make_process_table, make_revision, recipe_document
from tests.factories.reminders import make_received
from tests.factories.season import make_target

ALL_DAY = {"starts": time(0, 5), "ends": time(23, 50)}
Arguments = dict[str, Any]


def picture() -> io.BytesIO:
    file = io.BytesIO()
    Image.new("RGB", (8, 8), "white").save(file, "PNG")
    file.seek(0)
    return file


@dataclass
class Club:
    """Who is in it. The `teacher` runs every class here; the `instructor` and the `organiser` run none."""

    housemate: User
    stranger: User
    asker: User
    keeper: User
    instructor: User
    teacher: User
    organiser: User
    superuser: User
    hall: Kitchen

    @classmethod
    def make(cls) -> Club:
        people = {
            name: make_person(*roles, name=name.title())
            for name, roles in {
                "housemate": (),
                "stranger": (),
                "asker": (),
                "keeper": (Role.KEEPER,),
                "instructor": (Role.INSTRUCTOR,),
                "teacher": (Role.INSTRUCTOR,),
                "organiser": (Role.ORGANISER,),
                "superuser": (),
            }.items()
        }
        User.objects.filter(pk=people["superuser"].pk).update(is_staff=True, is_superuser=True)
        return cls(**people, hall=make_hall())


class Belongings:
    """Of each kind of object one that is the owner's, as the keyword arguments of its address."""

    def __init__(self, club: Club, owner: User, *, housemate: User | None = None) -> None:
        self.club, self.owner = club, owner
        self.now: datetime = timezone.now()
        self.kitchen = make_kitchen(owner, *([housemate] if housemate else []), name=f"Kitchen of {owner.pk}")
        self.mine: dict[str, Any] = {"by": owner, "kitchen": self.kitchen}

    def __getitem__(self, name: str) -> Arguments:
        return OBJECTS[name](self)

    # What several rows of the table ask for is made once.

    @cached_property
    def revision(self) -> Any:
        return make_revision()

    @cached_property
    def kept(self) -> Batch:
        return make_batch_checked(**self.mine, revision=self.revision, out_at=self.now - timedelta(days=20))

    @cached_property
    def cooking(self) -> Batch:
        return make_batch(**self.mine, revision=self.revision, started_at=self.now - timedelta(hours=2))

    @cached_property
    def out(self) -> Batch:
        return make_batch_checked(
            **self.mine, revision=self.revision, out_at=self.now - timedelta(hours=14), unsealed={1: "reprocess"}
        )

    @cached_property
    def conditioning(self) -> Batch:
        began = self.now - timedelta(days=2)
        batch = make_staged("dry", APPLES, **self.mine, began=began)
        finish(batch, at=began + timedelta(hours=1))
        finish(batch, at=began + timedelta(hours=9), passed=True)
        return batch

    @cached_property
    def jar_offer(self) -> JarOffer:
        return batches.jar_offer_make(by=self.owner, batch=self.kept, size="half-pint", count=2, token=uuid4())

    @cached_property
    def jar_claim(self) -> JarClaim:
        return batches.jar_claim_make(by=self.club.stranger, offer=self.jar_offer, count=1, token=uuid4())

    def called_back(self) -> Batch:
        return make_batch_checked(**self.mine, revision=self.revision, out_at=self.now - timedelta(days=30))

    def jar_claim_by_them(self) -> JarClaim:
        asker = self.club.asker
        kept = make_batch_checked(by=asker, revision=self.revision, out_at=self.now - timedelta(days=20))
        offer = batches.jar_offer_make(by=asker, batch=kept, size="half-pint", count=2, token=uuid4())
        return batches.jar_claim_make(by=self.owner, offer=offer, count=1, token=uuid4())

    @cached_property
    def thing(self) -> Any:
        return make_thing(by=self.club.keeper, now=self.now, kind="jar-lifter", capacity={})

    @cached_property
    def session(self) -> ClassSession:
        later = club_day(self.now) + timedelta(days=9)
        return make_session(by=self.club.teacher, hall=self.club.hall, day=later, revision=self.revision, now=self.now)

    @cached_property
    def signup(self) -> SignUp:
        return make_signup(self.session, self.owner, now=self.now)

    @cached_property
    def draft_session(self) -> ClassSession:
        later = club_day(self.now) + timedelta(days=11)
        state = {"state": SessionState.DRAFT, "now": self.now}
        return make_session(by=self.club.teacher, hall=self.club.hall, day=later, revision=self.revision, **state)

    @cached_property
    def today(self) -> SignUp:
        """The owner's sign-up for a class of today, seated at a station whose batch is on the stove."""
        session = make_session(
            by=self.club.teacher, day=club_day(self.now), revision=self.revision, now=self.now, **ALL_DAY
        )
        signup = make_at_station(session.stations.get(), now=self.now, person=self.owner)
        day.stations_start(by=self.club.teacher, session=session, now=self.now)
        return signup

    @cached_property
    def held(self) -> SignUp:
        """The owner's sign-up for a class that is over, with a picture of it."""
        session = make_session(
            by=self.club.teacher, day=club_day(self.now), revision=self.revision, now=self.now, **ALL_DAY
        )
        signup = make_at_station(session.stations.get(), now=self.now, person=self.owner)
        [cooking] = day.stations_start(by=self.club.teacher, session=session, now=self.now).new
        later = self.now + timedelta(hours=3)
        log_out(cooking, now=later)
        agreed = day.codes_of(day.still_cooking(session))
        day.session_close(by=self.club.teacher, session=session, agreed_to=agreed, now=later)
        return signup

    @cached_property
    def session_photo(self) -> Any:
        session, token = self.held.session, uuid4()
        return day.photo_add(
            by=self.club.teacher, session=session, file=picture(), caption="Jars", shown_agreed=True, token=token
        )

    @cached_property
    def order(self) -> Any:
        order = make_order(by=self.club.keeper, now=self.now)
        wish(order, self.owner, now=self.now, jars=1)
        return order

    @cached_property
    def order_come(self) -> Any:
        order = make_order(by=self.club.keeper, now=self.now)
        wish(order, self.owner, now=self.now, jars=1)
        return make_arrived(order, by=self.club.keeper, now=self.now)

    @cached_property
    def jar_loan(self) -> Movement:
        return make_loan(self.owner, 3, by=self.club.keeper, deposit_cents=50)

    @cached_property
    def offer(self) -> Offer:
        window = fruits.hours(today=club_day(self.now))
        return fruits.make_offer(by=self.owner, now=self.now, windows=(window,))

    @cached_property
    def claim(self) -> Claim:
        """The owner's claim on an offer of somebody who asks nothing else here."""
        window = fruits.hours(today=club_day(self.now))
        offer = fruits.make_offer(by=self.club.asker, now=self.now, windows=(window,))
        return fruits.make_claim(offer, by=self.owner, now=self.now)

    @cached_property
    def share(self) -> Share:
        window = fruits.hours(today=club_day(self.now))
        offer = fruits.make_offer(by=self.club.asker, now=self.now, windows=(window,))
        fruits.make_claim(offer, by=self.owner, now=self.now)
        fruits.share_out(offer, now=self.now)
        return Share.objects.get(offer=offer)

    # One line each; some write what they need first.

    def with_photo(self) -> Arguments:
        photo_set(by=self.club.keeper, thing=self.thing, file=picture())
        return {"code": self.thing.code}

    def offer_with_photo(self) -> Arguments:
        window = fruits.hours(today=club_day(self.now))
        fields = fruits.offer_fields(windows=(window,))
        return {"pk": fruits.services.offer_make(by=self.owner, fields=fields, photo=picture(), now=self.now).pk}

    def thing_out(self) -> Any:
        return make_equipment_loan(
            make_thing(by=self.club.keeper, now=self.now, kind="jar-lifter", capacity={}),
            self.owner,
            by=self.club.keeper,
            now=self.now,
        )

    def deposit_open(self) -> Any:
        """A loan of theirs that is back, its deposit not settled yet."""
        told = {"by": self.club.keeper, "now": self.now}
        thing = make_thing(kind="jar-lifter", capacity={}, **told)
        loan = make_equipment_loan(thing, self.owner, deposit_cents=2000, **told)
        return loan_return(loan=loan, condition="good", **told)

    def shelf_count(self) -> Any:
        """Under way at the owner's own kitchen."""
        place = jars.kitchen_place(self.kitchen)
        return jars.count_begin(by=self.club.keeper, place=place, token=uuid4(), now=self.now)

    def push_device(self) -> Arguments:
        told = {"auth_hash": "x", "began_at": self.now, "seen_at": self.now, "session_key": f"k{uuid4().hex[:30]}"}
        browser = BrowserSession.objects.create(person=self.owner, **told)
        device = self.owner.push_devices.create(browser=browser, endpoint=f"https://push.example.test/{uuid4()}")
        return {"pk": device.pk}

    def own_canner(self) -> Arguments:
        told = {"kind": Kind.DIAL_GAUGE, "name": "The big one", "capacity": {"pint": 9}}
        return {"code": own_canner_add(by=self.owner, kitchen=self.kitchen, token=uuid4(), **told).code}

    def asked_by(self, by: User, kitchen: Kitchen, person: User) -> Arguments:
        kitchen_invite(by=by, kitchen=kitchen, email=person.email)
        return {"pk": KitchenInvitation.objects.get(kitchen=kitchen, person=person).pk}

    def invitation_to_them(self) -> Arguments:
        return self.asked_by(self.club.asker, make_kitchen(self.club.asker, name="Asks"), self.owner)

    def invitation_by_them(self) -> Arguments:
        return self.asked_by(self.owner, self.kitchen, self.club.asker)

    def lot_taken(self) -> Arguments:
        batch = make_batch(**self.mine, revision=self.revision, started_at=self.now - timedelta(hours=1))
        line = lines_with_lots(batch)[0]
        answer = LotAnswer(at=line.at, chosen=WITHOUT)
        [taken] = lots_note(by=self.owner, batch=batch, answers=[answer], token=uuid4())
        return {"lot_code": batch.lot_code, "pk": taken.pk}

    def batch_with_photo(self) -> Arguments:
        told = {"by": self.owner, "batch": self.kept, "file": picture(), "caption": "Jars", "token": uuid4()}
        return {"lot_code": self.kept.lot_code, "pk": batches.batch_photo_add(**told).pk}

    def asked_to_cook(self) -> Arguments:
        batch = make_batch(by=self.club.asker, revision=self.revision, started_at=self.now - timedelta(hours=1))
        return {"pk": batches.hand_ask(by=self.club.asker, batch=batch, person=self.owner, token=uuid4()).pk}

    def set_aside(self) -> Arguments:
        batch = make_batch_out(**self.mine, revision=self.revision, out_at=self.now - timedelta(hours=14))
        aside = batches.jars_set_aside(by=self.owner, batch=batch, situation="unsealed", jars=[1], token=uuid4())
        return {"lot_code": batch.lot_code, "pk": aside.pk}

    def waiting(self) -> Arguments:
        today = club_day(self.now)
        told = {"kind": "jar-lifter", "days": 2, "not_before": today, "not_after": today + timedelta(days=9)}
        return {"pk": waiting_join(by=self.owner, token=uuid4(), now=self.now, **told).pk}

    def hold(self) -> Arguments:
        starts = club_day(self.now) + timedelta(days=3)
        return {"pk": hold_place(by=self.owner, thing=self.thing, starts=starts, ends=starts, now=self.now).pk}

    def deposit(self) -> Deposit:
        assert self.jar_loan
        return Deposit.objects.get(person=self.owner)

    def lid_movement(self) -> Arguments:
        lot = make_lid_lot(code=f"BOX OF {self.owner.pk}")
        jars.lids_move(by=self.club.keeper, reason="bought", lot=lot, count=12, token=uuid4())
        return {"pk": LidMovement.objects.latest("pk").pk}

    def supply_lot(self) -> Any:
        return make_stock(make_supply(by=self.club.keeper), 3, by=self.club.keeper)

    def browser_session(self) -> Arguments:
        told = {"person": self.owner, "auth_hash": self.owner.get_session_auth_hash()}
        return {
            "pk": BrowserSession.objects.create(session_key=uuid4().hex, began_at=self.now, seen_at=self.now, **told).pk
        }

    def address_that_waits(self) -> Arguments:
        address = EmailAddress.objects.create(user=self.owner, email=f"new-{self.owner.pk}@example.test")
        consent = AddressConsent.objects.create(address=address, asked_at=self.now)
        return {"pk": self.owner.pk, "consent_pk": consent.pk}

    def in_review(self) -> Arguments:
        draft = revision_draft(by=self.club.teacher, content=recipe_document(slug=f"review-{uuid4().hex[:8]}"))
        return {"pk": revision_submit(by=self.club.teacher, revision=draft).pk}

    def order_sent(self) -> Arguments:
        order = make_order(by=self.club.keeper, now=self.now)
        wish(order, self.owner, now=self.now, jars=1)
        return {"pk": make_ordered(order, by=self.club.keeper, now=self.now).pk}


OBJECTS: dict[str, Callable[[Belongings], Arguments]] = {
    "": lambda of: {},
    # households and people
    "kitchen": lambda of: {"pk": of.kitchen.pk},
    "hall": lambda of: {"pk": of.club.hall.pk},
    "housemate": lambda of: {"pk": of.kitchen.pk, "person_pk": of.club.housemate.pk},
    "target": lambda of: {"pk": make_target(of.owner, of.kitchen, of.revision).pk},
    "freezer item": lambda of: {"pk": make_freezer_item(**of.mine).pk},
    "own canner": Belongings.own_canner,
    "club invitation": lambda of: {"pk": make_invitation(by=of.club.organiser).pk},
    "kitchen invitation to them": Belongings.invitation_to_them,
    "kitchen invitation by them": Belongings.invitation_by_them,
    "skill": lambda of: {"pk": make_skill(of.owner).pk},
    "browser session": Belongings.browser_session,
    "address that waits": Belongings.address_that_waits,
    "person": lambda of: {"pk": of.owner.pk},
    # recipes
    "process table": lambda of: {"pk": make_process_table(food=f"apricots {of.owner.pk}").pk},
    "revision": lambda of: {"pk": of.revision.pk},
    "draft": lambda of: {"pk": revision_draft(by=of.club.teacher, content=recipe_document(slug="own-draft")).pk},
    "draft in review": Belongings.in_review,
    "recipe": lambda of: {"slug": of.revision.recipe.slug},
    "numbered revision": lambda of: {"slug": of.revision.recipe.slug, "number": of.revision.number},
    # batches
    "canner": lambda of: {"code": make_thing(Kind.DIAL_GAUGE, by=of.club.keeper, now=of.now).code},
    "recall": lambda of: {"pk": make_recall(by=of.club.instructor, batch=of.called_back(), now=of.now).pk},
    "jar offer": lambda of: {"pk": of.jar_offer.pk},
    "jar claim": lambda of: {"pk": of.jar_claim.pk},
    "jar claim by them": lambda of: {"pk": of.jar_claim_by_them().pk},
    "batch": lambda of: {"lot_code": of.kept.lot_code},
    "jar": lambda of: {"lot_code": of.kept.lot_code, "number": 1},
    "batch cooking": lambda of: {"lot_code": of.cooking.lot_code},
    "asked to cook along": Belongings.asked_to_cook,
    "batch with photo": Belongings.batch_with_photo,
    "step cooking": lambda of: {"lot_code": of.cooking.lot_code, "step": "p1s1"},
    "batch out": lambda of: {"lot_code": of.out.lot_code},
    "batch conditioning": lambda of: {"lot_code": of.conditioning.lot_code},
    "food to dry": lambda of: {"way": "dry", "key": APPLES},
    "lot taken": Belongings.lot_taken,
    "jars set aside": Belongings.set_aside,
    # equipment
    "kind": lambda of: {"kind": of.thing.kind},
    "waiting": Belongings.waiting,
    "hold": Belongings.hold,
    "loan": lambda of: {"pk": of.thing_out().pk},
    "loan with deposit": lambda of: {"pk": of.deposit_open().pk},
    "export": lambda of: {"what": "things", "form": "csv"},
    "thing": lambda of: {"code": of.thing.code},
    "thing out": lambda of: {"code": of.thing_out().thing.code},
    "thing with photo": Belongings.with_photo,
    # jars
    "place of kitchen": lambda of: {"pk": jars.kitchen_place(of.kitchen).pk},
    "place of person": lambda of: {"pk": jars.person_place(of.owner).pk},
    "movement": lambda of: {"pk": of.jar_loan.pk},
    "reason bought": lambda of: {"reason": "bought"},
    "reason lent": lambda of: {"reason": "lent"},
    "deposit": lambda of: {"pk": of.deposit().pk},
    "push device": Belongings.push_device,
    "join request": lambda of: {
        "pk": JoinRequest.objects.create(name="Ada", email=f"{uuid4()}@example.test", asked_at=of.now).pk
    },
    "shelf count": lambda of: {"pk": of.shelf_count().pk},
    "lid movement": Belongings.lid_movement,
    "supply": lambda of: {"pk": make_supply(by=of.club.keeper).pk},
    "supply lot": lambda of: {"pk": of.supply_lot().pk},
    "supply movement": lambda of: {"pk": SupplyMovement.objects.get(lot=of.supply_lot()).pk},
    "order": lambda of: {"pk": of.order.pk},
    "order line": lambda of: {"pk": of.order.lines.first().pk},
    "order sent": Belongings.order_sent,
    "order come": lambda of: {"pk": of.order_come.pk},
    "bill": lambda of: {"pk": of.order_come.pk, "member": of.owner.pk},
    "export of jars": lambda of: {"table": "movements"},
    # fruit
    "offer": lambda of: {"pk": of.offer.pk},
    "offer with photo": Belongings.offer_with_photo,
    "claim": lambda of: {"pk": of.claim.pk},
    "share": lambda of: {"pk": of.share.pk},
    # classes
    "session": lambda of: {"pk": of.session.pk},
    "draft session": lambda of: {"pk": of.draft_session.pk},
    "sessions": lambda of: {"pk": of.draft_session.pk, "source": of.session.pk},
    "station": lambda of: {"pk": of.draft_session.pk, "number": 1},
    "sign-up": lambda of: {"pk": of.signup.pk},
    "session today": lambda of: {"pk": of.today.session_id},
    "sign-up today": lambda of: {"pk": of.today.session_id, "signup_pk": of.today.pk},
    "station today": lambda of: {"pk": of.today.session_id, "station_pk": of.today.station_id},
    "load today": lambda of: {"pk": of.today.session_id, "station_pk": of.today.station_id, "number": 1},
    "held session": lambda of: {"pk": of.held.session_id},
    "photo of a session": lambda of: {"pk": of.held.session_id, "photo_pk": of.session_photo.pk},
    "photo": lambda of: {"pk": of.session_photo.pk},
    "handout": lambda of: {"pk": of.held.pk},
    # mail
    "reminder": lambda of: {"pk": make_received(of.owner, state="dead", sent_at=None).pk},
    "inbox row": lambda of: {"pk": make_received(of.owner).pk},
}
