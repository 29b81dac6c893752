from __future__ import annotations

import signal
import subprocess
import sys

import pytest

from club.run.children import HOME, end, spawn
from club.run.supervisor import FALLS_ALLOWED, STEADY_AFTER_S, Part, PartFailed, Supervisor, pause_after
from tests.drills.patience import wait_until
from tests.drills.processes import is_running, running_in_group

SLEEPER = Part("sleeper", ("sleep", "60"))
FALLER = Part("faller", ("sh", "-c", "echo the setting is wrong; exit 3"))


class Clock:
    now = 0.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def said():
    return []


@pytest.fixture
def supervisor(tmp_path, clock, said):
    one = Supervisor(tmp_path / "log", announce=said.append, clock=clock)
    yield one
    one.stop(patience=2)


def is_alive(process: subprocess.Popen) -> bool:
    return process.poll() is None


def test_pauses_grow_and_stay_bounded():
    assert [pause_after(n) for n in range(1, 7)] == [1, 2, 4, 8, 16, 30]


def test_a_part_that_fell_starts_again_after_its_pause_and_not_before(supervisor, clock, said):
    first = supervisor.start(SLEEPER)
    first.kill()
    first.wait()
    supervisor.look()
    assert said == ["sleeper stopped (exit status -9); again in 1 s."]
    supervisor.look()
    assert supervisor.running[0].process is first
    clock.now = 1.0
    supervisor.look()
    assert is_alive(supervisor.running[0].process)
    assert supervisor.running[0].process is not first


def test_a_part_that_cannot_stay_up_ends_the_site_with_the_end_of_its_log(supervisor, clock, said):
    supervisor.start(FALLER)
    for fall in range(FALLS_ALLOWED):
        supervisor.running[0].process.wait()
        supervisor.look()
        clock.now += pause_after(fall + 1)
        supervisor.look()  # starts it again
    supervisor.running[0].process.wait()
    with pytest.raises(PartFailed, match="the setting is wrong"):
        supervisor.look()
    assert len(said) == FALLS_ALLOWED


def test_a_part_that_was_steady_has_its_earlier_falls_forgotten(supervisor, clock, said):
    supervisor.start(SLEEPER)
    for _ in range(3 * FALLS_ALLOWED):
        clock.now += STEADY_AFTER_S
        supervisor.running[0].process.kill()
        supervisor.running[0].process.wait()
        supervisor.look()
        clock.now += 1
        supervisor.look()
    assert said[-1].endswith("again in 1 s.")


def test_while_the_site_starts_a_fall_is_told_and_not_mended(supervisor):
    supervisor.start(FALLER).wait()
    with pytest.raises(PartFailed, match=r"faller did not start.*\n.*\nthe setting is wrong"):
        supervisor.require_all_up()


def test_the_first_started_stops_last(supervisor, tmp_path):
    note = (
        "import pathlib, signal, sys, time\n"
        "file, name = pathlib.Path(sys.argv[1]), sys.argv[2]\n"
        "signal.signal(signal.SIGTERM, lambda *a: (file.open('a').write(name), sys.exit()))\n"
        "pathlib.Path(f'{file}{name}').touch()\n"
        "time.sleep(60)"
    )
    order = tmp_path / "order"
    for name in "abc":
        supervisor.start(Part(name, (sys.executable, "-c", note, str(order), name)))
    wait_until(lambda: all((tmp_path / f"order{name}").exists() for name in "abc"), pause=0.02)
    supervisor.stop()
    written = order.read_text()
    assert sorted(written) == ["a", "b", "c"]
    assert written[-1] == "a"


def test_what_does_not_stop_when_asked_is_killed_with_all_it_started(tmp_path):
    # (the inner sleeps take the trap over from their shell)
    stubborn = "trap '' TERM; echo deaf; sleep 77 & sleep 77"
    process = spawn(["sh", "-c", stubborn], log=tmp_path / "log")
    wait_until(lambda: "deaf" in (tmp_path / "log").read_text(), pause=0.02)
    end([process], patience=0.3)
    assert process.returncode == -signal.SIGKILL
    wait_until(lambda: not running_in_group(process.pid), pause=0.02)  # the kernel takes a moment to bury them


def test_a_log_that_grew_too_long_is_put_aside(supervisor, tmp_path, monkeypatch):
    monkeypatch.setattr("club.run.supervisor.LOG_KEPT_BYTES", 10)
    log = tmp_path / "log" / "sleeper.log"
    log.parent.mkdir()
    log.write_text("a long story of the last season")
    supervisor.start(SLEEPER)
    assert log.read_text() == ""
    assert (tmp_path / "log" / "sleeper.log.1").read_text().startswith("a long story")


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux tells a child that its parent died")
def test_a_child_ends_when_its_parent_is_killed(tmp_path):
    code = (
        "import pathlib, sys, time; from club.run.children import spawn;"
        "p = spawn(['sleep', '60'], log=pathlib.Path(sys.argv[1]) / 'log'); print(p.pid, flush=True); time.sleep(60)"
    )
    parent = subprocess.Popen([sys.executable, "-c", code, str(tmp_path)], cwd=HOME, stdout=subprocess.PIPE, text=True)
    child = parent.stdout.readline().strip()
    parent.kill()
    parent.wait()
    parent.stdout.close()
    wait_until(lambda: not is_running(int(child)), pause=0.05)
