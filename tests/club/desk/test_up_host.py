"""The demo club, whose password is printed, is never opened to a network."""

from __future__ import annotations

import pytest

from club.run.demo import SIGN_INS
from club.run.management.commands.up import require_no_demo_abroad
from club.run.site import SiteError, is_loopback
from tests.factories.members import make_person


@pytest.mark.parametrize("host", ["127.0.0.1", "127.0.0.2", "::1", "localhost"])
def test_only_this_machine_reaches_a_loopback_address(host):
    assert is_loopback(host)


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.7", "hall.example"])
def test_others_reach_any_other_address(host):
    assert not is_loopback(host)


@pytest.mark.django_db
def test_a_folder_with_demo_accounts_is_not_opened_to_a_network():
    require_no_demo_abroad("0.0.0.0")  # nobody of the demo is here yet
    make_person(email=SIGN_INS[0][0])
    require_no_demo_abroad("127.0.0.1")
    with pytest.raises(SiteError, match="password is no secret"):
        require_no_demo_abroad("0.0.0.0")
