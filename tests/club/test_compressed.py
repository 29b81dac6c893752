"""Pages go out compressed, and no two answers with the same words are as long: see the settings for why."""

from __future__ import annotations

import gzip

import pytest
from django.urls import reverse

from tests.factories.members import make_person


@pytest.mark.django_db
def test_a_page_is_compressed_for_who_reads_that_and_its_length_tells_nothing(sign_in):
    client = sign_in(make_person())
    plain = client.get(reverse("desk:home"))
    answers = [client.get(reverse("desk:home"), headers={"accept-encoding": "gzip"}) for _n in range(8)]
    assert "Content-Encoding" not in plain
    assert all(one["Content-Encoding"] == "gzip" for one in answers)
    assert all(len(one.content) < len(plain.content) / 2 for one in answers)
    assert "</html>" in gzip.decompress(answers[0].content).decode()
    assert len({len(one.content) for one in answers}) > 1
