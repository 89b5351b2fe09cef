"""The limited process: what it finds, what it cannot be made to do, and that it leaves nothing."""

from __future__ import annotations

import os
import signal
import subprocess
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from measurements.confined import Exhausted, Found, Job, Limits, examine, parent
from measurements.confined.work import look
from measurements.intake.column_maps import Assigned, ColumnMap
from measurements.kinds.base import AdapterFacts, DeviceFacts, Measured, Outcome, Setup
from tests.factories.arrivals import foreign_log
from tests.factories.measurements import efficiency_log, no_load_log

ROOMY = Limits(memory_bytes=1536 << 20, cpu_s=60)
SETUP = Setup(adapter=AdapterFacts(rated_power_w=65.0), line="high", mains_v=230.0)


@pytest.fixture
def write(tmp_path: Path) -> Callable[[bytes], Path]:
    """Write a file and say where it is."""

    def written(content: bytes) -> Path:
        path = tmp_path / "log"
        path.write_bytes(content)
        return path

    return written


@pytest.fixture
def own_nursery() -> Iterator[None]:
    """A nursery that nobody used before, and that nobody uses after."""
    parent._held.close()
    yield
    parent._held.close()


def children_of(pid: int) -> list[int]:
    listed = subprocess.run(
        ["ps", "-o", "pid=", "--ppid", str(pid)], capture_output=True, text=True, check=False
    )
    return [int(line) for line in listed.stdout.split()]


def nursery_pid() -> int:
    assert parent._held.nursery is not None
    return parent._held.nursery._process.pid


def values_of(found: Found) -> tuple[Measured, ...]:
    assert found.outcome is not None
    return found.outcome.values


def waited(condition: Callable[[], bool]) -> bool:
    """Whether it comes true within a while."""
    for _ in range(500):
        if condition():
            return True
        time.sleep(0.01)
    return False


@pytest.mark.parametrize(
    ("kind", "content"), [("no-load", no_load_log()), ("efficiency", efficiency_log(5, 9, 20))]
)
def test_it_finds_what_the_same_work_finds_without_limits(
    write: Callable[[bytes], Path], kind: str, content: bytes
) -> None:
    job = Job(path=write(content), file_name="log.csv", kind=kind, setup=SETUP)

    apart, here = examine(job, limits=ROOMY), look(job, told=lambda _words: None)

    assert isinstance(apart.outcome, Outcome)
    assert isinstance(here.outcome, Outcome)
    assert apart.outcome.values == here.outcome.values
    assert apart.outcome.verdicts == here.outcome.verdicts
    assert (apart.notes, apart.evidence, apart.sample) == (here.notes, here.evidence, here.sample)
    for name, column in here.outcome.trace.items():
        np.testing.assert_array_equal(apart.outcome.trace[name], column)


def test_without_conditions_it_only_reads(write: Callable[[bytes], Path]) -> None:
    found = examine(Job(path=write(no_load_log()), file_name="log.csv"), limits=ROOMY)

    assert (found.kind, found.outcome) == ("no-load", None)
    assert found.candidates[0].is_sure
    assert found.sample is not None
    assert found.sample.row_count == 901


def test_problems_come_back_as_many_as_were_asked_for(write: Callable[[bytes], Path]) -> None:
    content = b"time_s,input_power_w\n" + b"1,x\n" * 300
    job = Job(path=write(content), file_name="log.csv", kind="no-load", problems_kept=250)

    found = examine(job, limits=ROOMY)

    assert (len(found.problems), found.problem_count) == (250, 300)


def test_a_column_map_goes_along(write: Callable[[bytes], Path]) -> None:
    headings = ("Takt (s)", "Kanal 1 (mW)", "Kanal 2 (mW)", "Netz (V)")
    map_ = ColumnMap(
        headings=tuple((text, "") for text in headings),
        columns=(Assigned("time_s", "s"), Assigned("input_power_w", "mW"), None, None),
        name="Long bench",
    )
    job = Job(path=write(foreign_log()), file_name="x", maps={"no-load": (map_,)}, setup=SETUP)

    found = examine(job, limits=ROOMY)

    assert found.kind == "no-load"
    assert found.outcome is not None
    assert found.evidence is not None
    assert found.evidence.map_name == "Long bench"


def test_devices_that_nobody_knows_stop_it_until_they_are_taken(
    write: Callable[[bytes], Path],
) -> None:
    content = b"device,port,voltage_v,current_a\nKestrel,C1,20,3\nOwl,C1,9,2\n"
    known = Setup(adapter=SETUP.adapter, devices=(DeviceFacts("owl", "Owl"),))
    job = Job(path=write(content), file_name="x", kind="device-match", setup=known)

    found = examine(job, limits=ROOMY)

    assert (found.strangers, found.outcome) == (("Kestrel",), None)


