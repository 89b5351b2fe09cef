"""Children that die come back, and nothing is left when the supervisor goes."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from brickledger import supervisor as module
from brickledger.supervisor import Child, Supervisor

PATIENT_S = 30.0


def python(code: str, *arguments: object) -> tuple[str, ...]:
    """A command that runs a few lines of Python."""
    return (sys.executable, "-c", code, *map(str, arguments))


SLEEPER = "import time\ntime.sleep(600)"
# Writes its own number and that of a child of its own, then waits.
PARENT = """
import os, subprocess, sys, time
below = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(600)"])
with open(sys.argv[1] + ".part", "w") as file:
    file.write(f"{os.getpid()} {below.pid}")
os.rename(sys.argv[1] + ".part", sys.argv[1])
time.sleep(600)
"""
STUBBORN = """
import os, signal, sys, time
signal.signal(signal.SIGTERM, signal.SIG_IGN)
open(sys.argv[1], "w").close()
time.sleep(600)
"""


def until(condition: Callable[[], bool]) -> None:
    """Return once the condition holds; fail when it never does."""
    give_up = time.monotonic() + PATIENT_S
    while not condition():
        assert time.monotonic() < give_up
        time.sleep(0.02)


def has_process(child: Child) -> bool:
    """Whether the child has a process now."""
    return child.process is not None


def runs(pid: int) -> bool:
    """Whether the process runs; one that ended but was not waited for does not."""
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except (FileNotFoundError, ProcessLookupError):
        return False
    return state != "Z"


linux_only = pytest.mark.skipif(sys.platform != "linux", reason="looks for processes in /proc")


def test_a_child_that_ends_is_started_again_after_a_growing_delay() -> None:
    child = Child("child", python("raise SystemExit(3)"))
    delays = []
    now = 0.0
    for _ in range(7):
        assert child.tend(now=now) is None
        process = child.process
        assert process is not None
        process.wait()
        assert child.tend(now=now) == 3
        delays.append(child.start_at - now)
        assert child.tend(now=child.start_at - 0.01) is None
        assert not has_process(child)  # not before it is due
        now = child.start_at
    assert delays == [0.5, 1.0, 2.0, 4.0, 8.0, 10.0, 10.0]


def test_a_child_that_had_settled_is_started_again_soon() -> None:
    child = Child("child", python("pass"), delay_s=8.0)
    child.tend(now=0.0)
    assert child.process is not None
    child.process.wait()
    child.tend(now=module.SETTLED_AFTER_S)
    assert child.start_at == module.SETTLED_AFTER_S + module.FIRST_DELAY_S


def test_the_end_of_a_child_is_told_with_its_reason(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "FIRST_DELAY_S", 0.05)
    said: list[str] = []
    child = Child("worker", python("import os, signal; os.kill(os.getpid(), signal.SIGKILL)"))
    with Supervisor([child], say=said.append) as supervisor:
        supervisor.run(until=lambda: len(said) >= 2)
    assert said[0].startswith("The worker ended (signal SIGKILL); again in ")


@linux_only
def test_stopping_ends_the_child_and_what_it_had_started(tmp_path: Path) -> None:
    note = tmp_path / "pids"
    with Supervisor([Child("parent", python(PARENT, note))]) as supervisor:
        supervisor.run(until=note.exists)
        pids = [int(word) for word in note.read_text().split()]
        assert all(runs(pid) for pid in pids)
    until(lambda: not any(runs(pid) for pid in pids))


@linux_only
def test_what_outlives_its_leader_is_ended_before_the_leader_is_started_again(
    tmp_path: Path,
) -> None:
    note = tmp_path / "pids"
    with Supervisor([Child("parent", python(PARENT, note))], say=lambda _: None) as supervisor:
        supervisor.run(until=note.exists)
        leader, below = (int(word) for word in note.read_text().split())
        os.kill(leader, signal.SIGKILL)
        supervisor.run(until=lambda: supervisor.children[0].process is None)
        until(lambda: not runs(below))
        assert not runs(leader)


def test_a_child_that_does_not_stop_when_asked_is_killed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "PATIENCE_S", 0.3)
    note, said = tmp_path / "ready", list[str]()
    child = Child("stubborn child", python(STUBBORN, note))
    with Supervisor([child], say=said.append) as supervisor:
        supervisor.run(until=note.exists)
        process = child.process
    assert process is not None
    assert process.returncode == -signal.SIGKILL
    assert said == ["The stubborn child did not stop in 0.3 s; killed."]


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_signal_asks_to_stop_and_the_earlier_handler_is_put_back(number: signal.Signals) -> None:
    earlier = signal.getsignal(number)
    child = Child("sleeper", python(SLEEPER))

    def send_to_oneself() -> bool:
        os.kill(os.getpid(), number)
        return False

    with Supervisor([child]) as supervisor:
        supervisor.run(until=send_to_oneself)
        assert supervisor.is_stopping
    assert signal.getsignal(number) is earlier
    assert child.process is None


def test_an_error_inside_leaves_no_child() -> None:
    child = Child("sleeper", python(SLEEPER))

    def fail() -> bool:
        raise RuntimeError("inside")

    supervisor = Supervisor([child])
    supervisor.tend()
    process = child.process
    with pytest.raises(RuntimeError, match="inside"), supervisor:
        supervisor.run(until=fail)
    assert process is not None
    assert process.returncode == -signal.SIGTERM


@linux_only
def test_a_supervisor_that_is_killed_takes_its_child_along(tmp_path: Path) -> None:
    note = tmp_path / "pid"
    code = (
        "import pathlib, sys\n"
        "from brickledger.supervisor import Child, Supervisor\n"
        f"child = Child('sleeper', (sys.executable, '-c', {SLEEPER!r}))\n"
        "supervisor = Supervisor([child])\n"
        "supervisor.tend()\n"
        "path = pathlib.Path(sys.argv[1])\n"
        "path.with_suffix('.part').write_text(str(child.process.pid))\n"
        "path.with_suffix('.part').rename(path)\n"
        "supervisor.run()\n"
    )
    with subprocess.Popen(python(code, note), stdin=subprocess.DEVNULL) as process:
        until(note.exists)
        pid = int(note.read_text())
        assert runs(pid)
        process.kill()
    until(lambda: not runs(pid))


def test_a_signal_outside_of_run_asks_to_stop_too() -> None:
    with Supervisor([]) as supervisor:
        os.kill(os.getpid(), signal.SIGINT)
        assert supervisor.is_stopping
