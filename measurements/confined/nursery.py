"""The process that children come from: ``python -m measurements.confined.nursery``.

It imports the pure core once, is single-threaded, holds no connection and no secret, and forks the
children that do the work. The standard library's fork server would do, but it imports the main
module of whoever asks into every child and serves no daemonic process, which is what workers are.

A child does many small jobs, because most files are small and a new process costs more than
reading one. It makes room for a new one when a job left it large.
"""

from __future__ import annotations

import contextlib
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
    """Serve jobs from standard input until it ends.

    The arguments are a folder for scratch files and, where there are others than those of the
    site, the folders of kinds.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # Whatever prints must not get among the frames.
    out = os.dup(1)
    os.dup2(2, 1)
    tempfile.tempdir, *folders = sys.argv[1:]
    kinds.__path__[:] = folders or kinds.__path__
    _warm_up()
    gc.collect()
    gc.freeze()  # a child's collector leaves shared pages alone
    nursery = _Nursery(out)
    requests = Frames()
    try:
        nursery.say(packed(("warm", None)))
        while portion := os.read(0, _PORTION):
            for request in requests.feed(portion):
                nursery.serve(request)
    except _AskerGone:
        pass
    finally:
        nursery.end()
        with contextlib.suppress(OSError):  # whoever asked may have removed it
            os.rmdir(tempfile.tempdir)


def _warm_up() -> None:
    """Import what a file may need, and read one, so that no child does it for the first time."""
    kinds.all_kinds()
    import openpyxl  # noqa: PLC0415
    import pint  # noqa: PLC0415
    import pyarrow.csv  # noqa: PLC0415
    import pyarrow.parquet  # noqa: PLC0415
    import scipy.interpolate  # noqa: PLC0415
    import scipy.optimize  # noqa: PLC0415
    import scipy.signal  # noqa: PLC0415
    import scipy.stats  # noqa: PLC0415

    del openpyxl, pint, pyarrow, scipy
    with tempfile.TemporaryDirectory(prefix="confined-") as folder:
        file = Path(folder) / "log.csv"
        # The quotation marks keep it from the reader that would start threads.
        file.write_text('time_s,input_power_mw\n"0",50\n1,51\n', encoding="ascii")
        look(Job(path=file, file_name="log.csv"), told=lambda _words: None)


class _Nursery:
    """The child there is, and what it says to whoever asks."""

    def __init__(self, out: int) -> None:
        self._out = out
        self._child: _Child | None = None
        self._has_spoken = False

    def say(self, frame: bytes) -> None:
        """Pass a frame on. Raises `_AskerGone`."""
        try:
            write_all(self._out, frame)
        except OSError:
            raise _AskerGone from None

    def serve(self, request: bytes) -> None:
        """Have a child do a job, pass on what it says, and how it ended. Raises `_AskerGone`."""
        scratch = tempfile.mkdtemp(prefix="job-")
        try:
            work = packed(scratch) + framed(request)
            waited = self._child is not None
            last = self._relay(self._child_with(work))
            if last is None and waited and not self._has_spoken:
                # It was ended while it waited, and took the work to its grave.
                self._reap()
                last = self._relay(self._child_with(work))
            code = 0 if last == DONE else self._reap()
        except _AskerGone:
            self.end()
            raise
        finally:
            shutil.rmtree(scratch, ignore_errors=True)
        self.say(packed(("ended", code)))

    def end(self) -> None:
        """End the child, whatever it does."""
        if self._child is not None:
            os.kill(self._child.pid, signal.SIGKILL)
            self._reap()

    def _child_with(self, work: bytes) -> _Child:
        """A child that was given the work: the one that waits, or one that takes its place."""
        if self._child is not None:
            try:
                write_all(self._child.jobs, work)
            except BrokenPipeError:  # it was ended while it waited
                self._reap()
            else:
                return self._child
        self._child = child = _fork(self._out)
        with contextlib.suppress(BrokenPipeError):  # then its answers end at once, too
            write_all(child.jobs, work)
        return child

    def _relay(self, child: _Child) -> bytes | None:
        """Pass on whole frames until the job is done; the child's last word, None for none."""
        frames = Frames()
        self._has_spoken = False
        while True:
            ready, _, _ = select.select([0, child.answers], [], [])
            if child.answers not in ready:
                raise _AskerGone  # one job at a time: it can only be the end
            portion = os.read(child.answers, _PORTION)
            if not portion:
                return None
            self._has_spoken = True
            for content in frames.feed(portion):
                if content in (DONE, LEAVING):
                    return content
                self.say(framed(content))

    def _reap(self) -> int:
        """The exit code of the child, which is at its end."""
        assert self._child is not None
        child, self._child = self._child, None
        os.close(child.jobs)
        os.close(child.answers)
        _, status = os.waitpid(child.pid, 0)
        return os.waitstatus_to_exitcode(status)


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


if __name__ == "__main__":
    main()
    sys.exit(0)
