"""Two at once, on real connections to the real database file: one wins."""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import partial

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.utils import timezone

from club.members import services
from club.members.choices import Role
from club.members.models import Invitation, KitchenInvitation, User
from club.members.services import InvitationClosed, SecondLook, token_for
from tests import helpers
from tests.factories.members import make_invitation, make_kitchen, make_organiser, make_person

pytestmark = pytest.mark.django_db(transaction=True)

at_once = partial(helpers.at_once, refusals=(InvitationClosed, ValidationError))


@pytest.mark.parametrize("attempt", range(3))
def test_of_four_acceptances_at_once_one_wins(attempt):
    invitation = make_invitation(email="gil@example.test")
    token = token_for(invitation.nonce)

    def accept(name: str) -> Callable[[], User]:
        return lambda: services.invitation_accept(token=token, name=name, password="three blue kettles", units="metric")

    results = at_once(*(accept(f"Gil {n}") for n in range(4)))
    winners = [result for result in results if isinstance(result, User)]
    assert len(winners) == 1
    assert all(isinstance(result, InvitationClosed) for result in results if result not in winners)
    assert User.objects.filter(email="gil@example.test").count() == 1
    assert Invitation.objects.get().accepted_by == winners[0]


def test_two_organisers_taking_the_role_from_each_other_leave_one(monkeypatch):
    one, two = make_organiser(), make_organiser()
    # As in a request whose view has asked already: both go in believing that they may.
    assert one.has_perm("members.grant_role")
    assert two.has_perm("members.grant_role")
    check = services.keep_an_organiser

    def check_and_dawdle(**told: User) -> None:
        check(**told)
        time.sleep(0.3)  # long enough for the other to look too, if nothing holds it back

    monkeypatch.setattr(services, "keep_an_organiser", check_and_dawdle)
    results = at_once(
        lambda: services.role_take(by=one, person=User.objects.get(pk=two.pk), role=Role.ORGANISER),
        lambda: services.role_take(by=two, person=User.objects.get(pk=one.pk), role=Role.ORGANISER),
    )
    assert sum(isinstance(result, ValidationError) for result in results) == 1
    assert User.objects.get_queryset().holding(Role.ORGANISER).count() == 1


# What moves people in and out of a household, what it decides together, and names: pressed at one moment by two.


def asked(bo, kitchen) -> KitchenInvitation:
    return KitchenInvitation.objects.create(
        kitchen=kitchen, email=bo.email, person=bo, invited_by=kitchen.founded_by, invited_at=timezone.now()
    )


def lower_to(by, kitchen, metres):
    return partial(
        services.kitchen_change,
        by=by,
        kitchen=kitchen,
        name="Plum Lane",
        altitude_text=metres,
        altitude_how="map",
        looked_at=kitchen.altitudes.get().pk,
    )


# Ada founded the kitchen and keeps it, Bo is of it, Cy is asked: what two of them press, and how many may succeed.
HOUSEHOLD = {
    "both of a household leave": (
        lambda ada, bo, cy, kitchen: (
            partial(services.household_leave, by=ada, kitchen=kitchen),
            partial(services.household_leave, by=bo, kitchen=kitchen),
        ),
        {1},
    ),
    "one is removed and leaves": (
        lambda ada, bo, cy, kitchen: (
            partial(services.household_remove, by=ada, kitchen=kitchen, person=bo),
            partial(services.household_leave, by=bo, kitchen=kitchen),
        ),
        {1, 2},
    ),
    "it is handed to one who leaves": (
        lambda ada, bo, cy, kitchen: (
            partial(services.household_hand_on, by=ada, kitchen=kitchen, person=bo),
            partial(services.household_leave, by=bo, kitchen=kitchen),
        ),
        {1, 2},
    ),
    "the keeper leaves and hands it on": (
        lambda ada, bo, cy, kitchen: (
            partial(services.household_leave, by=ada, kitchen=kitchen),
            partial(services.household_hand_on, by=ada, kitchen=kitchen, person=bo),
        ),
        {1, 2},
    ),
    "the keeper leaves and their membership ends": (
        lambda ada, bo, cy, kitchen: (
            partial(services.household_leave, by=ada, kitchen=kitchen),
            partial(services.member_deactivate, by=make_organiser(), person=ada),
        ),
        {2},
    ),
    "one accepts what is taken back": (
        lambda ada, bo, cy, kitchen: (
            partial(
                services.kitchen_invitation_answer, by=cy, invitation=kitchen.invitations.get(person=cy), accept=True
            ),
            partial(services.kitchen_invitation_withdraw, by=ada, invitation=kitchen.invitations.get(person=cy)),
        ),
        {1, 2},
    ),
    "one accepts twice": (
        lambda ada, bo, cy, kitchen: (
            (
                partial(
                    services.kitchen_invitation_answer,
                    by=cy,
                    invitation=kitchen.invitations.get(person=cy),
                    accept=True,
                ),
            )
            * 2
        ),
        {1},
    ),
    "one address is asked twice": (
        lambda ada, bo, cy, kitchen: (
            (partial(services.kitchen_invite, by=ada, kitchen=kitchen, email="dee@example.test"),) * 2
        ),
        {2},
    ),
    "two say another altitude": (
        lambda ada, bo, cy, kitchen: (lower_to(ada, kitchen, "300 m"), lower_to(bo, kitchen, "10 m")),
        {1, 2},
    ),
    "two take one name": (
        lambda ada, bo, cy, kitchen: (
            partial(services.profile_change, by=bo, name="Dee Quince", units="us"),
            partial(services.profile_change, by=cy, name="DEE QUINCE", units="us"),
        ),
        {1},
    ),
}


@pytest.mark.parametrize("case", HOUSEHOLD)
def test_of_two_presses_in_a_household_it_stays_whole(case):
    ada, bo, cy = (make_person(name=name) for name in ("Ada Plum", "Bo Plum", "Cy Plum"))
    kitchen = make_kitchen(ada, bo, altitude="2600 m")
    asked(cy, kitchen)
    presses, may_succeed = HOUSEHOLD[case]
    results = helpers.at_once(*presses(ada, bo, cy, kitchen), refusals=(ValidationError, PermissionDenied, SecondLook))
    refusals = [result for result in results if isinstance(result, Exception)]
    assert len(results) - len(refusals) in may_succeed, refusals
    household = kitchen.household.all()
    assert household.exists()
    assert household.filter(is_keeper=True).count() == 1
    assert household.count() == household.values("user").distinct().count()
    invitation = kitchen.invitations.get(person=cy)
    assert household.filter(user=cy).exists() == (invitation.accepted_at is not None)
    assert not (invitation.accepted_at and invitation.withdrawn_at)
    assert kitchen.invitations.filter(email="dee@example.test").count() <= 1
    kitchen.refresh_from_db()
    last = kitchen.altitudes.last()
    assert (kitchen.altitude_m, kitchen.altitude_how) == (last.altitude_m, last.how)
    assert User.objects.filter(name__iexact="dee quince").count() <= 1


def test_two_organisers_inviting_the_same_person_at_once_send_one_invitation():
    one, two = make_organiser(), make_organiser()
    results = at_once(
        lambda: make_invitation(by=one, email="gil@example.test"),
        lambda: make_invitation(by=two, email="gil@example.test"),
    )
    assert sum(isinstance(result, ValidationError) for result in results) == 1
    assert Invitation.objects.count() == 1
