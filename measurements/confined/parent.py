"""The side that asks: one nursery for each process, started when it is first needed."""

from __future__ import annotations

import atexit
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable
from pathlib import Path
from typing import IO, Any

from measurements import kinds
from measurements.confined.frames import Frames, packed, unpacked, write_all
from measurements.confined.jobs import Exhausted, Found, Job, Limits

_ROOT = Path(__file__).resolve().parent.parent.parent
_PORTION = 1 << 16
# Exit codes. Some libraries abort where memory is refused to them.
_TIME_IS_UP, _ABORTED = -signal.SIGXCPU, -signal.SIGABRT
# A process with threads cannot be forked safely, and a child has one core. The columnar library's
# own allocator would take a gibibyte of the limit for an arena that nobody uses.
_ENVIRONMENT = {
    "OMP_NUM_THREADS": "1",
    "OPENBLAS_NUM_THREADS": "1",
    "MKL_NUM_THREADS": "1",
    "JE_ARROW_MALLOC_CONF": "background_thread:false",
    "ARROW_IO_THREADS": "1",
    "ARROW_DEFAULT_MEMORY_POOL": "system",
}


class _Gone(Exception):
    """The nursery ended."""


class _Nursery:
    """A running nursery; one job at a time."""

    def __init__(self) -> None:
        self.kinds = folders_of_kinds()
        paths = [str(_ROOT), *filter(None, [os.environ.get("PYTHONPATH")])]
        # What a job writes lies in here, so that nothing is left even when all below is killed.
        self._scratch = tempfile.mkdtemp(prefix="confined-")
        self._process = subprocess.Popen(
            [sys.executable, "-m", "measurements.confined.nursery", self._scratch, *self.kinds],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env={**os.environ, **_ENVIRONMENT, "PYTHONPATH": os.pathsep.join(paths)},
            start_new_session=True,  # Ctrl-C is for whoever asked; its end ends the nursery
        )
        self._frames = Frames()
        self._waiting: list[bytes] = []
        try:
            self._next()  # it is warm
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """End it and wait until it is gone."""
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                pipe.close()
        try:
            self._process.wait(timeout=5)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        shutil.rmtree(self._scratch, ignore_errors=True)

    def do(
        self, job: Job, limits: Limits, told: Callable[[str], None]
    ) -> tuple[tuple[str, Any], int]:
        """The last word of a child, and its exit code. Raises `_Gone`."""
        try:
            write_all(_handle(self._process.stdin), packed((job, limits)))
        except OSError as error:
            raise _Gone from error
        last: tuple[str, Any] = ("", None)
        while True:
            word, content = self._next()
            if word == "told":
                told(content)
            elif word == "ended":
                return last, int(content)
            else:
                last = (word, content)

    def _next(self) -> tuple[str, Any]:
        while not self._waiting:
            portion = os.read(_handle(self._process.stdout), _PORTION)
            if not portion:
                raise _Gone
            self._waiting += self._frames.feed(portion)
        message: tuple[str, Any] = unpacked(self._waiting.pop(0))
        return message


def _handle(pipe: IO[bytes] | None) -> int:
    assert pipe is not None
    return pipe.fileno()


def folders_of_kinds() -> list[str]:
    """Where kinds are looked for: a bench may have put its own beside those of the site."""
    return list(kinds.__path__)


class _Held:
    """This process's nursery. A forked process starts its own."""

    def __init__(self) -> None:
        self.forget()

    def forget(self) -> None:
        self.lock = threading.Lock()
        self.nursery: _Nursery | None = None

    def close(self) -> None:
        if self.nursery is not None:
            self.nursery.close()
            self.nursery = None


_held = _Held()
os.register_at_fork(after_in_child=_held.forget)
atexit.register(_held.close)


def _ignore(_words: str) -> None:
    pass


def examine(job: Job, *, limits: Limits, told: Callable[[str], None] = _ignore) -> Found:
    """Read and compute a file in a limited child; `told` gets words on how far it is.

    Raises
    ------
    Exhausted
        The file takes more memory or computing time than `limits` give it.
    OSError
        The file cannot be read at all, or the child's disk is full.
    RuntimeError
        The child was killed from outside, or stumbled over a fault of this program.
    """
    with _held.lock:
        try:
            (word, content), code = _asked(job, limits, told)
        except BaseException:
            # What the nursery would say next belongs to this job; nobody may take it for another's.
            _held.close()
            raise
    if word == "found":
        found: Found = content
        return found
    raise _error(word, content, code=code, limits=limits)


def _asked(job: Job, limits: Limits, told: Callable[[str], None]) -> tuple[tuple[str, Any], int]:
    for attempt in (1, 2):
        try:
            if _held.nursery is not None and _held.nursery.kinds != folders_of_kinds():
                _held.close()
            if _held.nursery is None:
                _held.nursery = _Nursery()
            return _held.nursery.do(job, limits, told)
        except _Gone:
            _held.close()
            if attempt == 2:
                raise RuntimeError("The process that reads files ended twice.") from None
    raise AssertionError("unreachable")


def _error(word: str, content: Any, *, code: int, limits: Limits) -> Exception:
    if word == "memory" or code == _ABORTED:
        return Exhausted("memory", limits)
    if word == "os":
        number, text, file_name = content
        return OSError(number, text, file_name)
    if word == "error":
        return RuntimeError(content)
    if code == _TIME_IS_UP:
        return Exhausted("time", limits)
    return RuntimeError(f"The process that read the file ended without a word (exit code {code}).")
