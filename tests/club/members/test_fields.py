"""A moment that is typed in lies in years that somebody can mean."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError

from club.core.fields import MomentField


@pytest.mark.parametrize("typed", ["9999-12-31T23:59", "0001-01-01T00:00"])
def test_a_year_that_nobody_can_mean_is_refused(typed):
    with pytest.raises(ValidationError, match="Check the year"):
        MomentField().clean(typed)


def test_a_year_that_somebody_can_mean_is_taken_and_nothing_is_nothing():
    moment = MomentField().clean("2026-09-14T18:30")
    assert (moment.year, moment.hour) == (2026, 18)
    assert MomentField(required=False).clean("") is None
