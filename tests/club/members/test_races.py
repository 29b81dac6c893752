"""Two at once, on real connections to the real database file: one wins."""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import partial

import pytest
from django.core.exceptions import ValidationError

from club.members import services
from club.members.choices import Role
from club.members.models import Invitation, User
from club.members.services import InvitationClosed, token_for
from tests import helpers
from tests.factories.members import make_invitation, make_organiser

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


def test_two_organisers_inviting_the_same_person_at_once_send_one_invitation():
    one, two = make_organiser(), make_organiser()
    results = at_once(
        lambda: make_invitation(by=one, email="gil@example.test"),
        lambda: make_invitation(by=two, email="gil@example.test"),
    )
    assert sum(isinstance(result, ValidationError) for result in results) == 1
    assert Invitation.objects.count() == 1
