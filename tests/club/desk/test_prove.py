"""`prove` that is stopped half-way says so, and does not pass for a proof."""

from __future__ import annotations

import io
import subprocess
from datetime import UTC, datetime, timedelta

import pytest
from django.core.management import call_command
from django.utils import timezone

from club.run.management.commands import prove
from tests import clock


def test_a_proof_that_is_stopped_says_so_and_counts_as_failed(monkeypatch):
    def pressed(*args, **kwargs):
        raise KeyboardInterrupt

    monkeypatch.setattr(prove.subprocess, "run", pressed)
    told = io.StringIO()
    with pytest.raises(SystemExit) as stopped:
        call_command("prove", stdout=told)
    assert stopped.value.code == 130
    assert "nothing is proved" in told.getvalue()


@pytest.fixture
def runs(monkeypatch):
    """What `prove` would have run: [arguments, environment]; `answers` are the exit statuses to give in turn."""
    made, answers = [], []

    def run(argv, env, **_more):
        made.append((argv, env))
        return subprocess.CompletedProcess(argv, answers.pop(0) if answers else 0)

    monkeypatch.setattr(prove.subprocess, "run", run)
    return made, answers


def prove_hours(*arguments: str) -> tuple[int, str]:
    told = io.StringIO()
    with pytest.raises(SystemExit) as ended:
        call_command("prove", "--hours", *arguments, stdout=told)
    return ended.value.code, told.getvalue()


def test_the_hours_differ_and_lie_in_three_zones_on_days_of_change_among_others():
    moments = [datetime.fromisoformat(one.moment).replace(tzinfo=prove.ZONE_OF_THE_TESTS) for one in prove.HOURS]
    assert len({one.hour for one in moments}) == 4
    assert len({one.zone for one in prove.HOURS}) == 3
    midnights = [one.replace(hour=0, minute=0) for one in moments]
    days = [(one + timedelta(days=1)).astimezone(UTC) - one.astimezone(UTC) for one in midnights]
    assert {timedelta(hours=23), timedelta(hours=25)} < set(days)
    assert str(prove.ZONE_OF_THE_TESTS) == clock.ZONE


def test_at_each_hour_the_tests_and_all_they_start_have_its_clock_and_zone(runs, monkeypatch):
    made, _answers = runs
    monkeypatch.setattr(prove.shutil, "which", lambda name: f"/usr/bin/{name}")
    assert prove_hours()[0] == 0
    assert [(env["TEST_CLOCK"], env["CLUB_TIME_ZONE"]) for _argv, env in made] == [
        (one.moment, one.zone) for one in prove.HOURS
    ]
    for (argv, _env), hour in zip(made, prove.HOURS, strict=True):
        assert argv[:2] == ["/usr/bin/faketime", "-f"]
        then = timezone.localtime(timezone.now() + timedelta(seconds=int(argv[2].removesuffix("s"))))
        assert abs(then.replace(tzinfo=None) - datetime.fromisoformat(hour.moment)) < timedelta(minutes=1)


def test_tests_run_side_by_side_and_at_each_hour_the_whole_of_what_is_a_sample(runs):
    made, _answers = runs
    prove_hours("--quick", "--", "-k", "seals")
    for argv, env in made:
        assert [*argv[-8:-4]] == ["-n", "auto", "--no-loadscope-reorder", "-m"], argv
        assert argv[-3:] == ["--hypothesis-profile=quick", "-k", "seals"]
        assert env["TEST_WHOLE"] == "1"


def test_without_faketime_real_workers_are_left_out_and_that_is_said(runs, monkeypatch):
    made, _answers = runs
    monkeypatch.setattr(prove.shutil, "which", lambda name: None)
    assert "the tests with real workers are left out" in prove_hours()[1]
    assert all(argv[-2:] == ["-m", "not worker"] for argv, _env in made)


def test_an_hour_that_failed_is_named_and_the_others_are_run_all_the_same(runs):
    made, answers = runs
    answers += [0, 1]
    status, told = prove_hours("--quick")
    assert (status, len(made)) == (1, len(prove.HOURS))
    assert told.splitlines()[-1] == f"3 of 4 hours passed. Failed: {prove.HOURS[1].moment}"
