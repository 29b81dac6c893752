from __future__ import annotations

import signal
import subprocess
import sys

import pytest

from club.run.children import HOME, end, spawn
from club.run.supervisor import (
    OLD_LOGS,
    ORPHANS_HAVE_S,
    STEADY_AFTER_S,
    TOLD_EVERY,
    Part,
    PartFailed,
    Supervisor,
    pause_after,
)
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


def test_a_part_that_cannot_stay_up_is_tried_on_and_the_others_stay(supervisor, clock, said):
    other = supervisor.start(SLEEPER)
    supervisor.start(FALLER)
    for fall in range(2 * TOLD_EVERY):
        supervisor.running[1].process.wait()
        supervisor.look()
        clock.now += pause_after(fall + 1)
        supervisor.look()  # starts it again
    assert is_alive(other)
    assert said[-3].endswith("again in 30 s.")
    assert sum("the setting is wrong" in line for line in said) == 2
    assert len(said) == 2 * TOLD_EVERY + 2


def test_what_a_fallen_part_leaves_behind_ends_when_it_had_its_time(supervisor, clock, tmp_path):
    leader = supervisor.start(Part("parent", ("sh", "-c", "sleep 78 & sleep 78 & wait")))
    wait_until(lambda: len(running_in_group(leader.pid)) == 3, pause=0.02)
    leader.kill()
    leader.wait()
    supervisor.look()
    clock.now = 1.0
    supervisor.look()
    assert is_alive(supervisor.running[0].process)
    assert len(running_in_group(leader.pid)) == 2
    clock.now = ORPHANS_HAVE_S
    supervisor.look()
    wait_until(lambda: not running_in_group(leader.pid), pause=0.02)


def test_a_part_that_hangs_is_ended_and_starts_again(supervisor, clock, said):
    hanging = supervisor.start(SLEEPER)
    clock.now = STEADY_AFTER_S
    assert supervisor.seconds_up("sleeper") == STEADY_AFTER_S
    supervisor.end_one("sleeper", "did not answer")
    assert not is_alive(hanging)
    assert supervisor.seconds_up("sleeper") == 0
    clock.now += 1
    supervisor.look()
    assert is_alive(supervisor.running[0].process)
    assert said == ["sleeper did not answer and was ended; again in 1 s."]


def test_a_part_that_cannot_be_started_is_tried_on(supervisor, clock, said):
    gone = Part("gone", ("sleep", "60"))
    supervisor.start(gone).kill()
    supervisor.running[0].process.wait()
    supervisor.running[0].part = Part("gone", ("/no/such/program",))
    supervisor.look()
    clock.now = 1.0
    supervisor.look()
    assert said[-1] == "gone could not be started (No such file or directory); again in 2 s."


def test_a_part_that_was_steady_has_its_earlier_falls_forgotten(supervisor, clock, said):
    supervisor.start(SLEEPER)
    for _ in range(3 * TOLD_EVERY):
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


def test_a_log_that_grew_too_long_is_put_aside_while_its_part_writes_on(supervisor, tmp_path, monkeypatch):
    monkeypatch.setattr("club.run.supervisor.LOG_KEPT_BYTES", 10)
    supervisor.start(Part("writer", ("sh", "-c", "while :; do echo a story; sleep 0.01; done")))
    log = tmp_path / "log" / "writer.log"
    for _ in range(OLD_LOGS + 2):
        wait_until(lambda: log.stat().st_size > 10, pause=0.01)
        supervisor.look()
    assert log.stat().st_size < 1000
    assert sorted(p.name for p in log.parent.iterdir()) == [
        "writer.log",
        *(f"writer.log.{n + 1}" for n in range(OLD_LOGS)),
    ]
    assert all(p.read_text().startswith("a story\n") for p in log.parent.glob("writer.log.*"))


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
