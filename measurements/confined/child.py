"""A child: does jobs under limits until it has grown, or is told to end, or is ended."""

from __future__ import annotations

import os
import resource
import tempfile
import traceback
from typing import NoReturn

import pyarrow as pa
from pyarrow import csv

from measurements.confined.frames import Frames, framed, packed, unpacked, write_all
from measurements.confined.jobs import Job, Limits
from measurements.confined.work import look

# The last word of a job: the child takes another one, or makes room for its successor.
DONE, LEAVING = b"done", b"leaving"

_PORTION = 1 << 16
_MOST_JOBS = 500
_GROWN_BYTES = 256 << 20
# Made beforehand: there is no memory left for it when it is needed.
_NO_MEMORY = packed(("memory", None))
# Largest file that a child may write: a worksheet, or a log in another encoding, as text.
_LARGEST_SCRATCH = 4 << 30


def serve(jobs: int, answers: int) -> NoReturn:
    """Do jobs from one pipe and answer into the other; never returns."""
    code = 1
    try:
        null = os.open(os.devnull, os.O_RDONLY)
        os.dup2(null, 0)
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        resource.setrlimit(resource.RLIMIT_FSIZE, (_LARGEST_SCRATCH, _LARGEST_SCRATCH))
        _start_threads()
        _serve(jobs, answers)
        code = 0
    except BaseException:
        traceback.print_exc()
    finally:
        os._exit(code)


def _start_threads() -> None:
    """Have the columnar library start its threads now: within a limit it may fail to, and abort."""
    csv.read_csv(pa.BufferReader(b"time_s\n0\n"))


def _serve(jobs: int, answers: int) -> None:
    frames = Frames()
    waiting: list[bytes] = []
    for number in range(1, _MOST_JOBS + 1):
        while len(waiting) < 2:
            portion = os.read(jobs, _PORTION)
            if not portion:
                return
            waiting += frames.feed(portion)
        tempfile.tempdir = unpacked(waiting.pop(0))
        job, limits = unpacked(waiting.pop(0))
        _limit(limits)
        answer = _answer(job, answers)
        write_all(answers, answer)
        has_grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 > _GROWN_BYTES
        is_last = has_grown or answer is _NO_MEMORY or number == _MOST_JOBS
        write_all(answers, framed(LEAVING if is_last else DONE))
        if is_last:
            return


def _limit(limits: Limits) -> None:
    """Give the next job its memory and its computing time."""
    # RLIMIT_DATA counts what may really be written to, not what libraries only reserve.
    _set(resource.RLIMIT_DATA, limits.memory_bytes)
    used = resource.getrusage(resource.RUSAGE_SELF)
    _set(resource.RLIMIT_CPU, int(used.ru_utime + used.ru_stime) + limits.cpu_s)


def _set(which: int, soft: int) -> None:
    _, hard = resource.getrlimit(which)
    if hard != resource.RLIM_INFINITY:
        soft = min(soft, hard)
    resource.setrlimit(which, (soft, hard))


def _answer(job: Job, answers: int) -> bytes:
    def tell(words: str) -> None:
        write_all(answers, packed(("told", words)))

    try:
        return packed(("found", look(job, told=tell)))
    except MemoryError:
        return _NO_MEMORY
    except OSError as error:
        return packed(("os", (error.errno, error.strerror or str(error), error.filename)))
    except Exception:
        return packed(("error", traceback.format_exc()))
