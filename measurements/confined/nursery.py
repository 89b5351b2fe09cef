"""The process that children come from: ``python -m measurements.confined.nursery``.

It imports the pure core once, is single-threaded, holds no connection and no secret, and forks the
children that do the work. The standard library's fork server would do, but it imports the main
module of whoever asks into every child and serves no daemonic process, which is what workers are.

A child does many small jobs, because most files are small and a new process costs more than
reading one. It makes room for a new one when a job left it large.
"""

from __future__ import annotations

import gc
import os
import select
import shutil
import signal
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from measurements import kinds
from measurements.confined.child import DONE, LEAVING, serve
from measurements.confined.frames import Frames, framed, packed, write_all
from measurements.confined.jobs import Job
from measurements.confined.work import look

_PORTION = 1 << 16


@dataclass(frozen=True, slots=True)
class _Child:
    """A child and the pipes to and from it."""

    pid: int
    jobs: int
    answers: int


class _AskerGone(Exception):
    """Whoever asks ended, and so does everything here."""


def main() -> None:
    """Serve jobs from standard input until it ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # Whatever prints must not get among the frames.
    out = os.dup(1)
    os.dup2(2, 1)
    kinds.__path__[:] = sys.argv[1:] or kinds.__path__
    _warm_up()
    gc.collect()
    gc.freeze()  # a child's collector leaves shared pages alone
    write_all(out, packed(("warm", None)))
    requests = Frames()
    child: _Child | None = None
    try:
        while portion := os.read(0, _PORTION):
            for request in requests.feed(portion):
                child = _serve(request, out, child=child)
    except (_AskerGone, BrokenPipeError):
        pass
    finally:
        if child is not None:
            os.close(child.jobs)
            os.waitpid(child.pid, 0)


def _warm_up() -> None:
    """Import what a file may need, and read one, so that no child does it for the first time."""
    kinds.all_kinds()
    import openpyxl  # noqa: PLC0415
    import pint  # noqa: PLC0415
    import pyarrow.parquet  # noqa: PLC0415
    import scipy.interpolate  # noqa: PLC0415
    import scipy.optimize  # noqa: PLC0415
    import scipy.signal  # noqa: PLC0415
    import scipy.stats  # noqa: PLC0415

    del openpyxl, pint, pyarrow, scipy
    with tempfile.TemporaryDirectory(prefix="confined-") as folder:
        file = Path(folder) / "log.csv"
        file.write_text("time_s,input_power_mw\n0,50\n1,51\n", encoding="ascii")
        look(Job(path=file, file_name="log.csv"), told=lambda _words: None)


def _serve(request: bytes, out: int, *, child: _Child | None) -> _Child | None:
    """Have a child do a job and pass on what it says; the child that takes the next one."""
    child = child or _fork(out)
    scratch = tempfile.mkdtemp(prefix="confined-")
    code = 0
    try:
        write_all(child.jobs, packed(scratch) + framed(request))
        end = _relay(child.answers, out)
    except BrokenPipeError:  # it died while it waited
        end = None
    except (_AskerGone, OSError):
        os.kill(child.pid, signal.SIGKILL)
        _reap(child)
        shutil.rmtree(scratch, ignore_errors=True)
        raise _AskerGone from None
    if end is None or end == LEAVING:
        code = _reap(child)
    shutil.rmtree(scratch, ignore_errors=True)
    write_all(out, packed(("ended", code)))
    return child if end == DONE else None


def _fork(out: int) -> _Child:
    jobs_end, jobs = os.pipe()
    answers, answers_end = os.pipe()
    pid = os.fork()
    if pid == 0:
        for handle in (jobs, answers, out):
            os.close(handle)
        serve(jobs_end, answers_end)
    os.close(jobs_end)
    os.close(answers_end)
    return _Child(pid, jobs, answers)


def _reap(child: _Child) -> int:
    """The exit code of a child that is at its end."""
    os.close(child.jobs)
    os.close(child.answers)
    _, status = os.waitpid(child.pid, 0)
    return os.waitstatus_to_exitcode(status)


def _relay(answers: int, out: int) -> bytes | None:
    """Pass on whole frames until the child is done with its job; its last word, None for none."""
    frames = Frames()
    while True:
        ready, _, _ = select.select([0, answers], [], [])
        if answers not in ready:
            raise _AskerGone  # one job at a time: it can only be the end
        portion = os.read(answers, _PORTION)
        if not portion:
            return None
        for content in frames.feed(portion):
            if content in (DONE, LEAVING):
                return content
            write_all(out, framed(content))


if __name__ == "__main__":
    main()
    sys.exit(0)
