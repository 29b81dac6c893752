"""Bodies that are too long, say no length, or have too many parts are refused, and a photograph is not."""

from __future__ import annotations

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import RequestFactory

from club.core.middleware import BodyLimitMiddleware
from club.core.photos import MOST_BYTES

pytestmark = pytest.mark.django_db
SIGN_IN = "/accounts/login/"


class Unread:
    """A body of which nothing may be read."""

    def read(self, *_size):
        raise AssertionError("the body was read")

    readline = __iter__ = read


def answer_to(length: str, **meta):
    def reached(_request):
        raise AssertionError("the site was asked")

    request = RequestFactory().post(SIGN_IN)
    request.META |= {"CONTENT_LENGTH": length, "wsgi.input": Unread(), **meta}
    return BodyLimitMiddleware(reached)(request)


@pytest.mark.parametrize("length", [str(settings.MOST_BODY_BYTES + 1), "9" * 18, "9" * 5000, "-1", "many", "²"])
def test_a_body_that_is_too_long_is_refused_unread_with_what_to_do(length):
    answer = answer_to(length)
    assert answer.status_code == 413
    assert "8 MB" in answer.content.decode()


def test_a_body_that_does_not_say_its_length_is_refused_unread():
    answer = answer_to("", HTTP_TRANSFER_ENCODING="chunked")
    assert answer.status_code == 411
    assert "length" in answer.content.decode()


def test_the_limit_stands_before_everything_that_reads_a_body(client):
    answer = client.generic("POST", SIGN_IN, b"", CONTENT_LENGTH=str(80 * 1024 * 1024))
    assert answer.status_code == 413


def test_a_photograph_of_the_size_that_is_allowed_comes_in(client):
    file = SimpleUploadedFile("a.jpg", b"x" * MOST_BYTES)
    assert client.post(SIGN_IN, {"photo": file}).status_code == 200


def test_a_body_of_text_has_a_limit_of_its_own(client):
    answer = client.post(SIGN_IN, {"login": "x" * (settings.DATA_UPLOAD_MAX_MEMORY_SIZE + 1)})
    assert answer.status_code == 400


@pytest.mark.parametrize(
    "sent",
    [
        {f"field_{n}": "x" for n in range(settings.DATA_UPLOAD_MAX_NUMBER_FIELDS + 1)},
        {f"file_{n}": SimpleUploadedFile("a", b"x") for n in range(settings.DATA_UPLOAD_MAX_NUMBER_FILES + 1)},
    ],
    ids=["fields", "files"],
)
def test_too_many_parts_are_refused(client, sent):
    assert client.post(SIGN_IN, sent).status_code == 400