def test_it_says_how_far_it_is(write: Callable[[bytes], Path]) -> None:
    said: list[str] = []
    job = Job(path=write(no_load_log()), file_name="log.csv", kind="no-load", setup=SETUP)

    examine(job, limits=ROOMY, told=said.append)

    assert said[0] == "reading the file"
    assert said[-2:] == ["checking", "computing"]
    assert any("%" in words for words in said)


def large(tmp_path: Path) -> Path:
    """A log that takes some seconds and some hundred MiB."""
    path = tmp_path / "large.csv"
    rows = "".join(f"{second},0.05{second % 7}\n" for second in range(100_000))
    with path.open("w", encoding="ascii") as file:
        file.write("time_s,input_power_w\n")
        for _ in range(60):
            file.write(rows)
    return path


def test_too_much_memory_is_an_end_with_a_sentence_and_the_next_file_is_read(
    write: Callable[[bytes], Path], tmp_path: Path
) -> None:
    job = Job(path=large(tmp_path), file_name="large.csv", kind="no-load", setup=SETUP)
    with pytest.raises(
        Exhausted, match=r"more than 320 MiB of memory\. Split the log"
    ) as exhausted:
        examine(job, limits=Limits(memory_bytes=320 << 20, cpu_s=60))
    assert exhausted.value.what == "memory"

    small = Job(path=write(no_load_log()), file_name="log.csv", kind="no-load", setup=SETUP)
    assert examine(small, limits=ROOMY).outcome is not None


def test_too_much_time_is_an_end_with_a_sentence_and_the_next_file_is_read(
    write: Callable[[bytes], Path], tmp_path: Path
) -> None:
    # Text cells are read one by one, which takes its time.
    slow = large(tmp_path)
    with slow.open("a", encoding="ascii") as file:
        file.write("n/a,0.05\n")
    job = Job(path=slow, file_name="large.csv", kind="no-load", setup=SETUP)
    with pytest.raises(Exhausted, match="more than 1 s of computing time"):
        examine(job, limits=Limits(memory_bytes=ROOMY.memory_bytes, cpu_s=1))

    small = Job(path=write(no_load_log()), file_name="log.csv", kind="no-load", setup=SETUP)
    assert examine(small, limits=ROOMY).outcome is not None


def test_a_file_that_is_gone_is_an_error_of_the_disk(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        examine(Job(path=tmp_path / "none", file_name="x", kind="no-load"), limits=ROOMY)


@pytest.mark.usefixtures("own_nursery")
def test_killed_processes_are_replaced_and_nothing_is_left_over(
    write: Callable[[bytes], Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "scratch").mkdir()
    monkeypatch.setenv("TMPDIR", str(tmp_path / "scratch"))
    monkeypatch.setattr(tempfile, "tempdir", None)
    utf_16 = "time_s,input_power_w\n0,0.05\n1,0.05\n".encode("utf-16")  # is copied to be read
    job = Job(path=write(utf_16), file_name="log.csv", kind="no-load", setup=SETUP)
    first = values_of(examine(job, limits=ROOMY))
    nursery = nursery_pid()

    # Its idle child, then a child at work, then the nursery itself.
    os.kill(children_of(nursery)[0], signal.SIGKILL)
    with pytest.raises(RuntimeError, match="without a word"):
        examine(job, limits=ROOMY)
    assert values_of(examine(job, limits=ROOMY)) == first

    large_job = Job(path=large(tmp_path), file_name="large.csv", kind="no-load", setup=SETUP)
    killed: list[str] = []

    def kill_at_work(words: str) -> None:
        if not killed:
            killed.append(words)
            os.kill(children_of(nursery)[0], signal.SIGKILL)

    with pytest.raises(RuntimeError, match="without a word"):
        examine(large_job, limits=ROOMY, told=kill_at_work)
    assert nursery_pid() == nursery

    os.kill(nursery, signal.SIGKILL)
    assert values_of(examine(job, limits=ROOMY)) == first
    assert nursery_pid() != nursery
    assert list((tmp_path / "scratch").iterdir()) == []


@pytest.mark.usefixtures("own_nursery")
def test_it_ends_with_whoever_asked(write: Callable[[bytes], Path]) -> None:
    examine(Job(path=write(no_load_log()), file_name="x", kind="no-load"), limits=ROOMY)
    nursery = nursery_pid()
    child = children_of(nursery)[0]

    assert parent._held.nursery is not None
    process = parent._held.nursery._process
    assert process.stdin is not None
    process.stdin.close()

    assert waited(lambda: process.poll() is not None)
    assert waited(lambda: not Path(f"/proc/{child}").exists())


def test_two_threads_take_turns(write: Callable[[bytes], Path]) -> None:
    job = Job(path=write(no_load_log()), file_name="log.csv", kind="no-load", setup=SETUP)
    found: list[Found] = []

    def ask() -> None:
        found.extend(examine(job, limits=ROOMY) for _ in range(5))

    threads = [threading.Thread(target=ask) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert len(found) == 10
    assert len(set(map(values_of, found))) == 1
