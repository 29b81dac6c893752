"""The files that a server is set up with: well formed, and speaking of what there is in this house."""

from __future__ import annotations

import re
import shutil
import subprocess

import pytest
import yaml

from club.core.places import HOME

DEPLOY = HOME / "club" / "run" / "deploy"
UNITS = sorted((DEPLOY / "systemd").glob("kettlehall-*"))
README = (HOME / "README.md").read_text(encoding="utf-8")


def variables(name: str) -> set[str]:
    lines = (DEPLOY / name).read_text(encoding="utf-8").splitlines()
    return {line.partition("=")[0] for line in lines if line and not line.startswith("#")}


def test_compose_has_every_part_with_a_health_check_and_a_restart():
    compose = yaml.safe_load((DEPLOY / "compose.yaml").read_text(encoding="utf-8"))
    services = compose["services"]
    assert set(services) == {"web", "worker", "beat", "database", "redis", "front"}
    assert all(one["restart"] == "unless-stopped" for one in services.values())
    assert all("healthcheck" in services[name] for name in ("web", "database", "redis"))
    named = {volume.partition(":")[0] for one in services.values() for volume in one.get("volumes", [])}
    assert {volume for volume in named if not volume.startswith("./")} == set(compose["volumes"])
    named_files = [one.get("env_file", []) for one in services.values()]
    files = {file for names in named_files for file in ([names] if isinstance(names, str) else names)}
    assert all((DEPLOY / f"{file}.example").exists() for file in files)
    build = services["web"]["build"]
    assert (DEPLOY / build["context"]).resolve() == HOME
    assert (HOME / build["dockerfile"]).is_file()


def test_the_health_check_asks_by_the_site_s_own_name(monkeypatch):
    compose = yaml.safe_load((DEPLOY / "compose.yaml").read_text(encoding="utf-8"))
    asked = []
    monkeypatch.setenv("SITE_URL", "https://club.example.test")
    monkeypatch.setattr("urllib.request.urlopen", lambda request, timeout: asked.append(request))
    exec(compose["services"]["web"]["healthcheck"]["test"][-1], {})
    (request,) = asked
    assert request.get_header("Host") == "club.example.test"
    assert request.selector == "/healthz"


def test_the_image_is_made_of_what_there_is():
    copied = re.findall(r"^COPY (.+) \S+$", (DEPLOY / "Containerfile").read_text(encoding="utf-8"), re.MULTILINE)
    assert copied
    assert all((HOME / name).exists() for line in copied for name in line.split())


@pytest.mark.parametrize("name", ["site.env.example", "compose.env.example", "systemd/machine.env.example"])
def test_a_variable_of_the_environment_files_is_one_that_the_readme_tells_of(name):
    told = variables(name) - {"POSTGRES_USER", "POSTGRES_DB", "POSTGRES_PASSWORD"}  # the database's own
    assert {one for one in told if f"`{one}`" not in README} == set()


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="no systemd here")
def test_systemd_finds_nothing_wrong_with_the_units(tmp_path):
    for unit in UNITS:
        text = unit.read_text(encoding="utf-8").replace("/opt/kettlehall/.venv/bin/", "/usr/bin/env ")
        (tmp_path / unit.name).write_text(text.replace("/opt/kettlehall", str(HOME)), encoding="utf-8")
    done = subprocess.run(
        ["systemd-analyze", "verify", *(str(tmp_path / unit.name) for unit in UNITS)], capture_output=True, text=True
    )
    assert (done.returncode, done.stderr) == (0, "")


def test_worker_and_beat_begin_again_where_the_rounds_stand_still():
    compose = yaml.safe_load((DEPLOY / "compose.yaml").read_text(encoding="utf-8"))
    for name in ("worker", "beat"):
        part = compose["services"][name]
        assert "manage.py rounds" in part["healthcheck"]["test"][-1]
        assert part["init"]  # else what dies is not the container
    asks, again = (
        (DEPLOY / "systemd" / f"kettlehall-{name}.service").read_text(encoding="utf-8") for name in ("rounds", "again")
    )
    assert "manage.py rounds" in asks
    assert "OnFailure=kettlehall-again.service" in asks
    assert "try-restart kettlehall-worker.service kettlehall-beat.service" in again
    assert "kettlehall-rounds.timer" in README


def test_each_part_that_stays_is_started_again_however_it_ends():
    for name in ("web", "worker", "beat"):
        unit = (DEPLOY / "systemd" / f"kettlehall-{name}.service").read_text(encoding="utf-8")
        assert "Restart=always" in unit
        assert "StartLimitIntervalSec=0" in unit
