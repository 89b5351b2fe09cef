"""Keeping the web server and the worker running beside each other, and leaving nothing behind.

Every child leads a process group of its own, so that a Ctrl-C in the terminal reaches only
the supervisor, and so that what a child started goes with it. Where the system can tie a
child's life to its parent's (Linux), a supervisor that is killed outright takes all with it.
"""

from __future__ import annotations

import ctypes
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from types import FrameType

FIRST_DELAY_S = 0.5
LONGEST_DELAY_S = 10.0
SETTLED_AFTER_S = 30.0
PATIENCE_S = 10.0
LOOK_EVERY_S = 0.1

_PR_SET_PDEATHSIG = 1  # prctl(2)
# Looked up before any fork: between fork and exec nothing may be loaded.
_PRCTL = ctypes.CDLL(None, use_errno=True).prctl if sys.platform == "linux" else None


def die_with_parent() -> None:
    """Ask the system to kill this process when its parent ends. Linux only; else nothing."""
    if _PRCTL is not None:
        _PRCTL(_PR_SET_PDEATHSIG, signal.SIGKILL, 0, 0, 0)


@dataclass(slots=True)
class Child:
    """A command that is kept running. `environment` is added to the supervisor's own."""

    name: str
    command: Sequence[str]
    environment: Mapping[str, str] = field(default_factory=dict)
    process: subprocess.Popen[bytes] | None = None
    started_at: float = 0.0
    start_at: float = 0.0
    delay_s: float = FIRST_DELAY_S

    def start(self, *, now: float) -> None:
        """Start the process as the leader of a new session and process group."""
        parent = os.getpid()

        def tie() -> None:
            die_with_parent()
            if os.getppid() != parent:  # the parent ended before the tie was made
                os._exit(1)

        self.process = subprocess.Popen(
            self.command,
            stdin=subprocess.DEVNULL,
            env={**os.environ, **self.environment},
            start_new_session=True,
            # Only two system calls, both looked up beforehand: safe beside other threads.
            preexec_fn=tie,  # noqa: PLW1509
        )
        self.started_at = now

    def signal_group(self, number: signal.Signals) -> None:
        """Send a signal to the child and all that it started."""
        if self.process is not None:
            with suppress(ProcessLookupError, PermissionError):
                os.killpg(self.process.pid, number)

    def tend(self, *, now: float) -> int | None:
        """Start the process when it is due; the exit code of one that just ended, else None.

        A child that ends is started again after `delay_s`, which doubles up to a limit and
        starts afresh once a child has lived for a while.
        """
        if self.process is None:
            if now >= self.start_at:
                self.start(now=now)
            return None
        code = self.process.poll()
        if code is None:
            return None
        self.signal_group(signal.SIGKILL)  # what outlived its leader, so that it holds no port
        self.process = None
        if now - self.started_at >= SETTLED_AFTER_S:
            self.delay_s = FIRST_DELAY_S
        self.start_at = now + self.delay_s
        self.delay_s = min(2 * self.delay_s, LONGEST_DELAY_S)
        return code


def _print_error(sentence: str) -> None:
    print(sentence, file=sys.stderr, flush=True)


class Supervisor:
    """Starts children, starts them again when they die, and stops them all.

    Use it as a context manager: whatever happens inside, nothing runs on afterwards, and a
    Ctrl-C at any moment asks it to stop instead of ending this process half-way.
    """

    def __init__(
        self, children: Sequence[Child], *, say: Callable[[str], None] = _print_error
    ) -> None:
        self.children = list(children)
        self._say = say
        self._stopping = False
        self._hearing = ExitStack()

    def __enter__(self) -> Supervisor:
        self._hearing.enter_context(self.stop_signals_heard())
        return self

    def __exit__(self, *_: object) -> None:
        with self._hearing:
            self.stop()

    @property
    def is_stopping(self) -> bool:
        """Whether someone asked it to stop."""
        return self._stopping

    def tend(self) -> None:
        """Look after every child once."""
        now = time.monotonic()
        for child in self.children:
            code = child.tend(now=now)
            if code is not None:
                wait_s = child.start_at - now
                self._say(f"The {child.name} ended ({_reason(code)}); again in {wait_s:g} s.")

    def run(self, *, until: Callable[[], bool] = lambda: False) -> None:
        """Look after the children until `until()` or until a signal asks to stop."""
        with self.stop_signals_heard():
            while not self._stopping and not until():
                self.tend()
                time.sleep(LOOK_EVERY_S)

    @contextmanager
    def stop_signals_heard(self) -> Iterator[None]:
        """Let Ctrl-C, a hang-up and a polite kill end `run` instead of this process."""

        def ask_to_stop(number: int, frame: FrameType | None) -> None:
            self._stopping = True

        earlier = {
            number: signal.signal(number, ask_to_stop)
            for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
        }
        try:
            yield
        finally:
            for number, handler in earlier.items():
                signal.signal(number, handler)

    def stop(self) -> None:
        """End every child: politely, then, after `PATIENCE_S`, by force."""
        # A second Ctrl-C must not interrupt this and leave a child behind.
        with self.stop_signals_heard():
            running = [child for child in self.children if child.process is not None]
            for child in running:
                child.signal_group(signal.SIGTERM)
            deadline = time.monotonic() + PATIENCE_S
            for child in running:
                assert child.process is not None
                try:
                    child.process.wait(timeout=max(0.0, deadline - time.monotonic()))
                except subprocess.TimeoutExpired:
                    self._say(f"The {child.name} did not stop in {PATIENCE_S:g} s; killed.")
                child.signal_group(signal.SIGKILL)
                child.process.wait()
                child.process = None


def _reason(code: int) -> str:
    if code >= 0:
        return f"exit code {code}"
    try:
        return f"signal {signal.Signals(-code).name}"
    except ValueError:
        return f"signal {-code}"
