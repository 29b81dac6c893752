"""The lists of the admin site: they show rows, and take nothing that is done to many at once."""

from __future__ import annotations

import pytest
from django.contrib import admin
from django.test import RequestFactory

from club.members.models import User


@pytest.mark.parametrize("listed", admin.site._registry.values(), ids=str)
def test_no_list_of_the_admin_site_takes_an_action(listed):
    request = RequestFactory().get("/")
    request.user = User(is_active=True, is_superuser=True)
    assert listed.get_actions(request) == {}
