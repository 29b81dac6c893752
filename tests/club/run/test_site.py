from __future__ import annotations

import socket

import pytest

from club.run import site
from tests.drills.mail_sink import free_port


def test_a_second_holder_of_the_lock_is_told_who_has_it(tmp_path):
    refused = pytest.raises(site.SiteError, match=r"already running from .* \(process \d+\)")
    with site.only_one(tmp_path), refused, site.only_one(tmp_path):
        pass
    with site.only_one(tmp_path):
        pass  # the first let go of it


def test_a_taken_port_is_named_and_another_offered():
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(site.SiteError, match=rf"Port {port} on 127.0.0.1 cannot be used.*--port {port + 1}"):
            site.require_free_port("127.0.0.1", port)


def test_a_free_port_is_accepted():
    site.require_free_port("127.0.0.1", free_port())


@pytest.mark.parametrize(
    ("host", "address"),
    [
        ("127.0.0.1", "http://127.0.0.1:8000"),
        ("0.0.0.0", "http://127.0.0.1:8000"),
        ("::", "http://[::1]:8000"),
        ("hall.example", "http://hall.example:8000"),
    ],
)
def test_the_address_is_one_a_browser_here_can_open(host, address):
    assert site.address(host, 8000) == address


def test_nobody_listening_is_no_answer():
    assert site.answers("127.0.0.1", free_port(), site_host="127.0.0.1") is False
